//go:build unix

package scale_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"potlifed/devices/link"
	"potlifed/devices/scale"
	"potlifed/devices/simulate"
	"potlifed/model/weigh"
)

// Every shape that the simulator has is read with the settings that go with it, in every unit, when
// it sends by itself and when it is asked, over a port and over the network.
func TestEveryShapeUnitAndWayToSpeak(t *testing.T) {
	for shape, settings := range simulate.Shapes() {
		for _, c := range []simulate.ScaleOptions{
			{}, {Unit: "oz"}, {Unit: "lb"}, {Unit: "kg"}, {Request: "P\r\n"}, {Request: "\x05", TCP: true}, {TCP: true},
		} {
			c.Shape = shape
			line := settings.Line
			switch {
			case shape == "hid" && (c.Request != "" || c.TCP || runtime.GOOS != "linux"):
				continue
			case strings.HasPrefix(settings.Line, "{") && shape != "digits" && shape != "checksum" && (c.TCP || c.Unit == "kg" || c.Unit == "lb"):
				continue // the way to speak and the unit do not depend on the pattern
			case shape == "digits" || shape == "sign-digits": // the number alone
				if c.Unit != "" {
					line = strings.Replace("{sign}{weight}{unit=g}", "=g", "="+c.Unit, 1)
				}
			}
			t.Run(fmt.Sprintf("%s/%s%v%q", shape, c.Unit, c.TCP, c.Request), func(t *testing.T) {
				t.Parallel()
				s := newScale(t, c)
				r := readWith(t, link.Settings{Port: s.Port(), Request: c.Request, Every: 50 * time.Millisecond}, line)
				r.until("zero", about(0))
				s.Put(12.3)
				r.until("the cup", about(12.3))
				s.Tare()
				r.until("tared", about(0))
				s.Lift()
				r.until("lifted", about(-12.3))
				s.Set(5000)
				r.until("over", func(r weigh.Reading) bool { return r.Over && !r.HasWeight })
				s.Set(0)
				if counts := r.scale.Counts(); counts.Unknown+counts.Overlong != 0 || counts.Torn > 1 {
					t.Errorf("counts %+v", counts)
				}
			})
		}
	}
}

// A scale that speaks only when it is asked says nothing to a reader that does not ask, and an
// answer that does not come is asked for again.
func TestAskedScale(t *testing.T) {
	t.Parallel()
	s := newScale(t, simulate.ScaleOptions{Request: "P\r\n"})
	settings := link.Settings{Port: s.Port()}
	mute := readWith(t, settings, "status-first")
	mute.untilChange(link.Silent)
	if c := mute.scale.Counts(); c != (scale.Counts{}) {
		t.Errorf("without a request: %+v", c)
	}
	mute.stop()
	settings.Request, settings.Every = "P\r\n", 50*time.Millisecond
	r := readWith(t, settings, "status-first")
	r.until("zero", about(0))
	s.Silence(true)
	r.untilChange(link.Silent)
	s.Set(30)
	s.Silence(false)
	r.until("asked again", about(30))
}

// The peer of a request that takes nothing holds up neither the reading nor the stop.
func TestARequestThatIsNotTaken(t *testing.T) {
	t.Parallel()
	s := newScale(t, simulate.ScaleOptions{}) // it sends, and reads nothing
	r := readWith(t, link.Settings{Port: s.Port(), Request: strings.Repeat("P", 64), Every: 50 * time.Millisecond}, "status-first")
	for i := range 150 {
		s.Set(float64(i))
		r.until("a weight", about(float64(i)))
	}
}

// hidRoot is a folder with the files of a simulated device.
func hidScale(t *testing.T) (*simulate.Scale, string) {
	t.Helper()
	root := t.TempDir()
	s, err := simulate.NewScale(simulate.ScaleOptions{Dir: root, Shape: "hid", Every: 5 * time.Millisecond, Settle: 20 * time.Millisecond})
	if err != nil {
		t.Fatal(err)
	}
	background(t, s.Run)
	return s, root
}

// A scale on hidraw is found by its ids, whatever number the kernel gave it, and found again after it
// was plugged in again.
func TestHIDByItsIds(t *testing.T) {
	t.Parallel()
	s, root := hidScale(t)
	devices, err := link.HIDDevices(root)
	if err != nil || len(devices) != 1 || devices[0].StableName() != "hid:f055:008d:simulated" || devices[0].Name != "Simulated scale" {
		t.Fatalf("%+v, %v", devices, err)
	}
	if _, err := scale.ParseHIDDescriptor(devices[0].Descriptor); err != nil {
		t.Error(err)
	}
	r := readWith(t, link.Settings{Port: devices[0].StableName(), Root: root}, "")
	r.until("zero", about(0))
	for i := range 5 {
		if err := s.Unplug(); err != nil {
			t.Fatal(err)
		}
		r.untilChange(link.Lost)
		s.Set(float64(10 + i))
		if err := s.Replug(); err != nil {
			t.Fatal(err)
		}
		r.until("the new load", about(float64(10+i)))
	}
	if r.scale.ShapeName() != "hid" {
		t.Errorf("shape %s", r.scale.ShapeName())
	}
	if _, err := link.Open(t.Context(), link.Settings{Port: "hid:f055:0001", Root: root}); !errors.Is(err, link.ErrAbsent) {
		t.Errorf("another id: %v", err)
	}
}

