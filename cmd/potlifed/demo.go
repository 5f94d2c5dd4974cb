package main

import (
	"log/slog"
	"net"
	"os/signal"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"potlifed/daemon/rehearsal"
)

const (
	slowest = 1.0
	fastest = 240.0
)

func demoCommand() *cobra.Command {
	o := rehearsal.Options{}
	c := &cobra.Command{
		Use:   "demo",
		Short: "Run a whole shop without hardware, broker or configuration",
		Long: "demo runs a whole shop in one process: a simulated scale on a pseudo-terminal, sensors as the\n" +
			"kernel shows them, the built-in broker, lights, and a person who mixes. It prints first the\n" +
			"address of the page, then a line for each event. It leaves no files behind.",
		Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			if !(o.Speed >= slowest && o.Speed <= fastest) {
				return usage("demo: --speed %v: want %v to %v", o.Speed, slowest, fastest)
			}
			if o.For < 0 {
				return usage("demo: --for %v is negative; want a duration such as 90s, or 0 for no end", o.For)
			}
			if o.Rejects != rehearsal.RejectsRise && o.Rejects != rehearsal.RejectsConstant {
				return usage("demo: --defects %s: want %s or %s", o.Rejects, rehearsal.RejectsRise, rehearsal.RejectsConstant)
			}
			if !slices.Contains(rehearsal.ScaleShapes(), o.Scale) {
				return usage("demo: --scale %s: want one of %s", o.Scale, strings.Join(rehearsal.ScaleShapes(), ", "))
			}
			if !isHostPort(o.Listen) {
				return usage("demo: --listen %s: want HOST:PORT, such as 127.0.0.1:9755; port 0 is a free one", o.Listen)
			}
			// When the reader of the output goes away, as head does, the demo must end in
			// good order. The signal would end it at once and leave its folder behind.
			signal.Ignore(syscall.SIGPIPE)
			o.Out, o.Version, o.Compute = c.OutOrStdout(), version(), computing
			o.Log = slog.New(slog.NewTextHandler(c.ErrOrStderr(), &slog.HandlerOptions{Level: slog.LevelWarn}))
			return rehearsal.Run(c.Context(), o)
		},
	}
	f := c.Flags()
	f.Float64Var(&o.Speed, "speed", 60, "time lapse: how many times faster than real time; the first mix is poured at natural speed")
	f.DurationVar(&o.For, "for", time.Duration(0), "end after this real time; 0 for no end")
	f.StringVar(&o.Listen, "listen", "127.0.0.1:0", "HOST:PORT of the page; port 0 is a free one")
	f.StringVar(&o.Scale, "scale", "status-first", "how the scale sends: a line shape, digits, checksum, hid, a way to write lines such as thousands, status-bits or last-first, or a shape with asked- before it for a scale that is asked")
	f.StringVar((*string)(&o.Rejects), "defects", string(rehearsal.RejectsRise), "share of rejected prints: rising (with water vapour and spent pot life) or constant")
	f.Uint64Var(&o.Seed, "seed", 1, "seed of the random events; the same seed gives the same story")
	return c
}

func isHostPort(address string) bool {
	_, port, err := net.SplitHostPort(address)
	if err != nil {
		return false
	}
	_, err = strconv.ParseUint(port, 10, 16)
	return err == nil
}
