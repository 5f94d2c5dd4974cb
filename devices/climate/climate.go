// Package climate reads sensors of air temperature and relative humidity.
//
// HWMon reads a sensor that has a driver in the kernel, through the files of its hwmon folder.
// The units are given by Documentation/hwmon/sysfs-interface of the kernel and, for one common
// chip, Documentation/hwmon/sht4x.rst: temp1_input is in thousandths of a degree Celsius,
// humidity1_input in thousandths of a per cent. Accuracy, resolution and range are those of the
// chip. The kernel may return a value up to update_interval old (2 s or more for that chip).
package climate

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"potlifed/model/air"
)

// Errors that a caller tests for.
var (
	// ErrAbsent means that the folder or one of its files is not there.
	ErrAbsent = errors.New("the sensor is not there")
	// ErrImplausible means that the sensor gave a value that air cannot have.
	ErrImplausible = errors.New("no air has this value")
	// ErrGarbled means that a file does not hold one whole number.
	ErrGarbled = errors.New("want one whole number")
	// ErrBlocked means that an earlier read has not returned from the kernel.
	ErrBlocked = errors.New("an earlier read is still waiting for the kernel")
)

// Limits of the values that are accepted. Sensors may show a little less than 0 or more than 100
// % at the ends of their range.
const (
	lowestTemperatureC  = -40
	highestTemperatureC = 85
	humiditySlackPct    = 2
)

const (
	temperatureFile = "temp1_input"
	humidityFile    = "humidity1_input"
	// maxFileBytes limits what is read of a file. A whole number is shorter.
	maxFileBytes = 64
	// defaultTries is how often a reading is tried. One-wire sensors fail now and then and need
	// two seconds to recover; a fault that occurs three times is permanent.
	defaultTries = 3
	defaultPause = 2 * time.Second
)

// HWMon is one sensor in a hwmon folder. A sensor is not read twice at once: a Read during
// another Read returns ErrBlocked.
type HWMon struct {
	pattern string
	pause   time.Duration
	file    func(name string) ([]byte, error)

	busy chan struct{} // holds a token while a read of the kernel's files is under way
}

// OpenHWMon returns the sensor in a hwmon folder. The error is ErrAbsent when the folder or one
// of its two files is missing.
//
// The path may have * in it and must then match exactly one folder. The number of a hwmon folder
// changes at each boot, a path by the device does not: /sys/bus/i2c/devices/1-0044/hwmon/hwmon*.
// The path is matched again for each reading, so a driver that comes back under another number
// is found.
func OpenHWMon(path string) (*HWMon, error) {
	h := &HWMon{pattern: path, pause: defaultPause, file: readFile, busy: make(chan struct{}, 1)}
	if path == "" {
		return nil, errors.New("open sensor: no path to a hwmon folder")
	}
	dir, err := h.folder()
	if err != nil {
		return nil, fmt.Errorf("open sensor %q: %w", path, err)
	}
	for _, name := range []string{temperatureFile, humidityFile} {
		info, err := os.Stat(filepath.Join(dir, name))
		if err != nil {
			return nil, fmt.Errorf("open sensor %q: %w: %w", path, ErrAbsent, err)
		}
		if info.IsDir() {
			return nil, fmt.Errorf("open sensor %q: %s is a folder", path, name)
		}
	}
	return h, nil
}

// Name returns the kernel's name of the chip, empty if it has none.
func (h *HWMon) Name() string {
	dir, err := h.folder()
	if err != nil {
		return ""
	}
	b, err := h.file(filepath.Join(dir, "name"))
	if err != nil {
		return ""
	}
	return strings.TrimSpace(string(b))
}

func (h *HWMon) folder() (string, error) {
	if !strings.ContainsAny(h.pattern, "*?[") {
		return h.pattern, nil
	}
	found, err := filepath.Glob(h.pattern)
	switch {
	case err != nil:
		return "", fmt.Errorf("path pattern: %w", err)
	case len(found) == 0:
		return "", ErrAbsent
	case len(found) > 1:
		return "", fmt.Errorf("the path fits %s; want one folder", strings.Join(found, " and "))
	}
	return found[0], nil
}

