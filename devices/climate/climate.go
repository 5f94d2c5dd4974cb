// Package climate reads the temperature and humidity of the air.
//
// HWMon reads a sensor that the kernel drives, through the files of its hwmon
// folder. Documentation/hwmon/sysfs-interface and, for one common chip,
// Documentation/hwmon/sht4x.rst of the kernel give the units: temp1_input in
// thousandths of a degree Celsius, humidity1_input in thousandths of a per
// cent. Accuracy, resolution and range are the chip's; the kernel may answer
// from a value up to update_interval old (2 s or more for that chip).
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

// Errors a caller branches on.
var (
	// ErrAbsent: the folder or one of its files is not there.
	ErrAbsent = errors.New("the sensor is not there")
	// ErrImplausible: the sensor gave a value that no air has.
	ErrImplausible = errors.New("no air has this value")
	// ErrGarbled: a file does not hold one whole number.
	ErrGarbled = errors.New("want one whole number")
	// ErrBlocked: an earlier read has not come back from the kernel.
	ErrBlocked = errors.New("an earlier read is still waiting for the kernel")
)

// Limits of what is believed. The humidity slack is for sensors that show a
// little less than 0 or more than 100 % at the ends of their range.
const (
	lowestTemperatureC  = -40
	highestTemperatureC = 85
	humiditySlackPct    = 2
)

const (
	temperatureFile = "temp1_input"
	humidityFile    = "humidity1_input"
	// maxFileBytes bounds what is read of a file; a whole number has less.
	maxFileBytes = 64
	// One-wire sensors fail a read now and then and need two seconds to
	// recover; what fails three times is not a passing fault.
	defaultTries = 3
	defaultPause = 2 * time.Second
)

// HWMon is one sensor in a hwmon folder. A sensor is not read twice at once: a Read during another
// Read returns ErrBlocked.
type HWMon struct {
	pattern string
	pause   time.Duration
	file    func(name string) ([]byte, error)

	busy chan struct{} // holds a token while a read of the kernel's files is under way
}

// OpenHWMon takes the path of a hwmon folder and checks that the sensor is
// there and has both files. The path may have * in it and must then match one
// folder: the number of a hwmon folder changes from boot to boot, the path by
// device does not, /sys/bus/i2c/devices/1-0044/hwmon/hwmon*. The match is made
// again for each reading, so a driver that comes back under another number is
// found.
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

// Name is what the kernel calls the chip, empty if it does not say.
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

// Read asks the sensor. Passing faults (EIO, ETIMEDOUT, EAGAIN, and a file that
// was empty) are tried again up to three times in all. Values outside -40..85 °C
// or 0..100 % give ErrImplausible and never a reading, but for a humidity that is
// outside by 2 % at most, which is set to the limit.
//
// Read returns with the context's error when the context ends. A file read that
// hangs in the kernel cannot be interrupted; it goes on in a goroutine of its
// own, and until it comes back Read says ErrBlocked. So there is never more
// than one such goroutine for a sensor.
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

// passing says whether an error may be gone at the next try.
func passing(err error) bool {
	return errors.Is(err, syscall.EIO) || errors.Is(err, syscall.ETIMEDOUT) || errors.Is(err, syscall.EAGAIN) || errors.Is(err, errEmpty)
}

// pause waits for d. It returns the context's error when the context ends first.
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

// ask makes one attempt, with the reading of files where it can be left behind.
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

// judge turns thousandths into air, or says that there is no such air.
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

// errEmpty is apart from other garbled content: a value that is being written
// elsewhere can be empty for a moment.
var errEmpty = fmt.Errorf("%w, the file is empty", ErrGarbled)

// maxDigits is more than any sensor needs and less than an int64 can hold.
const maxDigits = 12

// parseThousandths reads the content of a value's file: one whole number in
// decimal digits with or without a minus, and an end of line or not.
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

// readFile reads a small file, and of a large one no more than shows that it is
// large.
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
