package climate

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"go.uber.org/goleak"

	"potlifed/devices/simulate"
	"potlifed/model/air"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func newRoom(t *testing.T, dir string, s air.State) *simulate.Room {
	t.Helper()
	r, err := simulate.NewRoom(dir, s)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func opened(t *testing.T, path string) *HWMon {
	t.Helper()
	h, err := OpenHWMon(path)
	if err != nil {
		t.Fatal(err)
	}
	h.pause = 0
	return h
}

// 31.5 degrees are 31500, and per cent likewise: kernel
// Documentation/hwmon/sht4x.rst.
func TestUnitsOfTheKernel(t *testing.T) {
	dir := t.TempDir()
	for name, content := range map[string]string{"name": "sht4x\n", temperatureFile: "31500\n", humidityFile: "55125\n"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	h := opened(t, dir)
	s, err := h.Read(t.Context())
	if err != nil || s != (air.State{TemperatureC: 31.5, HumidityPct: 55.125}) || h.Name() != "sht4x" {
		t.Errorf("read %+v, %v from %q", s, err, h.Name())
	}
}

func TestReadFollowsTheRoom(t *testing.T) {
	r := newRoom(t, filepath.Join(t.TempDir(), "hwmon0"), air.State{TemperatureC: 20, HumidityPct: 50})
	h := opened(t, r.Path())
	for _, want := range []air.State{{TemperatureC: 20, HumidityPct: 50}, {TemperatureC: -12.345, HumidityPct: 0}, {TemperatureC: 85, HumidityPct: 100}} {
		if err := r.Set(want); err != nil {
			t.Fatal(err)
		}
		if got, err := h.Read(t.Context()); err != nil || got != want {
			t.Errorf("read %+v, %v; want %+v", got, err, want)
		}
	}
	if err := r.Fail(); err != nil {
		t.Fatal(err)
	}
	if got, err := h.Read(t.Context()); !errors.Is(err, ErrAbsent) || !strings.Contains(err.Error(), r.Path()) {
		t.Errorf("without files: %+v, %v; want ErrAbsent with the path", got, err)
	}
	if err := r.Set(air.State{TemperatureC: 21, HumidityPct: 40}); err != nil {
		t.Fatal(err)
	}
	if got, err := h.Read(t.Context()); err != nil || got.TemperatureC != 21 {
		t.Errorf("after it came back: %+v, %v", got, err)
	}
}

func TestBadContentIsNeverAValue(t *testing.T) {
	r := newRoom(t, filepath.Join(t.TempDir(), "hwmon0"), air.State{TemperatureC: 20, HumidityPct: 50})
	h := opened(t, r.Path())
	for _, c := range []struct {
		file, content string
		want          error
	}{
		{humidityFile, "102001\n", ErrImplausible},
		{humidityFile, "-2001\n", ErrImplausible},
		{humidityFile, "500000\n", ErrImplausible},
		{temperatureFile, "85001\n", ErrImplausible},
		{temperatureFile, "-40001\n", ErrImplausible},
		{temperatureFile, "999999999999\n", ErrImplausible},
		{temperatureFile, "", ErrGarbled},
		{temperatureFile, "\n", ErrGarbled},
		{temperatureFile, "20.5\n", ErrGarbled},
		{temperatureFile, "+20500\n", ErrGarbled},
		{temperatureFile, "-\n", ErrGarbled},
		{temperatureFile, "--20500\n", ErrGarbled},
		{temperatureFile, "20500 20500\n", ErrGarbled},
		{temperatureFile, "20500\n\n", ErrGarbled},
		{temperatureFile, "NaN\n", ErrGarbled},
		{temperatureFile, "\x00\xff", ErrGarbled},
		{temperatureFile, "9999999999999999999999\n", ErrGarbled},
		{humidityFile, strings.Repeat("5", 10_000_000), ErrGarbled},
	} {
		if err := r.Set(air.State{TemperatureC: 20, HumidityPct: 50}); err != nil {
			t.Fatal(err)
		}
		if err := r.SetRaw(c.file, c.content); err != nil {
			t.Fatal(err)
		}
		got, err := h.Read(t.Context())
		if !errors.Is(err, c.want) || got != (air.State{}) || len(err.Error()) > 300 {
			t.Errorf("%s = %.20q: got %+v, %v; want %v", c.file, c.content, got, err, c.want)
		}
	}
}

func TestHumidityALittleOutsideIsClamped(t *testing.T) {
	r := newRoom(t, filepath.Join(t.TempDir(), "hwmon0"), air.State{TemperatureC: 20, HumidityPct: 100.7})
	h := opened(t, r.Path())
	if got, err := h.Read(t.Context()); err != nil || got.HumidityPct != 100 {
		t.Errorf("100.7 %%: %+v, %v", got, err)
	}
	if err := r.Set(air.State{TemperatureC: 20, HumidityPct: -2}); err != nil {
		t.Fatal(err)
	}
	if got, err := h.Read(t.Context()); err != nil || got.HumidityPct != 0 {
		t.Errorf("-2 %%: %+v, %v", got, err)
	}
}

func TestOpen(t *testing.T) {
	dir := t.TempDir()
	r := newRoom(t, filepath.Join(dir, "hwmon3"), air.State{TemperatureC: 20, HumidityPct: 50})
	pattern := filepath.Join(dir, "hwmon*")
	h := opened(t, pattern)
	// Another boot, another number.
	if err := os.Rename(r.Path(), filepath.Join(dir, "hwmon7")); err != nil {
		t.Fatal(err)
	}
	if _, err := h.Read(t.Context()); err != nil {
		t.Errorf("under another number: %v", err)
	}
	newRoom(t, filepath.Join(dir, "hwmon8"), air.State{})
	if _, err := h.Read(t.Context()); err == nil || !strings.Contains(err.Error(), "hwmon7 and") {
		t.Errorf("two folders: %v", err)
	}
	half := filepath.Join(dir, "half")
	newRoom(t, half, air.State{})
	if err := os.Remove(filepath.Join(half, humidityFile)); err != nil {
		t.Fatal(err)
	}
	for path, want := range map[string]error{
		half:                         ErrNoHumidity,
		filepath.Join(dir, "absent"): ErrAbsent,
		filepath.Join(dir, "none*"):  ErrAbsent,
		filepath.Join(dir, "[x"):     filepath.ErrBadPattern,
	} {
		if _, err := OpenHWMon(path); !errors.Is(err, want) || !strings.Contains(err.Error(), fmt.Sprintf("%q", path)) {
			t.Errorf("%s: %v, want %v", path, err, want)
		}
	}
	if _, err := OpenHWMon(""); err == nil {
		t.Error("opened the path that is none")
	}
}

// failing makes the first n reads of a file fail, as no file does on demand.
func failing(h *HWMon, n int, err error) {
	next := h.file
	h.file = func(name string) ([]byte, error) {
		if n > 0 && filepath.Base(name) == humidityFile {
			n--
			return nil, &os.PathError{Op: "read", Path: name, Err: err}
		}
		return next(name)
	}
}

func TestPassingFaultsAreTriedAgain(t *testing.T) {
	r := newRoom(t, filepath.Join(t.TempDir(), "hwmon0"), air.State{TemperatureC: 20, HumidityPct: 50})
	for _, c := range []struct {
		fault   error
		times   int
		works   bool
		elapsed time.Duration
	}{
		{syscall.EIO, 1, true, 2 * time.Second},
		{syscall.ETIMEDOUT, 2, true, 4 * time.Second},
		{syscall.EAGAIN, 3, false, 4 * time.Second},
		{syscall.EACCES, 1, false, 0},
	} {
		synctest.Test(t, func(t *testing.T) {
			h, err := OpenHWMon(r.Path())
			if err != nil {
				t.Fatal(err)
			}
			failing(h, c.times, c.fault)
			began := time.Now()
			s, err := h.Read(t.Context())
			if (err == nil) != c.works || !c.works && !errors.Is(err, c.fault) || c.works && s.HumidityPct != 50 {
				t.Errorf("%v %d times: read %+v, %v", c.fault, c.times, s, err)
			}
			if elapsed := time.Since(began); elapsed != c.elapsed {
				t.Errorf("%v %d times: took %v, want %v", c.fault, c.times, elapsed, c.elapsed)
			}
		})
	}
}

func TestContextEndsAWaitBetweenTries(t *testing.T) {
	r := newRoom(t, filepath.Join(t.TempDir(), "hwmon0"), air.State{TemperatureC: 20, HumidityPct: 50})
	synctest.Test(t, func(t *testing.T) {
		h, err := OpenHWMon(r.Path())
		if err != nil {
			t.Fatal(err)
		}
		failing(h, 3, syscall.EIO)
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		if _, err := h.Read(ctx); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("got %v", err)
		}
	})
}

func FuzzParseThousandths(f *testing.F) {
	for _, s := range []string{"31500\n", "-40000", "", "\n", "1e3", "999999999999", "0x10\n", "-0\n", "20500\r\n"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, content []byte) {
		n, err := parseThousandths(content)
		if err != nil {
			if n != 0 || !errors.Is(err, ErrGarbled) {
				t.Errorf("%q: %d, %v", content, n, err)
			}
			return
		}
		var again int64
		if _, err := fmt.Sscanf(string(content), "%d", &again); err != nil || again != n {
			t.Errorf("%q: %d, and %d by fmt (%v)", content, n, again, err)
		}
		s, err := judge(float64(n)/1000, float64(n)/1000)
		if (err != nil) != (s == air.State{}) && n != 0 {
			t.Errorf("%q: both %+v and %v", content, s, err)
		}
		if s.HumidityPct < 0 || s.HumidityPct > 100 || s.TemperatureC < -40 || s.TemperatureC > 85 {
			t.Errorf("%q: %+v", content, s)
		}
	})
}
