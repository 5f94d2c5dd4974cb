package link

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"
)

// hidName is a port of a scale on hidraw: a path, or the ids of the device.
type hidName struct {
	path            string
	vendor, product uint16
	serial          string // empty for any
}

// parseHIDName reads hid:/dev/hidraw0, hid:VENDOR:PRODUCT or hid:VENDOR:PRODUCT:SERIAL.
func parseHIDName(port string) (hidName, error) {
	rest := strings.TrimPrefix(port, "hid:")
	if filepath.IsAbs(rest) {
		return hidName{path: rest}, nil
	}
	parts := strings.SplitN(rest, ":", 3)
	var ids [2]uint64
	for i := range ids {
		var err error
		if len(parts) <= i || len(parts[i]) != 4 {
			err = errors.New("four hexadecimal digits")
		} else {
			ids[i], err = strconv.ParseUint(parts[i], 16, 16)
		}
		if err != nil {
			return hidName{}, fmt.Errorf("%w: port %q: want hid:/dev/hidraw0, or hid:VENDOR:PRODUCT with four hexadecimal digits each; potlifed ports lists them", ErrSettings, port)
		}
	}
	n := hidName{vendor: uint16(ids[0]), product: uint16(ids[1])}
	if len(parts) == 3 {
		n.serial = parts[2]
	}
	return n, nil
}

// HIDDevice is a device that the kernel shows on hidraw.
type HIDDevice struct {
	Path            string // the device node
	Vendor, Product uint16
	Name, Serial    string // may be empty
	Descriptor      []byte // its report descriptor; nil when it cannot be read
}

// StableName returns the port of the device that stays the same after it was plugged in again.
func (d HIDDevice) StableName() string {
	name := fmt.Sprintf("hid:%04x:%04x", d.Vendor, d.Product)
	if d.Serial != "" {
		name += ":" + d.Serial
	}
	return name
}

// HIDDevices returns the devices on hidraw below root, which is "/" but for tests, in the order of
// their names. It opens none of them. Without any, the list is empty.
func HIDDevices(root string) ([]HIDDevice, error) {
	class := filepath.Join(root, "sys/class/hidraw")
	entries, err := os.ReadDir(class)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	var list []HIDDevice
	for _, e := range entries {
		d := HIDDevice{Path: filepath.Join(root, "dev", e.Name())}
		folder := filepath.Join(class, e.Name(), "device")
		d.describe(folder)
		if text, err := os.ReadFile(filepath.Join(folder, "report_descriptor")); err == nil {
			d.Descriptor = text
		}
		list = append(list, d)
	}
	return list, nil
}

// describe reads the kernel's file uevent, which has a line such as HID_ID=0003:00000922:00008003.
func (d *HIDDevice) describe(folder string) {
	text, err := os.ReadFile(filepath.Join(folder, "uevent"))
	if err != nil {
		return
	}
	for line := range strings.Lines(string(text)) {
		key, value, _ := strings.Cut(strings.TrimSpace(line), "=")
		switch key {
		case "HID_ID":
			if ids := strings.Split(value, ":"); len(ids) == 3 {
				vendor, err1 := strconv.ParseUint(ids[1], 16, 32)
				product, err2 := strconv.ParseUint(ids[2], 16, 32)
				if err1 == nil && err2 == nil && vendor <= 0xffff && product <= 0xffff {
					d.Vendor, d.Product = uint16(vendor), uint16(product)
				}
			}
		case "HID_NAME":
			d.Name = value
		case "HID_UNIQ":
			d.Serial = value
		}
	}
}

// FindHID returns the device of a port hid:…. The error wraps ErrAbsent when there is none, and
// ErrSettings when the port is wrong or several devices have its ids.
func FindHID(port, root string) (HIDDevice, error) {
	name, err := parseHIDName(port)
	if err != nil {
		return HIDDevice{}, err
	}
	devices, err := HIDDevices(root)
	if err != nil {
		return HIDDevice{}, err
	}
	if name.path != "" {
		node := name.path
		if resolved, err := filepath.EvalSymlinks(node); err == nil {
			node = resolved
		}
		for _, d := range devices {
			if d.Path == node {
				return d, nil
			}
		}
		return HIDDevice{Path: node}, nil
	}
	var found []HIDDevice
	for _, d := range devices {
		if d.Vendor == name.vendor && d.Product == name.product && (name.serial == "" || d.Serial == name.serial) {
			found = append(found, d)
		}
	}
	switch len(found) {
	case 0:
		return HIDDevice{}, fmt.Errorf("%w: no device on hidraw has these ids", ErrAbsent)
	case 1:
		return found[0], nil
	}
	return HIDDevice{}, fmt.Errorf("%w: port %q: %d devices have these ids; add the serial number, or name one by its path", ErrSettings, port, len(found))
}

// openHID opens a device on hidraw. Each Read returns one report.
func openHID(s Settings) (*stream, error) {
	device, err := FindHID(s.Port, s.Root)
	if err != nil {
		return nil, fmt.Errorf("open %q: %w", s.Port, err)
	}
	info, err := os.Stat(device.Path)
	if err != nil {
		return nil, fmt.Errorf("open %q: %w", s.Port, classify(err))
	}
	if info.Mode()&(os.ModeDevice|os.ModeCharDevice|os.ModeNamedPipe) == 0 {
		return nil, fmt.Errorf("open %q: %w", s.Port, ErrNotSerial)
	}
	f, err := openNonblocking(device.Path)
	if err != nil {
		return nil, fmt.Errorf("open %q: %w", s.Port, classify(err))
	}
	return &stream{
		name:  s.Port,
		write: func([]byte) (int, error) { return 0, errNotTaken },
		close: f.Close,
		read: func(p []byte) (int, error) {
			if err := f.SetReadDeadline(time.Now().Add(pollEvery)); err != nil {
				return 0, err
			}
			return f.Read(p)
		},
	}, nil
}
