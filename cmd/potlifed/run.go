package main

import (
	"errors"
	"io/fs"
	"os"
	"os/signal"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"potlifed/daemon"
	"potlifed/daemon/clock"
	"potlifed/daemon/config"
)

// firstRun is what somebody reads who runs the program for the first time; %[1]s is where the
// configuration is expected.
const firstRun = `there is no configuration %[1]s
To try potlifed without devices and without a configuration:
    potlifed demo
For your shop, copy the example, which a package has as
/usr/share/doc/potlifed/examples/potlifed.example.yaml and the source as
testdata/potlifed.example.yaml, to %[1]s,
change in it what differs in your shop, and look whether all is found:
    potlifed check
Another file is named with --config FILE.`

func runCommand() *cobra.Command {
	var file string
	var logging logFlags
	c := &cobra.Command{
		Use:   "run",
		Short: "Run the service",
		Args:  noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			// From here on the signal asks for the configuration to be reloaded.
			hangup := make(chan os.Signal, 1)
			signal.Notify(hangup, syscall.SIGHUP)
			defer signal.Stop(hangup)
			if _, err := os.Stat(file); errors.Is(err, fs.ErrNotExist) && file == usualConfiguration {
				return usage(firstRun, file)
			}
			log, err := logging.logger("run", c.ErrOrStderr())
			if err != nil {
				return err
			}
			shop, err := readShop(file)
			if err != nil {
				return err
			}
			for _, d := range shop.Question(time.Now()) {
				log.Warn("the configuration is unusual", "doubt", d.String())
			}
			system, err := clock.NewSystem(shop.Clock == "assume")
			if err != nil {
				return err
			}
			return daemon.Run(c.Context(), daemon.Options{Shop: shop, Version: version(), Clock: system, Log: log, Compute: computing,
				ReadShop: func() (config.Shop, error) { return config.Read(file) }, Hangup: hangup})
		},
	}
	configFlag(c.Flags(), &file)
	logging.add(c.Flags())
	return c
}
