package main

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"

	"github.com/spf13/cobra"

	"potlifed/daemon/config"
	"potlifed/daemon/kit"
)

// plantOptions are the flags of plant.
type plantOptions struct {
	benches, recipes, broker, caFile, prefix, name, out string
	ownBroker                                           bool
}

func plantCommand() *cobra.Command {
	var o plantOptions
	c := &cobra.Command{
		Use:   "plant --benches FILE --recipes FILE --broker URL --out DIR",
		Short: "Write configurations, users and rights for the benches of a plant",
		Long: `plant writes what the benches of a plant need from a list of them and one recipe book.

The list is CSV with a header, or a YAML list with the same names:

  id       of the bench, which is also its user at the broker
  name     where it is, for people; may be empty
  presses  ids; in CSV separated by spaces
  zone     of its scale, sensor and presses; default: hall
  address  HOST:PORT of its page and metrics
  scale    port of its scale
  sensor   folder of its sensor of the air

The recipe book has hardeners, thinners, inks and defects, as in a configuration. Into
the directory --out go:

  benches/ID           potlifed.yaml, recipes.yaml and mqtt-password: copy the folder to
                       /etc/potlifed of the bench
  mosquitto.passwords  users for mosquitto: password_file
  mosquitto.acl        rights for mosquitto: acl_file
  nats.conf            users and rights for NATS: include it in the servers' file
  reader-password      of the user reader, for boards and collectors, who reads all benches
  targets.json         the benches for file_sd_configs of Prometheus

A bench may publish only below its own topics. Passwords are random. One that is there
stays, so that the command can be repeated after each change of the list or the book; remove a
file to change its password. Files with passwords are readable by their owner only. Files that
are no longer needed are not removed.`,
		Example: `  potlifed plant --benches benches.csv --recipes recipes.yaml --broker mqtts://broker.example --prefix plant/north --out north
  potlifed check --offline north`,
		Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) error { return runPlant(c, o) },
	}
	c.SetFlagErrorFunc(flagFault)
	f := c.Flags()
	f.StringVar(&o.benches, "benches", "", "list of the benches, CSV or YAML")
	f.StringVar(&o.recipes, "recipes", "", "recipe book: hardeners, thinners, inks and defects")
	f.StringVar(&o.broker, "broker", "", "address of the plant's broker, mqtt:// or mqtts://")
	f.BoolVar(&o.ownBroker, "own-broker", false, "give each bench a broker of its own for its lamps; the plant's gets events and states beside it")
	f.StringVar(&o.caFile, "ca-file", "", "on each bench, the certificate authority of the broker")
	f.StringVar(&o.prefix, "prefix", "potlife", "what the topics begin with")
	f.StringVar(&o.name, "name", "plant", "name of the plant, a label of its metrics")
	f.StringVar(&o.out, "out", "", "directory for the files; is made if there is none")
	return c
}

// plantPrefix is a topic prefix that every broker keeps: without dots.
var plantPrefix = regexp.MustCompile(`^[A-Za-z0-9_-]+(/[A-Za-z0-9_-]+)*$`)

func runPlant(c *cobra.Command, o plantOptions) error {
	for _, flag := range []struct{ name, value string }{{"benches", o.benches}, {"recipes", o.recipes}, {"broker", o.broker}, {"out", o.out}} {
		if flag.value == "" {
			return usage("plant: --%s is missing", flag.name)
		}
	}
	if !plantPrefix.MatchString(o.prefix) {
		return usage("plant: --prefix %q: want levels of letters, digits, hyphens and underscores, with / between", o.prefix)
	}
	list, err := os.ReadFile(o.benches)
	if err != nil {
		return usage("plant: --benches: %w", err)
	}
	p := kit.Plant{Name: o.name, URL: o.broker, CAFile: o.caFile, Prefix: o.prefix, Dir: o.out, OwnBroker: o.ownBroker}
	if p.Recipes, err = os.ReadFile(o.recipes); err != nil {
		return usage("plant: --recipes: %w", err)
	}
	if p.Benches, err = kit.Read(o.benches, list); err != nil {
		return usage("plant: %w", err)
	}
	files, err := p.Write()
	if err != nil {
		return fmt.Errorf("plant: %w", err)
	}
	for _, file := range files {
		if filepath.Base(file) == kit.Configuration {
			if _, err := config.Read(file); err != nil {
				return usage("plant: a configuration that was written is not right:\n%w", err)
			}
		}
	}
	_, err = fmt.Fprintf(c.OutOrStdout(), "%s: %s in %s\n", o.out, counted(len(files), "file", "files"), counted(len(p.Benches), "bench", "benches"))
	return err
}