// Read returns the air as the sensor measures it. Transient faults (EIO, ETIMEDOUT, EAGAIN, and
// an empty file) are tried again, up to three times in all. Values outside -40..85 °C or 0..100
// % give ErrImplausible. A humidity that is outside by at most 2 % is set to the limit instead.
//
// Read returns the error of the context when the context ends. A read of a file that hangs in
// the kernel cannot be interrupted; it continues in a goroutine, and Read returns ErrBlocked
// until it is over. There is never more than one such goroutine for a sensor.
func (h *HWMon) Read(ctx context.Context) (air.State, error) {
	s, err := h.read(ctx)
	if err != nil {
		return air.State{}, fmt.Errorf("read sensor %q: %w", h.pattern, err)
	}
	return s, nil
}

func (h *HWMon) read(ctx context.Context) (air.State, error) {
	for try := 1; ; try++ {
		s, err := h.ask(ctx)
		if err == nil || !passing(err) || try == defaultTries {
			return s, err
		}
		if err := pause(ctx, h.pause); err != nil {
			return air.State{}, err
		}
	}
}

// passing reports whether an error may be gone at the next try.
func passing(err error) bool {
	return errors.Is(err, syscall.EIO) || errors.Is(err, syscall.ETIMEDOUT) || errors.Is(err, syscall.EAGAIN) || errors.Is(err, errEmpty)
}

// pause waits for d. It returns the error of the context when the context ends first.
func pause(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// ask makes one attempt. The files are read in a goroutine that can be left behind.
func (h *HWMon) ask(ctx context.Context) (air.State, error) {
	if err := ctx.Err(); err != nil {
		return air.State{}, err
	}
	select {
	case h.busy <- struct{}{}:
	default:
		return air.State{}, ErrBlocked
	}
	type answer struct {
		state air.State
		err   error
	}
	answers := make(chan answer, 1)
	go func() {
		var a answer
		a.state, a.err = h.once()
		<-h.busy
		answers <- a
	}()
	select {
	case a := <-answers:
		return a.state, a.err
	case <-ctx.Done():
		return air.State{}, ctx.Err()
	}
}

// once reads both files.
func (h *HWMon) once() (air.State, error) {
	dir, err := h.folder()
	if err != nil {
		return air.State{}, err
	}
	temperature, err := h.value(dir, temperatureFile)
	if err != nil {
		return air.State{}, err
	}
	humidity, err := h.value(dir, humidityFile)
	if err != nil {
		return air.State{}, err
	}
	return judge(temperature, humidity)
}

func (h *HWMon) value(dir, name string) (thousandths int64, err error) {
	content, err := h.file(filepath.Join(dir, name))
	if errors.Is(err, os.ErrNotExist) || errors.Is(err, syscall.ENODEV) || errors.Is(err, syscall.ENXIO) {
		return 0, fmt.Errorf("%w: %w", ErrAbsent, err)
	}
	if err != nil {
		return 0, err
	}
	thousandths, err = parseThousandths(content)
	if err != nil {
		return 0, fmt.Errorf("%s: %w", name, err)
	}
	return thousandths, nil
}

// judge returns the air of two values in thousandths, or ErrImplausible.
func judge(temperature, humidity int64) (air.State, error) {
	s := air.State{TemperatureC: float64(temperature) / 1000, HumidityPct: float64(humidity) / 1000}
	if s.TemperatureC < lowestTemperatureC || s.TemperatureC > highestTemperatureC {
		return air.State{}, fmt.Errorf("%s: %g °C: %w, want %d..%d", temperatureFile, s.TemperatureC, ErrImplausible, lowestTemperatureC, highestTemperatureC)
	}
	if s.HumidityPct < -humiditySlackPct || s.HumidityPct > 100+humiditySlackPct {
		return air.State{}, fmt.Errorf("%s: %g %%: %w, want 0..100", humidityFile, s.HumidityPct, ErrImplausible)
	}
	s.HumidityPct = min(max(s.HumidityPct, 0), 100)
	return s, nil
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

// readFile returns the content of a small file. Of a large file it returns only as much as shows
// that it is too large.
func readFile(name string) ([]byte, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	content, err := io.ReadAll(io.LimitReader(f, maxFileBytes))
	if closeErr := f.Close(); err == nil {
		err = closeErr
	}
	return content, err
}
