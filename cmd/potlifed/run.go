package main

import (
	"log/slog"

	"github.com/spf13/cobra"

	"potlifed/daemon"
	"potlifed/daemon/clock"
)

func runCommand() *cobra.Command {
	var file string
	c := &cobra.Command{
		Use:   "run",
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
	configFlag(c.Flags(), &file)
	return c
}
