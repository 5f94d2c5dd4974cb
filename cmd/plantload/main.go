// Command plantload runs a plant of simulated benches against an MQTT broker, each with
// potlifed's own service, and says what they send and cost. It is for those who plan a
// broker, and is not installed with potlifed.
package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/signal"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"potlifed/daemon/rehearsal"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	context.AfterFunc(ctx, stop)
	os.Exit(run(ctx, os.Args[1:], os.Stdout, os.Stderr))
}

// run is the program as a value. Exit codes are potlifed's: 0 done, 1 it could not be done
// or something was wrong with what was heard, 2 the request is wrong.
func run(ctx context.Context, args []string, out, errs io.Writer) int {
	o, wrong := rehearsal.PlantOptions{}, false
	c := &cobra.Command{
		Use:   "plantload",
		Short: "Run many simulated benches against a broker and say what they send and cost",
		Args:  cobra.NoArgs, SilenceUsage: true, SilenceErrors: true,
		PreRunE: func(*cobra.Command, []string) error {
			wrong = o.Benches < 1 || o.Benches > 500 || o.For <= 0 || o.MixEvery <= 0 || o.SampleEvery < 0 || o.Broker == ""
			if wrong {
				return fmt.Errorf("want --broker mqtt://HOST:PORT, 1 to 500 --benches, and durations above 0")
			}
			return nil
		},
		RunE: func(c *cobra.Command, _ []string) error {
			o.Log = slog.New(slog.NewTextHandler(errs, &slog.HandlerOptions{Level: slog.LevelWarn}))
			fmt.Fprintf(errs, "%d benches begin; it is measured for %s once they are up\n", o.Benches, o.For)
			report, err := rehearsal.RunPlant(c.Context(), o)
			if err != nil {
				return err
			}
			if err := report.Write(out); err != nil {
				return err
			}
			if n := len(report.WrongLights) + len(report.MissingEvents); n > 0 {
				return fmt.Errorf("%d lights or benches were not heard as they should", n)
			}
			return nil
		},
	}
	f := c.Flags()
	f.StringVar(&o.Broker, "broker", "mqtt://127.0.0.1:1883", "the broker, which must let anybody in")
	f.StringVar(&o.Prefix, "prefix", "plantload", "what the topics begin with")
	f.IntVar(&o.Benches, "benches", 10, "how many benches")
	f.DurationVar(&o.For, "for", 5*time.Minute, "how long is measured")
	f.DurationVar(&o.MixEvery, "mix-every", 100*time.Minute, "mean time between two mixes at a bench")
	f.BoolVar(&o.Recorded, "recorded", false, "mixes are recorded as made already, not poured at the scale")
	f.DurationVar(&o.SampleEvery, "sample-every", 10*time.Second, "between two samples from a change of the air to the light; 0s for none")
	f.Uint64Var(&o.Seed, "seed", 1, "of what chance decides")
	c.SetArgs(args)
	c.SetOut(out)
	c.SetErr(errs)
	err := c.ExecuteContext(ctx)
	switch {
	case err == nil:
		return 0
	case wrong:
		fmt.Fprintln(errs, "plantload:", err)
		return 2
	}
	fmt.Fprintln(errs, "plantload:", err)
	return 1
}
