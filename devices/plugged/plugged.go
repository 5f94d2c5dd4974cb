// Package plugged lists the instruments that the system has found: serial ports, scales on hidraw,
// and the kernel's humidity sensors. It reads names only and opens no device, since opening a port
// can disturb what is on it.
package plugged

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"sort"
	"strings"

	"potlifed/devices/climate"
	"potlifed/devices/link"
	"potlifed/devices/scale"
)

// Kind is the kind of an instrument.
type Kind string

// The kinds that are found.
const (
	Serial Kind = "serial port"
	HID    Kind = "scale on hidraw"
	HWMon  Kind = "hwmon sensor"
	IIO    Kind = "iio sensor"
)

// Found is one instrument. Kernel is the name under which the kernel has it now, and Port or Path
// the name for the configuration, which stays the same when it is plugged in again; Stable is false
// where the system has no such name.
type Found struct {
	Kind   Kind   `json:"kind"`
	Kernel string `json:"kernel"`
	Name   string `json:"name,omitempty"`
	Port   string `json:"port,omitempty"` // of a serial port or a scale
	Path   string `json:"path,omitempty"` // of a sensor
	Stable bool   `json:"stable"`
	// Configuration is what to paste below scales or sensors. Of a serial port it is not known
	// what is on it.
	Configuration string `json:"configuration"`
}

// List returns what is found below root, which is "/" but for tests. The error says which folders
// could not be read; what was found in others is returned too.
func List(root string) ([]Found, error) {
	serial, err1 := serialPorts(root)
	scales, err2 := hidScales(root)
	hwmon, err3 := sensors(root, "sys/class/hwmon", HWMon, "hwmon*", func(dir string) error { _, err := climate.OpenHWMon(dir); return err })
	iio, err4 := sensors(root, "sys/bus/iio/devices", IIO, "iio:device*", func(dir string) error { _, err := climate.OpenIIO(dir); return err })
	list := append(append(append(serial, scales...), hwmon...), iio...)
	return list, errors.Join(err1, err2, err3, err4)
}

