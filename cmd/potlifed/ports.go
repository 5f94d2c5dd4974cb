package main

import (
	"encoding/json"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"potlifed/devices/plugged"
)

func portsCommand() *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use:   "ports",
		Short: "List the ports, scales and sensors that are plugged in",
		Long: `ports lists the serial ports, the scales on hidraw and the kernel's humidity sensors that
this computer has found, each with the line to paste into the configuration. It opens no
device. What is on a serial port it cannot tell: potlifed listen --port PORT --learn can.`,
		Example: "  potlifed ports\n  potlifed ports --json",
		Args:    noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			list, err := plugged.List("/")
			if asJSON {
				if list == nil {
					list = []plugged.Found{}
				}
				if werr := json.NewEncoder(c.OutOrStdout()).Encode(list); werr != nil {
					return werr
				}
			} else {
				showPorts(c.OutOrStdout(), list)
			}
			if err != nil {
				return fmt.Errorf("ports: %w", err)
			}
			return nil
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print one JSON list")
	return c
}

// showPorts prints what was found, scales first.
func showPorts(out io.Writer, list []plugged.Found) {
	scales, sensors := 0, 0
	for _, f := range list {
		if f.Port != "" {
			scales++
		} else {
			sensors++
		}
	}
	show := func(section string, is func(plugged.Found) bool) {
		fmt.Fprintf(out, "%s:\n", section)
		for _, f := range list {
			if !is(f) {
				continue
			}
			note := ""
			if !f.Stable {
				note = "; this name may change when devices are plugged in again"
			}
			name := f.Name
			if name == "" {
				name = "no name"
			}
			fmt.Fprintf(out, "  # %s %s (%s)%s\n%s", f.Kind, f.Kernel, name, note, f.Configuration)
		}
	}
	if scales > 0 {
		show("scales", func(f plugged.Found) bool { return f.Port != "" })
	} else {
		fmt.Fprintln(out, "# no serial port and no scale on hidraw; is the adapter plugged in? dmesg shows what the kernel has seen")
	}
	if sensors > 0 {
		show("sensors", func(f plugged.Found) bool { return f.Path != "" })
	} else {
		fmt.Fprintln(out, "# no humidity sensor of the kernel's drivers; "+overlayAdvice)
	}
}

// overlayAdvice names the lines of a Raspberry Pi's configuration that load the drivers of common
// sensors, from /boot/firmware/overlays/README (i2c-sensor, dht11).
const overlayAdvice = "on a Raspberry Pi, add to /boot/firmware/config.txt and restart, for a chip on I2C: dtparam=i2c_arm=on and dtoverlay=i2c-sensor,sht4x (or sht3x, hdc100x, bme280); for a DHT22 on pin 4: dtoverlay=dht11,gpiopin=4"
