package main

import (
	"log/slog"

	"github.com/spf13/cobra"

	"potlifed/daemon"
	"potlifed/daemon/clock"
	"potlifed/daemon/config"
)

func runCommand() *cobra.Command {
	var file string
	c := &cobra.Command{
		Use:   "run --config FILE",
		Short: "Run the service",
		Args:  noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			shop, err := readShop(file)
			if err != nil {
				return err
			}
			system, err := clock.NewSystem(shop.Clock == "assume")
			if err != nil {
				return err
			}
			log := slog.New(slog.NewTextHandler(c.ErrOrStderr(), nil))
			return daemon.Run(c.Context(), daemon.Options{Shop: shop, Version: version(), Clock: system, Log: log})
		},
	}
	c.Flags().StringVar(&file, "config", "", "the configuration file")
	return c
}

// readShop reads the configuration; what is wrong with it is the request's fault.
func readShop(file string) (config.Shop, error) {
	if file == "" {
		return config.Shop{}, usage("--config FILE is needed")
	}
	shop, err := config.Read(file)
	if err != nil {
		return shop, usage("%w", err)
	}
	return shop, nil
}
