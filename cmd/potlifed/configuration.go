package main

import (
	"errors"
	"io/fs"
	"time"

	"github.com/spf13/pflag"

	"potlifed/daemon/config"
)

// usualConfiguration is where the service's unit expects the configuration.
const usualConfiguration = "/etc/potlifed/potlifed.yaml"

// configFlag is the flag --config of every command that reads the configuration.
func configFlag(f *pflag.FlagSet, file *string) {
	f.StringVar(file, "config", usualConfiguration, "the configuration file")
}

// readShop reads the configuration. Its error is a usage error: the same request fails
// again until the file is changed or another one is named.
func readShop(file string) (config.Shop, error) {
	if file == "" {
		return config.Shop{}, usage("--config is empty: name the configuration file")
	}
	shop, err := config.Read(file)
	switch {
	case errors.Is(err, fs.ErrNotExist) && file == usualConfiguration:
		return shop, usage("there is no configuration %s: name another file with --config FILE, or copy potlifed.example.yaml there and change what differs in your shop", file)
	case errors.Is(err, fs.ErrNotExist):
		return shop, usage("there is no configuration %s: check the name after --config; without it, %s is read", file, usualConfiguration)
	case errors.Is(err, fs.ErrPermission):
		return shop, usage("the configuration %s may not be read by this user: run the command as the service's user, or with sudo", file)
	case err != nil:
		return shop, usage("%w", err)
	}
	if shop.TimeZone != "" {
		// Days and times of day are those of the shop everywhere in the program, as if the machine
		// stood in its zone: numbers of batches, days of cans, texts and the log.
		time.Local = shop.Zone()
	}
	return shop, nil
}
