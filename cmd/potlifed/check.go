package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"potlifed/daemon/config"
	"potlifed/daemon/journal"
)

func checkCommand() *cobra.Command {
	var file string
	var offline bool
	var bundleFile string
	c := &cobra.Command{
		Use:   "check [--offline [DIR]]",
		Short: "Check the configuration, every device and the broker",
		Long: `check reads the configuration and the files that it names, then opens every device,
the broker and the ports to listen on. It prints one line for each: ok with what was
found, or fault with what to do; doubt for what in the configuration is allowed but hardly
meant; advice for a figure that would narrow the bands, for a check of a sensor or scale
that is overdue or failed, and for a certificate that ends within two weeks. At the end it prints the addresses of the page.

Run it before the service starts, as the service's user. While the service runs, its
devices and ports are in use, and check reports them as such.

With --offline and a directory it checks every potlifed.yaml in and below it, such as those
that potlifed plant wrote, and that no two of them are the same bench.

With --bundle it writes what somebody far away needs in order to help into one zip file:
the configuration and the file that it includes, without secrets, what check says, lines of the
scales, versions, what is plugged in, and of a running service its instruments, alarms, newest
events and metrics.`,
		Example: `  potlifed check
  potlifed check --config potlifed.yaml --offline
  potlifed check --bundle potlifed.zip`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			if len(args) > 0 {
				if !offline || bundleFile != "" || c.Flags().Changed("config") {
					return usage("check: a directory goes with --offline alone; name one configuration with --config")
				}
				return checkFolder(c.OutOrStdout(), args[0])
			}
			return check(c.Context(), c.OutOrStdout(), file, offline, bundleFile)
		},
	}
	f := c.Flags()
	configFlag(f, &file)
	f.BoolVar(&offline, "offline", false, "check only the configuration and the files that it names: no device, broker or port")
	f.StringVar(&bundleFile, "bundle", "", "a new zip file for what somebody far away needs in order to help")
	return c
}

// check checks one configuration, and writes the bundle where its name is not empty.
func check(ctx context.Context, out io.Writer, file string, offline bool, bundleFile string) error {
	shop, err := readShop(file)
	if err != nil && bundleFile != "" { // it is needed most where nothing starts
		b := collect(ctx, file, nil, []byte(err.Error()+"\n"), nil)
		return errors.Join(err, b.save(out, bundleFile))
	}
	if err != nil {
		return err
	}
	var said bytes.Buffer
	l := &checklist{out: io.MultiWriter(out, &said)}
	l.good("configuration", "%s: %s, %s, %s, %s", file, counted(len(shop.Scales), "scale", "scales"),
		counted(len(shop.Sensors), "sensor", "sensors"), counted(len(shop.Presses), "press", "presses"), counted(len(shop.Inks), "ink", "inks"))
	l.questions(shop)
	l.files(shop)
	if !offline {
		l.everything(ctx, shop)
	}
	l.sheets(shop) // compares them with what the sensors read
	l.addresses(shop)
	if bundleFile != "" {
		b := collect(ctx, file, &shop, said.Bytes(), l.heard.Bytes())
		if err := b.save(out, bundleFile); err != nil {
			return err
		}
	}
	return l.verdict()
}

// counted is a number with its noun.
func counted(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// checklist prints a line for each thing that was looked at.
type checklist struct {
	out    io.Writer
	faults int
	heard  bytes.Buffer    // raw lines of the scales
	read   []sensorReading // of the sensors that could be read
}

// sensorReading is the temperature that a sensor shows, in °C.
type sensorReading struct {
	sensor  string
	celsius float64
}

func (l *checklist) good(what, format string, args ...any) {
	fmt.Fprintf(l.out, "ok     %-24s %s\n", what, fmt.Sprintf(format, args...))
}

func (l *checklist) fault(what, format string, args ...any) {
	l.faults++
	fmt.Fprintf(l.out, "fault  %-24s %s\n", what, fmt.Sprintf(format, args...))
}

func (l *checklist) verdict() error {
	if l.faults > 0 {
		return fmt.Errorf("check: %s; each line that begins with fault says what to do", counted(l.faults, "fault", "faults"))
	}
	return nil
}

func (l *checklist) everything(ctx context.Context, shop config.Shop) {
	l.dataDir(shop)
	l.access(shop)
	for _, s := range shop.Scales {
		l.scale(ctx, s)
	}
	for _, s := range shop.Sensors {
		l.sensor(ctx, s, shop)
	}
	for _, t := range shop.Trends {
		l.trend(ctx, t, shop)
	}
	l.checksDue(ctx, shop)
	if shop.Broker.Listen != "" {
		l.port("built-in broker", shop.Broker.Listen)
	}
	l.mqtt(ctx, shop)
	l.plant(ctx, shop)
	l.port("page", shop.HTTP.Listen)
}

// questions prints what in the configuration is allowed and hardly meant. It is no fault, except for
// what only a bench that has run already must keep.
func (l *checklist) questions(shop config.Shop) {
	_, err := os.Stat(filepath.Join(shop.DataDir, journal.FileName))
	for _, of := range []struct{ what, prefix string }{{"mqtt", shop.MQTT.TopicPrefix}, {"plant", shop.Plant.TopicPrefix}} {
		if errors.Is(err, fs.ErrNotExist) && strings.Contains(of.prefix, ".") {
			l.fault(of.what, "topic_prefix %s has a dot, which some brokers change; this bench has not run yet: use hyphens", of.prefix)
		}
	}
	for _, d := range shop.Question(time.Now()) {
		fmt.Fprintf(l.out, "doubt  %-24s %s\n", "configuration", d)
	}
}

// sheets prints which figures of the data sheets would make the bands narrower. It is no fault.
func (l *checklist) sheets(shop config.Shop) {
	for _, k := range shop.Inks {
		if k.Sheet.About != 0 {
			fmt.Fprintf(l.out, "advice %-24s one figure makes the band 30 %% wider: ask the ink maker for the shortest and the longest pot life, "+
				"at the temperature nearest to your shop's (the figure here holds at %g °C)\n", "ink "+k.ID, k.Life.AtTemperatureC)
		}
		for _, read := range l.read {
			if k.Life.FarFrom(read.celsius) {
				fmt.Fprintf(l.out, "advice %-24s its data sheet's figures hold at %g °C and sensor %s reads %.1f °C, which makes the band wider: "+
					"ask the ink maker for the pot life at the temperature nearest to your shop's\n", "ink "+k.ID, k.Life.AtTemperatureC, read.sensor, read.celsius)
				break
			}
		}
	}
}
