package climate

import (
	"bytes"
	"fmt"
)

// The files of a hwmon folder, by Documentation/hwmon/sysfs-interface of the kernel and, for one
// common chip, Documentation/hwmon/sht4x.rst: temp1_input is in thousandths of a degree Celsius,
// humidity1_input in thousandths of a per cent. The kernel may return a value up to
// update_interval old (2 s or more for that chip).
const (
	temperatureFile = "temp1_input"
	humidityFile    = "humidity1_input"
)

// HWMon is one sensor in a hwmon folder.
type HWMon struct{ *folder }

// OpenHWMon returns the sensor in a hwmon folder. The error is ErrAbsent when there is no folder,
// ErrNoHumidity when its device measures only temperature, and ErrOtherKind when it is a folder
// of another kind.
//
// The path may have * in it and must then match exactly one folder. The number of a hwmon folder
// changes at each boot, a path by the device does not: /sys/bus/i2c/devices/1-0044/hwmon/hwmon*.
// The path is matched again for each reading, so a driver that comes back under another number
// is found.
func OpenHWMon(path string) (*HWMon, error) {
	f, err := open(path, layout{find: findHWMon, read: readHWMon})
	if err != nil {
		return nil, err
	}
	return &HWMon{f}, nil
}

func findHWMon(dir string) error {
	if err := isFolder(dir); err != nil {
		return err
	}
	switch temperature, humidity := has(dir, temperatureFile), has(dir, humidityFile); {
	case temperature && humidity:
		return nil
	case has(dir, iioTemperature.names()...) || has(dir, iioHumidity.names()...):
		return fmt.Errorf("%s%w: its folder is of the iio drivers; write source: iio", named(dir), ErrOtherKind)
	case temperature:
		return fmt.Errorf("%s%w: its folder has %s and no %s", named(dir), ErrNoHumidity, temperatureFile, humidityFile)
	}
	return fmt.Errorf("%s%w: its folder has no %s; the folder of a sensor is wanted, such as /sys/bus/i2c/devices/1-0044/hwmon/hwmon*", named(dir), ErrOtherKind, temperatureFile)
}

func readHWMon(value func(string) ([]byte, error)) (temperature, humidity float64, err error) {
	var both [2]float64
	for i, name := range [...]string{temperatureFile, humidityFile} {
		content, err := value(name)
		if err != nil {
			return 0, 0, err
		}
		thousandths, err := parseThousandths(content)
		if err != nil {
			return 0, 0, fmt.Errorf("%s: %w", name, err)
		}
		both[i] = float64(thousandths)
	}
	return both[0], both[1], nil
}

// errEmpty differs from other garbled content: a value that is being written can be empty for a
// moment.
var errEmpty = fmt.Errorf("%w, the file is empty", ErrGarbled)

// maxDigits is more than any sensor needs and less than an int64 can hold.
const maxDigits = 12

// parseThousandths returns the value in a file: one whole number in decimal digits, with an
// optional minus and an optional end of line. The error is errEmpty or wraps ErrGarbled.
func parseThousandths(content []byte) (int64, error) {
	text := bytes.TrimSuffix(content, []byte("\n"))
	if len(text) == 0 {
		return 0, errEmpty
	}
	digits, negative := bytes.CutPrefix(text, []byte("-"))
	if len(digits) == 0 || len(digits) > maxDigits {
		return 0, garbled(content)
	}
	var n int64
	for _, c := range digits {
		if c < '0' || c > '9' {
			return 0, garbled(content)
		}
		n = 10*n + int64(c-'0')
	}
	if negative {
		n = -n
	}
	return n, nil
}

func garbled(content []byte) error {
	return fmt.Errorf("%w, found %.40q", ErrGarbled, content)
}
