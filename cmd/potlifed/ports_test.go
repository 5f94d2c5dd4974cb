package main

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"

	"potlifed/daemon/config"
	"potlifed/devices/plugged"
)

// What ports prints is a configuration.
func TestPortsArePasted(t *testing.T) {
	var out bytes.Buffer
	showPorts(&out, []plugged.Found{
		{Kind: plugged.Serial, Kernel: "/dev/ttyUSB0", Port: "/dev/serial/by-id/usb-x", Stable: true, Configuration: "  - {id: scale-1, port: '/dev/serial/by-id/usb-x'}\n"},
		{Kind: plugged.IIO, Kernel: "/sys/bus/iio/devices/iio:device0", Name: "dht11", Path: "/sys/devices/dht11/iio:device*", Configuration: "  - {id: air-1, zone: bench, source: iio, path: '/sys/devices/dht11/iio:device*'}\n"},
	})
	text := "bench: b\n" + out.String() + "inks: [{id: i, hardener_ratio: \"4:1\", pot_life: {about: 8h}}]\n"
	shop, err := config.Parse("pasted", []byte(text))
	if err != nil || shop.Scales[0].Port != "/dev/serial/by-id/usb-x" || shop.Sensors[0].Source != "iio" {
		t.Errorf("%v\n%s", err, text)
	}
	if !strings.Contains(out.String(), "may change") {
		t.Errorf("the name that may change is not marked:\n%s", out.String())
	}
}

func TestPortsOnThisComputer(t *testing.T) {
	var out, errs bytes.Buffer
	if code := run(t.Context(), []string{"ports", "--json"}, strings.NewReader(""), &out, &errs); code != exitDone {
		t.Fatalf("exit %d: %s", code, errs.String())
	}
	var list []plugged.Found
	if err := json.Unmarshal(out.Bytes(), &list); err != nil || list == nil {
		t.Errorf("%v: %s", err, out.String())
	}
	out.Reset()
	showPorts(&out, nil)
	if !strings.Contains(out.String(), "dtoverlay=i2c-sensor,sht4x") {
		t.Errorf("without anything:\n%s", out.String())
	}
	if !strings.Contains(sensorsHere(t.TempDir()), "dtoverlay=dht11") {
		t.Error("check names no overlay")
	}
}