// A device that reports only changes is read as long as it is there, and its silence is no fault.
func TestHIDThatReportsOnlyChanges(t *testing.T) {
	t.Parallel()
	s, _ := hidScale(t)
	s.Set(25)
	r := readWith(t, link.Settings{Port: s.Port()}, "")
	r.until("the load", about(25))
	s.Silence(true)
	<-r.readings
	for range 3 {
		r.until("still the load", about(25))
	}
	for len(r.changes) > 0 {
		if c := <-r.changes; c.Kind == link.Silent {
			t.Error("the silence was reported")
		}
	}
}

// A reader of a pipe that hangs ends at once, and reads when something comes.
func TestHIDThatHangs(t *testing.T) {
	node := filepath.Join(t.TempDir(), "hidraw9")
	if err := unix.Mkfifo(node, 0o600); err != nil {
		t.Fatal(err)
	}
	w, err := os.OpenFile(node, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer w.Close()
	r := readWith(t, link.Settings{Port: "hid:" + node}, "")
	r.untilChange(link.Silent)
	if _, err := w.Write([]byte{3, 4, 2, 0xff, 0x7b, 0}); err != nil {
		t.Fatal(err)
	}
	r.until("12.3 g", about(12.3))
	began := time.Now()
	r.stop()
	if took := time.Since(began); took > 5*time.Second {
		t.Errorf("the stop took %v", took)
	}
}

// A scale that is unplugged again and again with data in flight leaves nothing behind, speaks soon
// after it is back, and no weight of before is taken for one of after. With POTLIFED_FAULTS=1 it is unplugged 1,000 times in each
// shape of the simulator.
func TestUnpluggedAgainAndAgain(t *testing.T) {
	times := 25
	if os.Getenv("POTLIFED_FAULTS") != "" {
		times = 1000
	}
	type form struct {
		options simulate.ScaleOptions
		line    string
	}
	forms := []form{
		{simulate.ScaleOptions{}, "status-first"},
		{simulate.ScaleOptions{Shape: "weight-unit"}, "weight-unit"},
		{simulate.ScaleOptions{Shape: "checksum", Request: "P\r\n"}, simulate.Shapes()["checksum"].Line},
		{simulate.ScaleOptions{TCP: true}, "status-first"},
		{simulate.ScaleOptions{Shape: "hid"}, ""},
	}
	if os.Getenv("POTLIFED_FAULTS") != "" {
		for name, shape := range simulate.Shapes() {
			if name != "hid" && name != "weight-unit" && name != "checksum" && name != "status-first" {
				forms = append(forms, form{simulate.ScaleOptions{Shape: name}, shape.Line})
			}
		}
	}
	for _, c := range forms {
		c.options.Every = 2 * time.Millisecond
		s := newScale(t, c.options)
		var load, wrong atomic.Int64
		got := make(chan struct{}, 1)
		config := scale.Config{Line: c.line, Link: link.Settings{
			Port: s.Port(), Request: c.options.Request, Every: 50 * time.Millisecond,
			RetryMin: time.Millisecond, RetryMax: 5 * time.Millisecond, Silence: time.Second,
		}}
		reader, err := scale.New(config)
		if err != nil {
			t.Fatal(err)
		}
		var connected atomic.Bool
		ctx, stop := context.WithCancel(t.Context())
		done := make(chan error, 1)
		lost := make(chan struct{}, 1)
		go func() {
			done <- reader.Run(ctx, scale.Sink{
				Reading: func(r weigh.Reading) {
					if !r.HasWeight || !connected.Load() {
						return
					}
					if r.Grams != float64(load.Load()) {
						wrong.Add(1)
						return
					}
					select {
					case got <- struct{}{}:
					default:
					}
				},
				Link: func(c link.Change) {
					switch c.Kind {
					case link.Connected:
						connected.Store(true)
					case link.Lost:
						connected.Store(false)
						select {
						case lost <- struct{}{}:
						default:
						}
					}
				},
			})
		}()
		await := func(what string, from <-chan struct{}) {
			t.Helper()
			select {
			case <-from:
			case <-time.After(20 * time.Second):
				t.Fatalf("%+v: %s did not come; %+v", c.options, what, reader.Counts())
			}
		}
		await("the first weight", got)
		descriptors, goroutines := 0, 0
		var slowest time.Duration
		for i := range times {
			if i == 3 {
				descriptors, goroutines = count(t, "/proc/self/fd"), runtime.NumGoroutine()
			}
			if c.options.Shape != "hid" {
				if err := s.Noise([]byte("ST,GS,+000")); err != nil { // a line is under way
					t.Fatal(err)
				}
			}
			if err := s.Unplug(); err != nil {
				t.Fatal(err)
			}
			await("the loss", lost)
			load.Store(int64(1 + i%1900))
			s.Set(float64(load.Load()))
			if len(got) > 0 {
				<-got
			}
			began := time.Now()
			if err := s.Replug(); err != nil {
				t.Fatal(err)
			}
			await("the weight", got)
			slowest = max(slowest, time.Since(began))
		}
		if n := wrong.Load(); n > 0 {
			t.Errorf("%+v: %d weights of before after it was back", c.options, n)
		}
		if d, g := count(t, "/proc/self/fd"), runtime.NumGoroutine(); d > descriptors || g > goroutines {
			t.Errorf("%+v: %d descriptors and %d goroutines, then %d and %d", c.options, descriptors, goroutines, d, g)
		}
		t.Logf("%s, network %v: %d times, slowest return %v", c.options.Shape, c.options.TCP, times, slowest)
		stop()
		if err := <-done; err != nil {
			t.Error(err)
		}
	}
}

func count(t *testing.T, folder string) int {
	entries, err := os.ReadDir(folder)
	if err != nil {
		t.Skip("no /proc here")
	}
	return len(entries)
}