// entries returns the names in a folder, none where there is no folder.
func entries(dir string) ([]string, error) {
	list, err := os.ReadDir(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	var names []string
	for _, e := range list {
		names = append(names, e.Name())
	}
	return names, err
}

// serialDevices are the names of ports that scales and sensors are plugged into.
var serialDevices = regexp.MustCompile(`^(ttyUSB|ttyACM|ttyAMA|ttySC|ttyS)[0-9]+$`)

func serialPorts(root string) ([]Found, error) {
	stable := map[string]string{} // by the kernel's name
	var errs []error
	for _, folder := range []string{"by-path", "by-id"} { // by-id is better, since it moves with the device
		dir := filepath.Join(root, "dev/serial", folder)
		names, err := entries(dir)
		errs = append(errs, err)
		for _, n := range names {
			if target, err := filepath.EvalSymlinks(filepath.Join(dir, n)); err == nil {
				stable[filepath.Base(target)] = filepath.Join("/dev/serial", folder, n)
			}
		}
	}
	names, err := entries(filepath.Join(root, "dev"))
	errs = append(errs, err)
	var list []Found
	for _, n := range names {
		// The ports of a board are there whether or not something is wired to them, and the
		// first ones of a PC mostly are not even there.
		if !serialDevices.MatchString(n) || strings.HasPrefix(n, "ttyS") && !strings.HasPrefix(n, "ttySC") {
			continue
		}
		f := Found{Kind: Serial, Kernel: "/dev/" + n, Port: "/dev/" + n}
		if name := stable[n]; name != "" {
			f.Port, f.Stable, f.Name = name, true, filepath.Base(name)
		}
		f.Configuration = "  - {id: scale-1, port: '" + f.Port + "'}\n"
		list = append(list, f)
	}
	return list, errors.Join(errs...)
}

// PortName returns the name of the device at a port of the configuration, whatever name the port itself
// has: that of a serial adapter below /dev/serial/by-id, or the ids of a device on hidraw with its
// serial number. It is empty for a network port, and where the system has no such name. root is "/" but
// for tests. It opens no device.
func PortName(root, port string) string {
	if link.IsHID(port) {
		d, err := link.FindHID(port, root)
		if err != nil || d.Vendor == 0 && d.Product == 0 {
			return ""
		}
		return d.StableName()
	}
	if port == "" || strings.Contains(port, "://") {
		return ""
	}
	device, err := filepath.EvalSymlinks(filepath.Join(root, port))
	if err != nil {
		return ""
	}
	dir := filepath.Join(root, "dev/serial/by-id")
	names, _ := entries(dir) // without the folder no device has such a name
	for _, n := range names {
		if target, err := filepath.EvalSymlinks(filepath.Join(dir, n)); err == nil && target == device {
			return n
		}
	}
	return ""
}

func hidScales(root string) ([]Found, error) {
	devices, err := link.HIDDevices(root)
	var list []Found
	seen := map[string]int{}
	for _, d := range devices {
		if _, err := scale.ParseHIDDescriptor(d.Descriptor); err == nil {
			seen[d.StableName()]++
		}
	}
	for _, d := range devices {
		if _, err := scale.ParseHIDDescriptor(d.Descriptor); err != nil {
			continue // a keyboard or another device
		}
		f := Found{Kind: HID, Kernel: "/dev/" + filepath.Base(d.Path), Name: d.Name, Port: d.StableName(), Stable: true}
		if seen[f.Port] > 1 {
			f.Port, f.Stable = "hid:"+f.Kernel, false
		}
		f.Configuration = "  - {id: scale-1, port: '" + f.Port + "'}\n"
		list = append(list, f)
	}
	return list, err
}

// i2cDevice is the name of a chip on an I2C bus: bus and address.
var i2cDevice = regexp.MustCompile(`^[0-9]+-[0-9a-f]{4}$`)

// sensors returns those folders of a class that are a sensor with temperature and humidity.
func sensors(root, class string, kind Kind, numbered string, is func(dir string) error) ([]Found, error) {
	dir := filepath.Join(root, class)
	names, err := entries(dir)
	sort.Strings(names)
	var list []Found
	for _, n := range names {
		folder := filepath.Join(dir, n)
		if is(folder) != nil {
			continue
		}
		f := Found{Kind: kind, Kernel: filepath.Join("/", class, n)}
		f.Path = f.Kernel
		if text, err := os.ReadFile(filepath.Join(folder, "name")); err == nil {
			f.Name = strings.TrimSpace(string(text))
		}
		if path, ok := stablePath(root, folder, numbered); ok {
			f.Path, f.Stable = path, true
		}
		source := "hwmon"
		if kind == IIO {
			source = "iio"
		}
		f.Configuration = "  - {id: air-1, zone: bench, source: " + source + ", path: '" + f.Path + "'}\n"
		list = append(list, f)
	}
	return list, err
}

// stablePath names a folder by the device that it belongs to, with * for the number that the order
// of loading gives it.
func stablePath(root, folder, numbered string) (string, bool) {
	real, err := filepath.EvalSymlinks(folder)
	if err != nil || real == folder {
		return "", false
	}
	if resolved, err := filepath.EvalSymlinks(root); err == nil {
		root = resolved
	}
	parent := filepath.Dir(real)
	device, below := parent, numbered
	if filepath.Base(parent) == "hwmon" {
		device, below = filepath.Dir(parent), filepath.Join("hwmon", numbered)
	}
	if i2cDevice.MatchString(filepath.Base(device)) {
		return filepath.Join("/sys/bus/i2c/devices", filepath.Base(device), below), true
	}
	inside, err := filepath.Rel(root, device)
	if err != nil || strings.HasPrefix(inside, "..") {
		return "", false
	}
	return filepath.Join("/", inside, below), true
}
