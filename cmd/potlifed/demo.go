package main

import (
	"log/slog"
	"net"
	"os/signal"
	"strconv"
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
		Long: "demo runs a whole shop in one process: a simulated scale at a pseudo-terminal, sensors as the\n" +
			"kernel shows them, the built-in broker, lights, and somebody who mixes. It prints the page's\n" +
			"address first and then a line for each thing that happens, and leaves nothing behind.",
		Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			if !(o.Speed >= slowest && o.Speed <= fastest) {
				return usage("--speed %v: want %v to %v", o.Speed, slowest, fastest)
			}
			if o.For < 0 {
				return usage("--for %v: want a duration such as 90s", o.For)
			}
			if !isHostPort(o.Listen) {
				return usage("--listen %s: want HOST:PORT, such as 127.0.0.1:9755; port 0 is a free one", o.Listen)
			}
			// A reader that goes away, as head does, is to end the demo in good order;
			// the signal would end it at once and leave the folder behind.
			signal.Ignore(syscall.SIGPIPE)
			o.Out, o.Version = c.OutOrStdout(), version()
			o.Log = slog.New(slog.NewTextHandler(c.ErrOrStderr(), &slog.HandlerOptions{Level: slog.LevelWarn}))
			return rehearsal.Run(c.Context(), o)
		},
	}
	f := c.Flags()
	f.Float64Var(&o.Speed, "speed", 60, "time lapse, times as fast as time; the first mix is poured at natural speed")
	f.DurationVar(&o.For, "for", time.Duration(0), "how long, in real time; 0 until it is interrupted")
	f.StringVar(&o.Listen, "listen", "127.0.0.1:0", "HOST:PORT of the page; port 0 is a free one")
	f.Uint64Var(&o.Seed, "seed", 1, "of what chance decides")
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
