package rehearsal

import (
	"context"
	"encoding/json"
	"io"
	"math"
	"net"
	"runtime"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// In the time lapse the ninety seconds that a lamp may show something for pass in a
// moment; it gives up only when it is really quiet as well, and at natural speed by the
// bench's time alone once it is.
func TestLampIsNotExpiredBecauseTimeIsFast(t *testing.T) {
	wall, real := time.Date(2026, 6, 12, 7, 0, 0, 0, time.UTC), time.Duration(0)
	p := newPaced(240, wall, func() time.Duration { return real })
	l := &lamp{clock: p, shown: told{Meaning: "in-order", ValidUntil: wall.Add(90 * time.Second)}, at: time.Now()}
	p.SetSpeed(240)
	for range 60 {
		real += 20 * time.Millisecond
		p.Now()
	}
	if gone := p.Now().Wall.Sub(wall); gone <= 90*time.Second {
		t.Fatalf("only %v have gone by", gone)
	}
	if l.expired() {
		t.Error("expired although it was told a moment ago")
	}
	l.at = l.at.Add(-silentFor - time.Second)
	if !l.expired() {
		t.Error("not expired although long past its time and quiet")
	}
	l.shown.ValidUntil = p.Now().Wall.Add(time.Second)
	if l.expired() {
		t.Error("expired before its time")
	}
}

// Each meaning has a shape of its own, and what no lamp knows has that of unknown.
func TestShapesDiffer(t *testing.T) {
	had := map[string]string{}
	for _, meaning := range []string{"do-not-print", "unknown", "act", "soon", "in-order", "empty"} {
		s := shape(meaning)
		if other, taken := had[s]; taken {
			t.Errorf("%s and %s are both %s", meaning, other, s)
		}
		had[s] = meaning
	}
	if shape("something new") != shape("unknown") {
		t.Error("a meaning that is not known has another shape than unknown")
	}
}

// The weather never leaps between two looks, and stays between dry and humid.
func TestWeatherIsGradual(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		at := time.Duration(rapid.Int64Range(0, int64(10*comesRound)).Draw(t, "at"))
		for room, c := range climates {
			a, b := airIn(room, at), airIn(room, at+weatherEvery)
			if math.Abs(a.HumidityPct-b.HumidityPct) > 1 || math.Abs(a.TemperatureC-b.TemperatureC) > 0.2 {
				t.Fatalf("%s leaps from %v to %v", room, a, b)
			}
			if a.HumidityPct < c.dry.HumidityPct-1e-9 || a.HumidityPct > c.humid.HumidityPct+1e-9 {
				t.Fatalf("%s is at %v", room, a)
			}
		}
	})
}

func TestEachTurnOfTheWeatherIsToldOnce(t *testing.T) {
	var out strings.Builder
	p := NewPaced(1)
	w := &weather{clock: p, story: newStory(p, &out)}
	for at := time.Duration(0); at < comesRound; at += weatherEvery {
		w.tell(at, at+weatherEvery)
	}
	if got := strings.Count(out.String(), "\n"); got != 4 {
		t.Errorf("told %d times:\n%s", got, out.String())
	}
}

func TestNextPour(t *testing.T) {
	for _, c := range []struct {
		row, part string
		grams     float64
	}{
		{`{"step":"ink","targets_g":{"ink":60,"hardener":15},"components":[]}`, "ink", 60},
		{`{"step":"hardener","targets_g":{"ink":60,"hardener":15},"components":[{"part":"ink","g":60},{"part":"hardener","g":4}]}`, "hardener", 11},
		{`{"step":"hardener","targets_g":{"ink":60,"hardener":15},"components":[{"part":"hardener","g":18}],"corrections":[{"add":{"ink_g":9}},{"add":{"ink_g":12}}]}`, "ink", 9},
		{`{"step":"hardener","corrections":[{"add":{"hardener_g":2}}]}`, "hardener", 2},
		{`{"step":"thinner","corrections":[{"add":{"thinner_g":1.5}}]}`, "thinner", 1.5},
	} {
		var b batch
		if err := json.Unmarshal([]byte(c.row), &b); err != nil {
			t.Fatal(err)
		}
		if part, grams := b.nextPour(); part != c.part || grams != c.grams {
			t.Errorf("%s: %v g of %s, want %v g of %s", c.row, grams, part, c.grams, c.part)
		}
	}
}

func TestScaleSpeaksOftenEnough(t *testing.T) {
	for _, speed := range []float64{1, 10, 60, 240} {
		every := lineEvery(speed)
		if every < 5*time.Millisecond || every > 100*time.Millisecond || time.Duration(float64(every)*speed) > 1500*time.Millisecond {
			t.Errorf("at %v times the speed a line each %v", speed, every)
		}
	}
}

func TestInWords(t *testing.T) {
	for d, want := range map[time.Duration]string{
		90 * time.Second: "2 min", time.Hour: "1 h", 3*time.Hour + 20*time.Minute: "3 h 20 min", 59*time.Minute + 40*time.Second: "1 h",
	} {
		if got := inWords(d); got != want {
			t.Errorf("%v is %q, want %q", d, got, want)
		}
	}
}

// The shop's configuration reads its scale, however it sends.
func TestEachShapeOfTheDemosScaleIsConfigured(t *testing.T) {
	for _, shape := range ScaleShapes() {
		s, err := openShop(60, 1, shape)
		if err != nil {
			t.Errorf("%s: %v", shape, err)
			continue
		}
		configured, err := s.configure("127.0.0.1:0")
		if err != nil {
			t.Errorf("%s: %v", shape, err)
		} else if c := configured.Scales[0]; (c.Request != "") != strings.HasPrefix(shape, asking) || c.Port != s.scale.Port() {
			t.Errorf("%s: %+v", shape, c)
		}
		if err := s.close(); err != nil {
			t.Errorf("%s: %v", shape, err)
		}
	}
}

// A lamp that ends while it connects leaves no subscription behind: the library's Disconnect does not
// wait for one that a handler has begun, and that one stays for as long as a write may take.
func TestALampEndsWhileItConnects(t *testing.T) {
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	accepted := make(chan struct{}, 1)
	served := make(chan struct{})
	go func() {
		defer close(served)
		for {
			c, err := listener.Accept()
			if err != nil {
				return
			}
			c.Write([]byte{0x20, 2, 0, 0}) // CONNACK, accepted
			accepted <- struct{}{}
			io.Copy(io.Discard, c)
			c.Close()
		}
	}()
	clock := newPaced(1, time.Date(2026, 6, 12, 7, 0, 0, 0, time.UTC), func() time.Duration { return 0 })
	for range 2000 { // about two of them leave a goroutine for ten seconds when the handler subscribes
		ctx, stop := context.WithCancel(t.Context())
		ended := make(chan error, 1)
		l := &lamp{id: "light-1", broker: "mqtt://" + listener.Addr().String(), clock: clock, story: newStory(clock, io.Discard)}
		go func() { ended <- l.run(ctx) }()
		<-accepted
		stop()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	}
	listener.Close()
	<-served
	stacks := make([]byte, 1<<22)
	stacks = stacks[:runtime.Stack(stacks, true)]
	for stack := range strings.SplitSeq(string(stacks), "\n\n") {
		if strings.Contains(stack, ".Subscribe(") && strings.Contains(stack, "(*lamp)") {
			t.Errorf("left behind: %s", stack)
		}
	}
}
