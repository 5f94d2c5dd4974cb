package simulate

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"golang.org/x/sys/unix"
)

// The ids of the simulated device: the pair that USB-IF keeps for prototypes does not exist, so
// these are of a range that no vendor has.
const (
	hidVendor  = 0xf055
	hidProduct = 0x008d
	hidSerial  = "simulated"
	hidNode    = "hidraw0"
)

// hidDescriptor is the report descriptor of a scale with the data report of the HID Point of Sale
// Usage Tables 1.02, chapter 4: status, unit, exponent and weight in report 3.
var hidDescriptor = []byte{
	0x05, 0x8d, 0x09, 0x20, 0xa1, 0x01, // weighing devices: a scale
	0x09, 0x32, 0xa1, 0x02, 0x85, 0x03, // data report, number 3
	0x75, 0x08, 0x95, 0x01, // bytes
	0x09, 0x70, 0xa1, 0x02, 0x09, 0x71, 0x09, 0x72, 0x09, 0x73, 0x09, 0x74, 0x09, 0x75, 0x09, 0x76, 0x09, 0x77, 0x09, 0x78,
	0x15, 0x01, 0x25, 0x08, 0x81, 0x00, 0xc0, // status
	0x09, 0x50, 0xa1, 0x02, 0x19, 0x51, 0x29, 0x5c, 0x15, 0x01, 0x25, 0x0c, 0x81, 0x00, 0xc0, // unit
	0x09, 0x41, 0x15, 0x81, 0x25, 0x7f, 0x81, 0x02, // scaling
	0x09, 0x40, 0x15, 0x00, 0x27, 0xff, 0xff, 0x00, 0x00, 0x75, 0x10, 0x81, 0x02, // weight
	0xc0, 0xc0,
}

// hidPort is a device on hidraw: a folder like the kernel's, and a named pipe in place of the
// device node. The pipe is in packet mode, so that a read returns one report, as on hidraw.
type hidPort struct {
	root string
	pipe *os.File
}

func newHIDPort(o ScaleOptions) (port, error) {
	if o.Dir == "" {
		return nil, errors.New("no folder for the scale's device")
	}
	root, err := filepath.Abs(o.Dir)
	if err != nil {
		return nil, err
	}
	p := &hidPort{root: root}
	return p, p.replug()
}

func (p *hidPort) node() string   { return filepath.Join(p.root, "dev", hidNode) }
func (p *hidPort) folder() string { return filepath.Join(p.root, "sys/class/hidraw", hidNode) }
func (p *hidPort) path() string   { return "hid:" + p.node() }

func (p *hidPort) replug() error {
	device := filepath.Join(p.folder(), "device")
	if err := errors.Join(os.MkdirAll(device, 0o755), os.MkdirAll(filepath.Dir(p.node()), 0o755)); err != nil {
		return err
	}
	// A reader must find the pipe only once this side is open: it would find its end.
	aside := p.node() + ".new"
	uevent := fmt.Sprintf("DRIVER=hid-generic\nHID_ID=0003:%08X:%08X\nHID_NAME=Simulated scale\nHID_UNIQ=%s\n", hidVendor, hidProduct, hidSerial)
	err := errors.Join(
		os.WriteFile(filepath.Join(device, "uevent"), []byte(uevent), 0o644),
		os.WriteFile(filepath.Join(device, "report_descriptor"), hidDescriptor, 0o644),
		unix.Mkfifo(aside, 0o600),
	)
	if err != nil {
		return err
	}
	fd, err := unix.Open(aside, unix.O_RDWR|unix.O_NONBLOCK|unix.O_CLOEXEC, 0)
	if err != nil {
		return err
	}
	if _, err := unix.FcntlInt(uintptr(fd), unix.F_SETFL, unix.O_NONBLOCK|unix.O_DIRECT); err != nil {
		return errors.Join(err, unix.Close(fd))
	}
	p.pipe = os.NewFile(uintptr(fd), p.node())
	return os.Rename(aside, p.node())
}

func (p *hidPort) unplug() error {
	err := errors.Join(os.RemoveAll(p.folder()), os.Remove(p.node()), p.pipe.Close())
	if errors.Is(err, os.ErrNotExist) {
		return nil // its folder may have been removed already
	}
	return err
}

// unreadReports is how many bytes may wait for a reader before it counts as gone. The kernel keeps
// 64 reports of a device.
const unreadReports = 64 * 6

func (p *hidPort) write(b []byte) error {
	return onDescriptor(p.pipe, func(fd int) error {
		waiting, err := unix.IoctlGetInt(fd, unix.TIOCINQ)
		for buf := make([]byte, 64); err == nil && waiting > unreadReports; waiting -= 6 {
			_, err = unix.Read(fd, buf)
		}
		if err == nil {
			_, err = unix.Write(fd, b)
		}
		if errors.Is(err, unix.EAGAIN) {
			return nil // the reports are lost, as on a bus
		}
		return err
	})
}

func (p *hidPort) requested(string) (int, error) { return 0, nil }
