package plugged

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"potlifed/devices/simulate"
)

// tree makes files, and links where the text begins with "-> ".
func tree(t *testing.T, root string, files map[string]string) {
	t.Helper()
	for name, text := range files {
		path := filepath.Join(root, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		var err error
		if target, ok := strings.CutPrefix(text, "-> "); ok {
			err = os.Symlink(filepath.Join(root, target), path)
		} else {
			err = os.WriteFile(path, []byte(text), 0o644)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
}

// TestPortName: the name of what is at a port, whichever of its names the configuration has.
func TestPortName(t *testing.T) {
	root := t.TempDir()
	for _, dir := range []string{"dev/serial/by-id", "sys/class/hidraw/hidraw0/device"} {
		if err := os.MkdirAll(filepath.Join(root, dir), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	write := func(name, content string) {
		if err := os.WriteFile(filepath.Join(root, name), []byte(content), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	plug := func(id string) {
		link := filepath.Join(root, "dev/serial/by-id", id)
		if err := os.Symlink(filepath.Join(root, "dev/ttyUSB0"), link); err != nil {
			t.Fatal(err)
		}
	}
	write("dev/ttyUSB0", "")
	write("dev/hidraw0", "")
	write("sys/class/hidraw/hidraw0/device/uevent", "HID_ID=0003:00000922:00008003\nHID_UNIQ=77\n")
	want := func(port, name string) {
		t.Helper()
		if got := PortName(root, port); got != name {
			t.Errorf("%q is %q, want %q", port, got, name)
		}
	}
	want("/dev/ttyUSB0", "")
	plug("usb-one")
	want("/dev/ttyUSB0", "usb-one")
	want("/dev/serial/by-id/usb-one", "usb-one")
	if err := os.Remove(filepath.Join(root, "dev/serial/by-id/usb-one")); err != nil {
		t.Fatal(err)
	}
	plug("usb-two")
	want("/dev/ttyUSB0", "usb-two")
	want("/dev/ttyUSB1", "")
	want("tcp://127.0.0.1:4001", "")
	want("", "")
	want("hid:0922:8003", "hid:0922:8003:77")
	want("hid:0922:8004", "")
}

func TestList(t *testing.T) {
	root := t.TempDir()
	s, err := simulate.NewScale(simulate.ScaleOptions{Dir: root, Shape: "hid"})
	if err != nil {
		t.Skip(err) // no hidraw on this system
	}
	defer s.Close()
	const chip, dht = "sys/devices/platform/soc/i2c-1/1-0044/hwmon/hwmon2/", "sys/devices/platform/dht11@4/iio:device1/"
	tree(t, root, map[string]string{
		"dev/ttyUSB3": "", "dev/ttyACM0": "", "dev/ttyS0": "", "dev/null": "",
		"dev/serial/by-id/usb-adapter_1": "-> dev/ttyUSB3", "dev/serial/by-path/pci-1": "-> dev/ttyUSB3", "dev/serial/by-path/pci-2": "-> dev/ttyACM0",
		chip + "name": "sht4x\n", chip + "temp1_input": "21000\n", chip + "humidity1_input": "50000\n",
		"sys/class/hwmon/hwmon2":                                         "-> " + strings.TrimSuffix(chip, "/"),
		"sys/class/hwmon/hwmon0/name":                                    "cpu_thermal\n",
		dht + "name":                                                     "dht11\n",
		dht + "in_temp_input":                                            "21000\n",
		dht + "in_humidityrelative_raw":                                  "50000\n",
		"sys/bus/iio/devices/iio:device1":                                "-> " + strings.TrimSuffix(dht, "/"),
		"sys/class/hidraw/hidraw7/device/uevent":                         "HID_ID=0003:0000046D:0000C31C\n",
		"sys/class/hidraw/hidraw7/device/report_descriptor":              "\x05\x01\x09\x06\xa1\x01\xc0",
		"sys/bus/iio/devices/iio:device0/in_voltage0_raw":                "1\n",
		"sys/class/hidraw/hidraw8/device/report_descriptor_is_not_there": "",
	})
	list, err := List(root)
	if err != nil {
		t.Fatal(err)
	}
	want := []struct {
		kind       Kind
		name, here string
		stable     bool
	}{
		{Serial, "pci-2", "/dev/serial/by-path/pci-2", true},
		{Serial, "usb-adapter_1", "/dev/serial/by-id/usb-adapter_1", true},
		{HID, "Simulated scale", "hid:f055:008d:simulated", true},
		{HWMon, "sht4x", "/sys/bus/i2c/devices/1-0044/hwmon/hwmon*", true},
		{IIO, "dht11", "/sys/devices/platform/dht11@4/iio:device*", true},
	}
	if len(list) != len(want) {
		t.Fatalf("%+v", list)
	}
	for i, w := range want {
		if f := list[i]; f.Kind != w.kind || f.Name != w.name || f.Port+f.Path != w.here || f.Stable != w.stable || !strings.Contains(f.Configuration, w.here) {
			t.Errorf("%+v, want %+v", f, w)
		}
	}
	if list, err := List(t.TempDir()); err != nil || len(list) != 0 {
		t.Errorf("nothing there: %+v, %v", list, err)
	}
}
