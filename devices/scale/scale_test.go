package scale_test

import (
	"context"
	"errors"
	"math"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"

	"potlifed/devices/link"
	"potlifed/devices/scale"
	"potlifed/devices/simulate"
	"potlifed/model/weigh"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// newScale runs a simulated scale until the test ends.
func newScale(t *testing.T, o simulate.ScaleOptions) *simulate.Scale {
	t.Helper()
	o.Dir = t.TempDir()
	if o.Every == 0 {
		o.Every = 5 * time.Millisecond
	}
	if o.Settle == 0 {
		o.Settle = 20 * time.Millisecond
	}
	s, err := simulate.NewScale(o)
	if err != nil {
		t.Fatal(err)
	}
	background(t, s.Run)
	return s
}

// background runs until the test ends and waits for the end.
func background(t *testing.T, run func(context.Context) error) {
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- run(ctx) }()
	t.Cleanup(func() {
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
}

// reader reads a scale in the background.
type reader struct {
	t        *testing.T
	scale    *scale.Scale
	readings chan weigh.Reading
	changes  chan link.Change
	cancel   context.CancelFunc
	ended    chan struct{}
}

// stop ends the reading and waits for the end.
func (r *reader) stop() {
	r.cancel()
	<-r.ended
}

func read(t *testing.T, port, line string) *reader {
	t.Helper()
	return readWith(t, link.Settings{Port: port}, line)
}

func readWith(t *testing.T, s link.Settings, line string) *reader {
	t.Helper()
	s.RetryMin, s.RetryMax, s.Silence = 2*time.Millisecond, 10*time.Millisecond, 200*time.Millisecond
	return readScale(t, scale.Config{Link: s, Line: line})
}

func readScale(t *testing.T, c scale.Config) *reader {
	t.Helper()
	s, err := scale.New(c)
	if err != nil {
		t.Fatal(err)
	}
	r := &reader{t: t, scale: s, readings: make(chan weigh.Reading, 1), changes: make(chan link.Change, 100), ended: make(chan struct{})}
	ready := make(chan struct{})
	background(t, func(ctx context.Context) error {
		defer close(r.ended)
		ctx, r.cancel = context.WithCancel(ctx)
		defer r.cancel()
		close(ready)
		return s.Run(ctx, scale.Sink{
			Reading: func(g weigh.Reading) {
				select { // the newest one
				case <-r.readings:
				default:
				}
				r.readings <- g
			},
			Link: func(c link.Change) { r.changes <- c },
		})
	})
	<-ready
	return r
}

// until waits for a reading that fits.
func (r *reader) until(what string, fits func(weigh.Reading) bool) weigh.Reading {
	r.t.Helper()
	deadline := time.After(10 * time.Second)
	var last weigh.Reading
	for {
		select {
		case last = <-r.readings:
			if fits(last) {
				return last
			}
		case <-deadline:
			r.t.Fatalf("no reading that is %s; the last was %+v, counts %+v, shape %s", what, last, r.scale.Counts(), r.scale.ShapeName())
		}
	}
}

func (r *reader) untilChange(kind link.Kind) {
	r.t.Helper()
	deadline := time.After(10 * time.Second)
	for {
		select {
		case c := <-r.changes:
			if c.Kind == kind {
				return
			}
		case <-deadline:
			r.t.Fatalf("the link was never %q", kind)
		}
	}
}

func about(grams float64) func(weigh.Reading) bool {
	return func(r weigh.Reading) bool {
		return r.HasWeight && math.Abs(r.Grams-grams) < 0.06 && r.Stability != weigh.Moving
	}
}

// A mix as it comes through a real port, in each shape.
func TestEachShapeThroughAPort(t *testing.T) {
	for _, c := range []simulate.ScaleOptions{
		{Shape: "status-first"},
		{Shape: "status-first", Kilograms: true, DecimalComma: true},
		{Shape: "letters-first"},
		{Shape: "tare-first", DecimalComma: true},
		{Shape: "tare-first", Kilograms: true},
		{Shape: "stability-last"},
		{Shape: "tare-last", Kilograms: true},
		{Shape: "weight-unit"},
		{Shape: "weight-unit", Kilograms: true},
		{Shape: "sign-digits"},
		{Shape: "status-first", TCP: true},
	} {
		for _, line := range []string{c.Shape, scale.Auto} {
			if c.Shape == "sign-digits" && line == scale.Auto {
				continue
			}
			t.Run(c.Shape+"/"+line, func(t *testing.T) {
				t.Parallel()
				s := newScale(t, c)
				r := read(t, s.Port(), line)
				r.until("zero", about(0))
				s.Put(12.3)
				r.until("the cup", about(12.3))
				s.Tare()
				zero := r.until("tared", about(0))
				marked := strings.HasPrefix(c.Shape, "status") || strings.HasPrefix(c.Shape, "tare")
				if marked && zero.Tare != weigh.Net {
					r.until("net", func(r weigh.Reading) bool { return r.Tare == weigh.Net })
				}
				if err := s.Pour(t.Context(), 20, 200); err != nil {
					t.Fatal(err)
				}
				r.until("poured", about(20))
				s.Lift()
				r.until("lifted", about(-12.3))
				s.Set(5000)
				r.until("over", func(r weigh.Reading) bool { return r.Over && !r.HasWeight })
				s.Set(-50)
				r.until("under", func(r weigh.Reading) bool { return r.Under && !r.HasWeight })
				if counts := r.scale.Counts(); counts.Unknown+counts.Overlong != 0 || counts.Torn > 1 || counts.Overload < 2 || r.scale.ShapeName() != c.Shape {
					t.Errorf("counts %+v, shape %s", counts, r.scale.ShapeName())
				}
			})
		}
	}
}

func TestMovingWhileBeingPoured(t *testing.T) {
	s := newScale(t, simulate.ScaleOptions{})
	r := read(t, s.Port(), "status-first")
	r.until("zero", about(0))
	done := make(chan error, 1)
	go func() { done <- s.Pour(t.Context(), 60, 120) }()
	r.until("in the middle of a pour", func(r weigh.Reading) bool {
		return r.Stability == weigh.Moving && r.Grams > 5 && r.Grams < 55
	})
	if err := <-done; err != nil {
		t.Fatal(err)
	}
	if got := r.until("at rest", about(60)); got.Stability != weigh.Stable {
		t.Errorf("at rest: %+v", got)
	}
}

func TestUnpluggedInALine(t *testing.T) {
	for _, tcp := range []bool{false, true} {
		s := newScale(t, simulate.ScaleOptions{TCP: tcp})
		r := read(t, s.Port(), "status-first")
		r.until("zero", about(0))
		for i := range 3 {
			// The line begun before the plug was pulled must not join what
			// comes after.
			s.Silence(true)
			if err := s.Noise([]byte("ST,GS,+0")); err != nil {
				t.Fatal(err)
			}
			if err := s.Unplug(); err != nil {
				t.Fatal(err)
			}
			r.untilChange(link.Lost)
			s.Set(float64(10 * (i + 1)))
			if err := s.Replug(); err != nil {
				t.Fatal(err)
			}
			s.Silence(false)
			r.until("the new load", about(float64(10*(i+1))))
		}
		if counts := r.scale.Counts(); counts.Torn > 4 || counts.Unknown != 0 {
			t.Errorf("counts %+v", counts)
		}
	}
}

func TestSilenceInALine(t *testing.T) {
	s := newScale(t, simulate.ScaleOptions{})
	r := read(t, s.Port(), "status-first")
	r.until("zero", about(0))
	s.Silence(true)
	before := r.scale.Counts()
	if err := s.Noise([]byte("ST,GS,+0")); err != nil {
		t.Fatal(err)
	}
	r.untilChange(link.Silent)
	// The rest of some other line: together they would be a good one.
	if err := s.Noise([]byte("0099.0  g\r\n")); err != nil {
		t.Fatal(err)
	}
	s.Set(50)
	s.Silence(false)
	r.until("the new load", about(50))
	if after := r.scale.Counts(); after.Torn != before.Torn+1 {
		t.Errorf("torn %d, then %d; want one more", before.Torn, after.Torn)
	}
}

func TestNoiseThroughAPort(t *testing.T) {
	s := newScale(t, simulate.ScaleOptions{})
	r := read(t, s.Port(), "status-first")
	r.until("zero", about(0))
	before := r.scale.Counts()
	for _, noise := range []string{
		"\x00\xff\x81\r\n",
		strings.Repeat("ST,GS,+00099.0  g", 20) + "\n",
		"ST,GS,+00099.0 tl\r\n",
		"T,GS,+00099.0  g\r\n",
	} {
		if err := s.Noise([]byte(noise)); err != nil {
			t.Fatal(err)
		}
	}
	s.Set(42)
	r.until("a good line", about(42))
	after := r.scale.Counts()
	if after.Unknown != before.Unknown+3 || after.Overlong != before.Overlong+1 || after.Torn != before.Torn {
		t.Errorf("counts %+v, then %+v", before, after)
	}
}

func TestWatch(t *testing.T) {
	s := newScale(t, simulate.ScaleOptions{})
	s.Set(60)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	counts, shape, err := scale.Watch(ctx, scale.Config{Link: link.Settings{Port: s.Port()}}, func(_ []byte, r weigh.Reading, err error) {
		if err == nil && about(60)(r) {
			cancel()
		}
	})
	if err != nil || shape != "status-first" || counts.OK == 0 || counts.Learning == 0 {
		t.Errorf("got %+v, %s, %v", counts, shape, err)
	}
	// Unplugged, a watch ends with the cause.
	var once sync.Once
	_, _, err = scale.Watch(t.Context(), scale.Config{Link: link.Settings{Port: s.Port()}}, func([]byte, weigh.Reading, error) {
		once.Do(func() {
			if err := s.Unplug(); err != nil {
				t.Error(err)
			}
		})
	})
	if !errors.Is(err, link.ErrLost) {
		t.Errorf("unplugged: %v", err)
	}
	if _, _, err = scale.Watch(t.Context(), scale.Config{Link: link.Settings{Port: s.Port()}}, nil); !errors.Is(err, link.ErrAbsent) {
		t.Errorf("absent: %v", err)
	}
}

func TestCheckReportsAllFaults(t *testing.T) {
	c := scale.Config{Link: link.Settings{Mode: "8X1"}, Line: "fancy"}
	_, err := scale.New(c)
	for _, want := range []string{"no port", "8X1", "fancy"} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v: want %q in it", err, want)
		}
	}
	if err := (scale.Config{Link: link.Settings{Port: filepath.Join(t.TempDir(), "absent")}}).Check(); err != nil {
		t.Errorf("a port that is not there now is no fault of the configuration: %v", err)
	}
}
