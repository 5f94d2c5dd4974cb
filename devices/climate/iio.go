package climate

import (
	"bytes"
	"errors"
	"fmt"
	"strconv"
)

// quantity is what an iio device measures, by the part of the file names.
type quantity string

// The two quantities, by Documentation/ABI/testing/sysfs-bus-iio of the kernel.
const (
	iioTemperature quantity = "in_temp"
	iioHumidity    quantity = "in_humidityrelative"
)

// names are the files that hold a quantity's value: processed, or raw.
func (q quantity) names() []string { return []string{string(q) + "_input", string(q) + "_raw"} }

// IIO is one sensor in a folder of the kernel's industrial I/O drivers, such as dht11 (DHT22
// and AM2302 too), bme280, hdc100x or hts221.
//
// By Documentation/ABI/testing/sysfs-bus-iio, NAME_input is a value in thousandths of a degree
// Celsius or of a per cent. Without that file the value is (NAME_raw + NAME_offset) ·
// NAME_scale, in which a missing offset is 0 and a missing scale 1.
type IIO struct{ *folder }

// OpenIIO returns the sensor in an iio folder. The error is ErrAbsent when there is no folder,
// ErrNoHumidity when its device measures no humidity, and ErrOtherKind when it is a folder of
// another kind.
//
// The path may have * in it, as in [OpenHWMon]: the number of iio:device0 depends on the order
// in which the drivers were loaded. /sys/bus/i2c/devices/1-0076/iio:device* does not change.
func OpenIIO(path string) (*IIO, error) {
	f, err := open(path, layout{find: findIIO, read: readIIO})
	if err != nil {
		return nil, err
	}
	return &IIO{f}, nil
}

func findIIO(dir string) error {
	if err := isFolder(dir); err != nil {
		return err
	}
	switch temperature, humidity := has(dir, iioTemperature.names()...), has(dir, iioHumidity.names()...); {
	case temperature && humidity:
		return nil
	case has(dir, temperatureFile, humidityFile):
		return fmt.Errorf("%s%w: its folder is of the hwmon drivers; write source: hwmon", named(dir), ErrOtherKind)
	case temperature:
		return fmt.Errorf("%s%w: its folder has no %s_input or _raw", named(dir), ErrNoHumidity, iioHumidity)
	}
	return fmt.Errorf("%s%w: its folder has no %s_input or _raw; the folder of a sensor is wanted, such as /sys/bus/i2c/devices/1-0076/iio:device*", named(dir), ErrOtherKind, iioTemperature)
}

func readIIO(value func(string) ([]byte, error)) (temperature, humidity float64, err error) {
	if temperature, err = iioTemperature.read(value); err != nil {
		return 0, 0, err
	}
	humidity, err = iioHumidity.read(value)
	return temperature, humidity, err
}

// read returns the value of a quantity in thousandths.
func (q quantity) read(value func(string) ([]byte, error)) (float64, error) {
	input, there, err := optional(value, string(q)+"_input")
	if there || err != nil {
		return input, err
	}
	raw, there, err := optional(value, string(q)+"_raw")
	if err != nil {
		return 0, err
	}
	if !there {
		return 0, fmt.Errorf("%s: %w", q, ErrAbsent)
	}
	offset, _, err := optional(value, string(q)+"_offset")
	if err != nil {
		return 0, err
	}
	scale, there, err := optional(value, string(q)+"_scale")
	if err != nil {
		return 0, err
	}
	if !there {
		scale = 1
	}
	return (raw + offset) * scale, nil
}

// optional returns the number in a file, and whether there is such a file.
func optional(value func(string) ([]byte, error), name string) (x float64, there bool, err error) {
	content, err := value(name)
	if errors.Is(err, ErrAbsent) {
		return 0, false, nil
	}
	if err != nil {
		return 0, true, err
	}
	if x, err = parseNumber(content); err != nil {
		return 0, true, fmt.Errorf("%s: %w", name, err)
	}
	return x, true, nil
}

// parseNumber returns the number in a file: decimal digits with an optional minus, an optional
// fraction and an optional end of line. The kernel writes no exponent. The error is errEmpty or
// wraps ErrGarbled.
func parseNumber(content []byte) (float64, error) {
	text := bytes.TrimSuffix(content, []byte("\n"))
	if len(text) == 0 {
		return 0, errEmpty
	}
	digits, _ := bytes.CutPrefix(text, []byte("-"))
	whole, fraction, point := bytes.Cut(digits, []byte("."))
	if !isDigits(whole) || len(whole) > maxDigits || point && !isDigits(fraction) {
		return 0, garbled(content)
	}
	x, err := strconv.ParseFloat(string(text), 64)
	if err != nil {
		return 0, garbled(content)
	}
	return x, nil
}

func isDigits(text []byte) bool {
	for _, c := range text {
		if c < '0' || c > '9' {
			return false
		}
	}
	return len(text) > 0
}
