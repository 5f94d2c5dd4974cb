package simulate

import (
	"bufio"
	"context"
	"errors"
	"math"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"

	"potlifed/model/air"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func newScale(t *testing.T, o ScaleOptions) *Scale {
	t.Helper()
	o.Dir = t.TempDir()
	if o.Every == 0 {
		o.Every = 5 * time.Millisecond
	}
	s, err := NewScale(o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

func TestLinesOfEachShape(t *testing.T) {
	for _, c := range []struct {
		options ScaleOptions
		want    [5]string // moving, then at rest, net, over, under
	}{
		{ScaleOptions{Shape: "status-first"}, [5]string{"US,GS,+00060.0  g", "ST,GS,+00060.0  g", "ST,NT,+00000.0  g", "OL,NT,+04940.0  g", "UL,NT,-00090.0  g"}},
		{ScaleOptions{Shape: "letters-first"}, [5]string{"S D       60.0 g", "S S       60.0 g", "S S        0.0 g", "S +", "S -"}},
		{ScaleOptions{Shape: "tare-first"}, [5]string{"G     +     60.0    ", "G     +     60.0 g  ", "N     +      0.0 g  ", "N     +       OL g  ", "N     -       UL g  "}},
		{ScaleOptions{Shape: "stability-last"}, [5]string{"      60.0 g D G", "      60.0 g S G", "       0.0 g S N", "        OL g S N", "        UL g S N"}},
		{ScaleOptions{Shape: "tare-last", Kilograms: true}, [5]string{"    0.0600 kg G", "    0.0600 kg G", "    0.0000 kg N", "        OL kg N", "        UL kg N"}},
		{ScaleOptions{Shape: "weight-unit", DecimalComma: true}, [5]string{"      60,0   ", "      60,0 g ", "       0,0 g ", "        OL g ", "        UL g "}},
		{ScaleOptions{Shape: "sign-digits", DivisionG: 1}, [5]string{"+0000060", "+0000060", "+0000000", "+     OL", "-     UL"}},
	} {
		s := newScale(t, c.options)
		s.Set(60.04)
		lines := []string{string(s.line(s.changed))}
		rest := func() { lines = append(lines, string(s.line(s.changed.Add(time.Second)))) }
		rest()
		s.Tare()
		rest()
		s.Set(5000)
		rest()
		s.Set(-30)
		rest()
		for i, want := range c.want {
			if lines[i] != want+"\r\n" {
				t.Errorf("%s: line %d is %q, want %q", c.options.Shape, i, lines[i], want)
			}
		}
	}
}

func TestNoiseHasItsSpreadAndTheDivisionIsKept(t *testing.T) {
	s := newScale(t, ScaleOptions{NoiseG: 0.5, DivisionG: 0.2, Shape: "sign-digits", Seed: 1})
	s.Set(100)
	sum, squares := 0.0, 0.0
	const n = 2000
	for range n {
		line := strings.TrimSpace(string(s.line(time.Now())))
		var tenths float64
		for _, c := range line[1:] {
			if c != '.' {
				tenths = 10*tenths + float64(c-'0')
			}
		}
		if math.Mod(tenths, 2) != 0 {
			t.Fatalf("%q is no multiple of 0.2 g", line)
		}
		sum += tenths / 10
		squares += tenths * tenths / 100
	}
	mean := sum / n
	spread := math.Sqrt(squares/n - mean*mean)
	// Rounding adds 0.2/sqrt(12); four standard errors either side.
	want := math.Hypot(0.5, 0.2/math.Sqrt(12))
	if math.Abs(mean-100) > 4*want/math.Sqrt(n) || math.Abs(spread-want) > 4*want/math.Sqrt(2*n) {
		t.Errorf("mean %.3f g, spread %.3f g; want 100 and %.3f", mean, spread, want)
	}
}

func TestPour(t *testing.T) {
	s := newScale(t, ScaleOptions{})
	s.Put(12)
	began := time.Now()
	if err := s.Pour(t.Context(), 10, 100); err != nil {
		t.Fatal(err)
	}
	if took := time.Since(began); took < 90*time.Millisecond {
		t.Errorf("10 g at 100 g/s took %v", took)
	}
	if math.Abs(s.Grams()-22) > 1e-9 {
		t.Errorf("%g g on the pan, want 22", s.Grams())
	}
	ctx, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
	defer cancel()
	if err := s.Pour(ctx, 1000, 10); !errors.Is(err, context.DeadlineExceeded) || s.Grams() > 30 {
		t.Errorf("broken off: %v with %g g", err, s.Grams())
	}
	for _, bad := range [][2]float64{{-1, 1}, {1, 0}, {math.NaN(), 1}, {1, math.NaN()}, {math.Inf(1), 1}} {
		if err := s.Pour(t.Context(), bad[0], bad[1]); err == nil {
			t.Errorf("poured %g g at %g g/s", bad[0], bad[1])
		}
	}
}

// Without a reader nothing stops, and a late reader gets no old weights.
func TestNobodyReads(t *testing.T) {
	s := newScale(t, ScaleOptions{})
	if s.OnNetwork() {
		t.Skip("needs a pseudo-terminal")
	}
	for i := range 20_000 { // many times what any buffer holds
		s.Set(float64(i))
		if err := s.speak(time.Now()); err != nil {
			t.Fatalf("line %d: %v", i, err)
		}
	}
	// At a pace that leaves the kernel time, so little is left over that all of
	// it can be thrown away when the port is opened.
	for range 500 {
		if err := s.speak(time.Now()); err != nil {
			t.Fatal(err)
		}
		time.Sleep(100 * time.Microsecond)
	}
	if n := waiting(t, s); n > 2048+100 {
		t.Errorf("%d old bytes wait for a late reader", n)
	}
}

func TestPlugs(t *testing.T) {
	for _, tcp := range []bool{false, true} {
		s := newScale(t, ScaleOptions{TCP: tcp})
		port := s.Port()
		for range 2 {
			if err := errors.Join(s.Unplug(), s.Unplug(), s.Noise([]byte("x")), s.speak(time.Now())); err != nil {
				t.Fatal(err)
			}
			if present(port) {
				t.Errorf("%s is there after it was unplugged", port)
			}
			if err := errors.Join(s.Replug(), s.Replug()); err != nil {
				t.Fatal(err)
			}
			if !present(port) || s.Port() != port {
				t.Errorf("%s is not back; the port is %s", port, s.Port())
			}
		}
	}
}

func present(port string) bool {
	if address, ok := strings.CutPrefix(port, "tcp://"); ok {
		conn, err := net.Dial("tcp", address)
		if err == nil {
			conn.Close()
		}
		return err == nil
	}
	f, err := os.Open(port)
	if err == nil {
		f.Close()
	}
	return err == nil
}

func TestRunSpeaksAndTakesItsNameAway(t *testing.T) {
	dir := t.TempDir()
	s, err := NewScale(ScaleOptions{Dir: dir, Every: 5 * time.Millisecond, TCP: true})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- s.Run(ctx) }()
	conn, err := net.Dial("tcp", strings.TrimPrefix(s.Port(), "tcp://"))
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	lines := bufio.NewScanner(conn)
	for i := range 3 {
		if !lines.Scan() || len(lines.Text()) != 17 {
			t.Fatalf("line %d: %q, %v", i, lines.Text(), lines.Err())
		}
	}
	cancel()
	if err := <-done; err != nil {
		t.Error(err)
	}
	if present(s.Port()) {
		t.Error("the port is still there")
	}
	left, err := os.ReadDir(dir)
	if err != nil || len(left) != 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}

func TestNewScaleRefuses(t *testing.T) {
	for _, o := range []ScaleOptions{
		{Shape: "fancy", TCP: true},
		{NoiseG: -1, TCP: true},
		{Shape: "sign-digits", Kilograms: true, TCP: true},
		{Dir: filepath.Join(t.TempDir(), "absent")},
	} {
		if s, err := NewScale(o); err == nil {
			if s.OnNetwork() && !o.TCP {
				s.Close() // no folder needed on this system
				continue
			}
			t.Errorf("made %+v", o)
		}
	}
}

func TestRoomWritesKernelUnits(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "hwmon0")
	r, err := NewRoom(dir, air.State{TemperatureC: 20.5, HumidityPct: 55.1254})
	if err != nil {
		t.Fatal(err)
	}
	check := func(want map[string]string) {
		t.Helper()
		entries, err := os.ReadDir(dir)
		if err != nil || len(entries) != len(want) {
			t.Errorf("files %v, %v; want %d", entries, err, len(want))
		}
		for name, content := range want {
			if got, err := os.ReadFile(filepath.Join(dir, name)); string(got) != content {
				t.Errorf("%s holds %q, %v; want %q", name, got, err, content)
			}
		}
	}
	check(map[string]string{"name": "simulated\n", "temp1_input": "20500\n", "humidity1_input": "55125\n"})
	if err := r.Set(air.State{TemperatureC: -0.0004, HumidityPct: 120}); err != nil {
		t.Fatal(err)
	}
	check(map[string]string{"name": "simulated\n", "temp1_input": "0\n", "humidity1_input": "120000\n"})
	if err := r.Fail(); err != nil {
		t.Fatal(err)
	}
	check(map[string]string{"name": "simulated\n"})
	if _, err := NewRoom(filepath.Join(dir, "a", "b"), air.State{}); err == nil {
		t.Error("made a room in a folder that is not there")
	}
}
