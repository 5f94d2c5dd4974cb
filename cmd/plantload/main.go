// Command plantload runs a plant of simulated benches against an MQTT broker, each with
// potlifed's own service or only its messages, and says what they send and cost and what a reader
// missed. It is for those who plan a broker, and is not installed with potlifed.
package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/exec"
	"os/signal"
	"strconv"
	"sync"
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

const (
	mostBenches     = 500  // of one process, each with its service
	mostWireBenches = 2000 // of one process
	mostProcesses   = 64
)

// load is a request: a plant, in how many processes.
type load struct {
	rehearsal.PlantOptions
	processes int
	asJSON    bool
	arguments []string
}

func (l *load) check() error {
	most := mostBenches
	if l.Wire {
		most = mostWireBenches
	}
	switch {
	case l.processes < 1 || l.processes > mostProcesses:
		return fmt.Errorf("want 1 to %d --processes", mostProcesses)
	case l.Benches < l.processes || l.Benches > most*l.processes:
		return fmt.Errorf("want %d to %d --benches; more with more --processes, or with --wire", l.processes, most*l.processes)
	case l.For <= 0 || l.MixEvery <= 0 || l.SampleEvery < 0 || l.SensorEvery < 0 || l.Broker == "":
		return errors.New("want --broker mqtt://HOST:PORT, and durations above 0")
	case l.PasswordFile != "" && l.Username == "":
		return errors.New("want --username with --password-file")
	}
	return nil
}

// run is the program as a value. Exit codes are potlifed's: 0 done, 1 it could not be done
// or something was wrong with what was heard, 2 the request is wrong.
func run(ctx context.Context, args []string, out, errs io.Writer) int {
	l, wrong := &load{arguments: args}, false
	c := &cobra.Command{
		Use:   "plantload",
		Short: "Run many simulated benches against a broker and say what they send and cost",
		Args:  cobra.NoArgs, SilenceUsage: true, SilenceErrors: true,
		PreRunE: func(*cobra.Command, []string) error {
			err := l.check()
			wrong = err != nil
			if wrong {
				return err
			}
			return nil
		},
		RunE: func(c *cobra.Command, _ []string) error { return l.run(c.Context(), out, errs) },
	}
	f := c.Flags()
	f.StringVar(&l.Broker, "broker", "mqtt://127.0.0.1:1883", "the broker, mqtt:// or mqtts://HOST:PORT")
	f.StringVar(&l.Reader, "reader", "", "the broker of the reader, such as another node of a cluster; that of the benches if it is left out")
	f.StringVar(&l.Username, "username", "", "the user of benches and reader at the broker")
	f.StringVar(&l.PasswordFile, "password-file", "", "the file with the user's password")
	f.StringVar(&l.CAFile, "ca-file", "", "the certificate authority of an mqtts:// broker")
	f.StringVar(&l.Prefix, "prefix", "plantload", "what the topics begin with")
	f.IntVar(&l.Benches, "benches", 10, "how many benches, in all processes together")
	f.IntVar(&l.processes, "processes", 1, "how many processes share the benches, each with a reader")
	f.BoolVar(&l.Wire, "wire", false, "only the messages of a bench, from its MQTT client with six connections, without a service")
	f.DurationVar(&l.For, "for", 5*time.Minute, "how long is measured")
	f.DurationVar(&l.MixEvery, "mix-every", 100*time.Minute, "mean time between two mixes at a bench")
	f.BoolVar(&l.Recorded, "recorded", false, "mixes are recorded as made already, not poured at the scale")
	f.DurationVar(&l.SampleEvery, "sample-every", 10*time.Second, "between two samples from a change of the air to the light; 0s for none")
	f.DurationVar(&l.SensorEvery, "sensor-every", 5*time.Second, "how often a sensor is read")
	f.IntVar(&l.BrokerPID, "broker-pid", 0, "the process of the broker on this computer, whose cost is to be reported")
	f.BoolVar(&l.asJSON, "json", false, "write the report as JSON, with every sample in nanoseconds")
	f.Uint64Var(&l.Seed, "seed", 1, "of what chance decides")
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

func (l *load) run(ctx context.Context, out, errs io.Writer) error {
	l.Log = slog.New(slog.NewTextHandler(errs, &slog.HandlerOptions{Level: slog.LevelWarn}))
	fmt.Fprintf(errs, "%d benches begin; it is measured for %s once they are up\n", l.Benches, l.For)
	var report rehearsal.PlantReport
	var err error
	if l.processes > 1 {
		report, err = l.share(ctx, errs)
	} else {
		report, err = rehearsal.RunPlant(ctx, l.PlantOptions)
	}
	if err != nil {
		return err
	}
	if l.asJSON {
		err = json.NewEncoder(out).Encode(report)
	} else {
		err = report.Write(out)
	}
	if err != nil {
		return err
	}
	if n := len(report.WrongLights) + len(report.MissingEvents); n > 0 && !l.asJSON {
		return fmt.Errorf("%d lights or benches were not heard as they should", n)
	}
	return nil
}

// share runs this program once for each part of the benches, below a prefix of its own, and merges the
// reports. The broker's cost is that which the first of them saw.
func (l *load) share(ctx context.Context, errs io.Writer) (all rehearsal.PlantReport, err error) {
	program, err := os.Executable()
	if err != nil {
		return all, err
	}
	reports, failed := make([]rehearsal.PlantReport, l.processes), make([]error, l.processes)
	told := oneAtATime{to: errs}
	var running sync.WaitGroup
	for i := range l.processes {
		benches := (l.Benches + i) / l.processes
		args := append(append([]string{}, l.arguments...), "--processes=1", "--json=true", "--benches="+strconv.Itoa(benches),
			fmt.Sprintf("--prefix=%s/p%d", l.Prefix, i+1), fmt.Sprintf("--seed=%d", l.Seed+uint64(i)))
		running.Go(func() {
			var out bytes.Buffer
			c := exec.CommandContext(ctx, program, args...)
			c.Cancel = func() error { return c.Process.Signal(syscall.SIGTERM) }
			c.Stdout, c.Stderr = &out, &told
			if err := c.Run(); err != nil {
				failed[i] = fmt.Errorf("process %d: %w", i+1, err)
				return
			}
			failed[i] = json.Unmarshal(out.Bytes(), &reports[i])
		})
	}
	running.Wait()
	for _, r := range reports {
		all.Merge(r)
	}
	all.BrokerShare, all.BrokerBytes = reports[0].BrokerShare, reports[0].BrokerBytes
	return all, errors.Join(failed...)
}

// oneAtATime passes on what several processes write.
type oneAtATime struct {
	mu sync.Mutex
	to io.Writer
}

func (w *oneAtATime) Write(p []byte) (int, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.to.Write(p)
}
