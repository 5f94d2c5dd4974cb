package climate

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"testing/synctest"

	"potlifed/model/air"
)

// tree writes files, by name, into a new folder of the given name.
func tree(t *testing.T, folder string, files map[string]string) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), folder)
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	for name, content := range files {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// The folders are made up after the kernel's drivers, drivers/iio/humidity and drivers/iio/pressure.
// The expected values are those of the chips' data sheets for the raw values, or the conversion
// written out.
func TestTheUsualChipsOverIIO(t *testing.T) {
	for name, c := range map[string]struct {
		files map[string]string
		want  air.State
	}{
		// dht11.c: both processed, in thousandths.
		"DHT22":                   {map[string]string{"name": "dht11@4\n", "in_temp_input": "21700\n", "in_humidityrelative_input": "48300\n"}, air.State{TemperatureC: 21.7, HumidityPct: 48.3}},
		"DHT22 below zero":        {map[string]string{"in_temp_input": "-5200\n", "in_humidityrelative_input": "80000\n"}, air.State{TemperatureC: -5.2, HumidityPct: 80}},
		"BME280":                  {map[string]string{"name": "bme280\n", "in_temp_input": "23450\n", "in_pressure_input": "98.650390625\n", "in_humidityrelative_input": "51240\n"}, air.State{TemperatureC: 23.45, HumidityPct: 51.24}},
		"processed with fraction": {map[string]string{"in_temp_input": "23450.500000\n", "in_humidityrelative_input": "51240.250000\n"}, air.State{TemperatureC: 23.4505, HumidityPct: 51.24025}},
		// hdc100x.c. TI SNAS643, 8.6.1 and 8.6.2: T = raw / 2^16 · 165 - 40, RH = raw / 2^16 · 100;
		// 0x6666 = 26214 is 26.0 °C and 40.0 %.
		"HDC1080": {map[string]string{"name": "1-0040\n", "in_temp_raw": "26214\n", "in_temp_offset": "-15887.515151\n", "in_temp_scale": "2.517700195\n",
			"in_humidityrelative_raw": "26214\n", "in_humidityrelative_scale": "1.525878906\n"}, air.State{TemperatureC: 26.0, HumidityPct: 40.0}},
		// Both are there: what the driver has computed counts.
		"processed and raw": {map[string]string{"in_temp_input": "20000\n", "in_temp_raw": "7\n", "in_humidityrelative_input": "50000\n", "in_humidityrelative_raw": "7\n"}, air.State{TemperatureC: 20, HumidityPct: 50}},
		// A missing offset is 0 and a missing scale 1, by sysfs-bus-iio.
		"raw alone": {map[string]string{"in_temp_raw": "21000\n", "in_humidityrelative_raw": "44000\n"}, air.State{TemperatureC: 21, HumidityPct: 44}},
	} {
		t.Run(name, func(t *testing.T) {
			s, err := OpenIIO(tree(t, "iio:device0", c.files))
			if err != nil {
				t.Fatal(err)
			}
			got, err := s.Read(t.Context())
			if err != nil || math.Abs(got.TemperatureC-c.want.TemperatureC) > 0.005 || math.Abs(got.HumidityPct-c.want.HumidityPct) > 0.005 {
				t.Errorf("read %+v, %v; want %+v", got, err, c.want)
			}
			if want := strings.TrimSpace(c.files["name"]); s.Name() != want {
				t.Errorf("name %q, want %q", s.Name(), want)
			}
		})
	}
}

// A folder without humidity, or of another kind, is there: the message says what it is.
func TestFoldersThatAreNoHumiditySensors(t *testing.T) {
	hwmon := map[string]string{"name": "sht4x\n", "temp1_input": "21000\n", "humidity1_input": "44000\n"}
	iio := map[string]string{"name": "bme280\n", "in_temp_input": "23450\n", "in_humidityrelative_input": "51240\n"}
	for name, c := range map[string]struct {
		files  map[string]string
		iio    bool
		want   error
		saying string
	}{
		"BMP280":                 {map[string]string{"name": "bmp280\n", "in_temp_input": "23450\n", "in_pressure_input": "98.65\n"}, true, ErrNoHumidity, "bmp280: it measures no humidity"},
		"a thermometer":          {map[string]string{"name": "cpu_thermal\n", "temp1_input": "51000\n"}, false, ErrNoHumidity, "cpu_thermal: it measures no humidity"},
		"an iio folder as hwmon": {iio, false, ErrOtherKind, "source: iio"},
		"a hwmon folder as iio":  {hwmon, true, ErrOtherKind, "source: hwmon"},
		"a converter":            {map[string]string{"name": "ads1015\n", "in_voltage0_raw": "7\n"}, true, ErrOtherKind, "in_temp"},
		"a voltage monitor":      {map[string]string{"name": "rpi_volt\n", "in0_lcrit_alarm": "0\n"}, false, ErrOtherKind, "temp1_input"},
		"a folder with nothing":  {nil, true, ErrOtherKind, "of another kind"},
		"humidity and no warmth": {map[string]string{"in_humidityrelative_raw": "7\n"}, true, ErrOtherKind, "in_temp"},
		"humidity over iio":      {map[string]string{"in_humidityrelative_raw": "7\n"}, false, ErrOtherKind, "source: iio"},
	} {
		dir := tree(t, "device", c.files)
		var err error
		if c.iio {
			_, err = OpenIIO(dir)
		} else {
			_, err = OpenHWMon(dir)
		}
		if !errors.Is(err, c.want) || errors.Is(err, ErrAbsent) || !strings.Contains(err.Error(), c.saying) {
			t.Errorf("%s: %v; want %v, saying %q", name, err, c.want, c.saying)
		}
	}
	if _, err := OpenIIO(filepath.Join(t.TempDir(), "iio:device*")); !errors.Is(err, ErrAbsent) {
		t.Errorf("no folder: %v", err)
	}
	if _, err := OpenIIO(filepath.Join(tree(t, "d", iio), "name")); !errors.Is(err, ErrOtherKind) {
		t.Errorf("a file: %v", err)
	}
}

// A device that comes back under another number is found by its stable name.
func TestIIOByAStableName(t *testing.T) {
	dir := tree(t, "iio:device0", map[string]string{"in_temp_input": "21700\n", "in_humidityrelative_input": "48300\n"})
	s, err := OpenIIO(filepath.Join(filepath.Dir(dir), "iio:device*"))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(dir, filepath.Join(filepath.Dir(dir), "iio:device3")); err != nil {
		t.Fatal(err)
	}
	if got, err := s.Read(t.Context()); err != nil || got.TemperatureC != 21.7 {
		t.Errorf("under another number: %+v, %v", got, err)
	}
	if err := os.RemoveAll(filepath.Dir(dir)); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Read(t.Context()); !errors.Is(err, ErrAbsent) {
		t.Errorf("unplugged: %v", err)
	}
}

// A DHT22 fails now and then (raspberrypi/linux#6220). With each fifth file failing, 1000 readings
// of three tries each: a reading fails with 0.36^3 = 4.7 %, so three in a row about once in 10,000.
func TestADHT22ThatFailsNowAndThen(t *testing.T) {
	dir := tree(t, "iio:device0", map[string]string{"in_temp_input": "21700\n", "in_humidityrelative_input": "48300\n"})
	synctest.Test(t, func(t *testing.T) {
		s, err := OpenIIO(dir)
		if err != nil {
			t.Fatal(err)
		}
		random := rand.New(rand.NewPCG(1, 2))
		next := s.file
		s.file = func(name string) ([]byte, error) {
			if random.Float64() < 0.2 {
				return nil, &os.PathError{Op: "read", Path: name, Err: []error{syscall.EIO, syscall.ETIMEDOUT}[random.IntN(2)]}
			}
			return next(name)
		}
		failed, row, longest := 0, 0, 0
		for range 1000 {
			got, err := s.Read(context.Background())
			if err == nil {
				row = 0
				if got != (air.State{TemperatureC: 21.7, HumidityPct: 48.3}) {
					t.Fatalf("read %+v", got)
				}
				continue
			}
			failed++
			row++
			longest = max(longest, row)
		}
		if failed < 20 || failed > 80 || longest > 2 {
			t.Errorf("%d of 1000 readings failed, %d in a row; want about 47, and never 3", failed, longest)
		}
	})
}

func FuzzParseNumber(f *testing.F) {
	for _, s := range []string{"31500\n", "-40000", "", "\n", "1e3", "-15887.515151\n", "0x10\n", "-0\n", ".5", "5.", "--1", "1.2.3", "NaN", "Inf"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, content []byte) {
		x, err := parseNumber(content)
		if err != nil && (x != 0 || !errors.Is(err, ErrGarbled)) || math.IsNaN(x) || math.IsInf(x, 0) {
			t.Errorf("%q: %v, %v", content, x, err)
		}
		if err == nil && strings.Trim(string(content), "0123456789-.\n") != "" {
			t.Errorf("%q was taken for %v", content, x)
		}
	})
}
