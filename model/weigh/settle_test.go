package weigh

import (
	"testing"
	"time"

	"pgregory.net/rapid"
)

func feed(s *settler, every time.Duration, readings ...Reading) {
	for i, r := range readings {
		r.At = start.Add(time.Duration(i) * every)
		r.HasWeight = true
		s.observe(r)
	}
}

func stable(g float64) Reading { return Reading{Grams: g, Stability: Stable} }
func moving(g float64) Reading { return Reading{Grams: g, Stability: Moving} }
func plain(g float64) Reading  { return Reading{Grams: g} }

func TestSettled(t *testing.T) {
	for _, c := range []struct {
		name     string
		every    time.Duration
		readings []Reading
		want     float64
		ok       bool
	}{
		{"two stable", 200 * time.Millisecond, []Reading{stable(12.5), stable(12.5)}, 12.5, true},
		{"one stable", 200 * time.Millisecond, []Reading{stable(12.5)}, 0, false},
		{"moving, then stable at the same", 200 * time.Millisecond, []Reading{moving(12), moving(12.5), stable(12.5)}, 12.5, true},
		{"a first byte lost", 200 * time.Millisecond, []Reading{stable(12.5), stable(12.5), stable(2.5)}, 0, false},
		{"and found again", 200 * time.Millisecond, []Reading{stable(12.5), stable(2.5), stable(12.5), stable(12.5)}, 12.5, true},
		{"moving", 200 * time.Millisecond, []Reading{stable(12.5), stable(12.5), moving(12.5)}, 0, false},
		{"without a mark, a second", 500 * time.Millisecond, []Reading{plain(12.5), plain(12.6), plain(12.5)}, 12.5, true},
		{"without a mark, not yet", 400 * time.Millisecond, []Reading{plain(12.5), plain(12.5), plain(12.5)}, 0, false},
		{"without a mark, drifting", 500 * time.Millisecond, []Reading{plain(12.5), plain(12.6), plain(12.7)}, 0, false},
		{"one a second", time.Second, []Reading{plain(12), plain(12.5), plain(12.5)}, 12.5, true},
		{"after a long silence", 4 * time.Second, []Reading{plain(12.5), plain(12.5)}, 0, false},
		{"none", time.Second, nil, 0, false},
	} {
		s := newSettler(0.1)
		feed(s, c.every, c.readings...)
		if got, ok := s.grams(); got != c.want || ok != c.ok {
			t.Errorf("%s: %v %v, want %v %v", c.name, got, ok, c.want, c.ok)
		}
	}
}

func TestUnsettledByABadReading(t *testing.T) {
	for name, bad := range map[string]Reading{
		"no weight": {}, "over": {HasWeight: true, Grams: 12.5, Over: true}, "under": {HasWeight: true, Grams: 12.5, Under: true},
	} {
		s := newSettler(0.1)
		feed(s, 100*time.Millisecond, stable(12.5), stable(12.5))
		bad.At = start.Add(time.Second)
		s.observe(bad)
		if _, ok := s.grams(); ok {
			t.Errorf("still settled after %s", name)
		}
	}
}

// Without marks, whatever comes: settled means that every reading of the last
// second lies within a division of every other, and memory stays bounded.
func TestSettledMeansASecondOfRest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := newSettler(1)
		var all []Reading
		now := start
		for range rapid.IntRange(1, 300).Draw(t, "n") {
			now = now.Add(time.Duration(rapid.IntRange(1, 400).Draw(t, "ms")) * time.Millisecond)
			r := Reading{At: now, HasWeight: true, Grams: float64(rapid.IntRange(70, 72).Draw(t, "g"))}
			all = append(all, r)
			s.observe(r)
			low, high, spans := r.Grams, r.Grams, false
			for i := len(all) - 1; i >= 0; i-- {
				low, high = min(low, all[i].Grams), max(high, all[i].Grams)
				if now.Sub(all[i].At) >= time.Second {
					spans = true
					break
				}
			}
			if _, ok := s.grams(); ok != (spans && high-low <= 1) {
				t.Fatalf("settled %v with a span of %v over a second: %v", ok, high-low, spans)
			}
		}
	})
	s := newSettler(1)
	for i := range 100_000 {
		s.observe(Reading{At: start.Add(time.Duration(i) * time.Microsecond), HasWeight: true, Grams: 72})
	}
	if len(s.run) > longestRun {
		t.Errorf("%d readings kept", len(s.run))
	}
}

func TestRiseIsItsFirstMoment(t *testing.T) {
	b := withInk(t, 0.1, true)
	from := b.now
	b.pour(15, 5*time.Second)
	at, ok := b.rise.Above(b.pan.BaseG)
	// 0.3 g come each 100 ms: the second reading is the first above half a gram.
	if want := from.Add(200 * time.Millisecond); !ok || !at.Equal(want) {
		t.Errorf("%v %v, want %v", at, ok, want)
	}
}

func TestRiseThroughATare(t *testing.T) {
	b := withInk(t, 0.1, true)
	b.key()
	from := b.now
	b.pour(15, 5*time.Second)
	at, ok := b.rise.Above(b.pan.BaseG)
	if want := from.Add(200 * time.Millisecond); !ok || !at.Equal(want) {
		t.Errorf("%v %v, want %v although the tare was recognised later", at, ok, want)
	}
}

func TestNoRise(t *testing.T) {
	b := withInk(t, 0.1, true)
	for name, play := range map[string]func(){
		"at rest":       func() { b.hold(72, 2*time.Second) },
		"half a gram":   func() { b.hold(72.5, 2*time.Second) },
		"a short touch": func() { b.read(90); b.read(95); b.read(90); b.hold(72, time.Second) },
		"a spike now":   func() { b.hold(72, time.Second); b.read(90) },
	} {
		play()
		if at, ok := b.rise.Above(72); ok {
			t.Errorf("%s: rose at %v", name, at)
		}
	}
	r := NewRise(1)
	for i := range 30 {
		r.Observe(Reading{At: start.Add(time.Duration(i) * 100 * time.Millisecond), Grams: 50, HasWeight: true})
	}
	if _, ok := r.Above(0); ok {
		t.Error("already up when first seen is no rise")
	}
}

// Against the definition, reading by reading.
func TestRiseIsTheDefinition(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := NewRise(1)
		var all []Reading
		now := start
		for range rapid.IntRange(1, 120).Draw(t, "n") {
			now = now.Add(time.Duration(rapid.IntRange(50, 300).Draw(t, "ms")) * time.Millisecond)
			x := Reading{At: now, HasWeight: true, Grams: float64(rapid.IntRange(0, 12).Draw(t, "g"))}
			all = append(all, x)
			r.Observe(x)
		}
		for base := -2.0; base < 12; base++ {
			first := len(all)
			for first > 0 && all[first-1].Grams > base+1 {
				first--
			}
			at, ok := r.Above(base)
			want := first > 0 && first < len(all) && now.Sub(all[first].At) >= time.Second
			if ok != want || ok && !at.Equal(all[first].At) {
				t.Fatalf("base %v: %v %v, want %v", base, at, ok, want)
			}
		}
	})
}

func TestRiseMemoryIsBounded(t *testing.T) {
	r := NewRise(0.01)
	for i := range 20_000 {
		r.Observe(Reading{At: start.Add(time.Duration(i) * time.Millisecond), HasWeight: true, Grams: float64(i) / 10})
	}
	if len(r.levels) > mostLevels {
		t.Errorf("%d levels kept", len(r.levels))
	}
	at, ok := r.Above(100)
	exact := start.Add(1006 * time.Millisecond)
	if early := exact.Sub(at); !ok || early < 0 || early > 50*time.Millisecond {
		t.Errorf("%v %v, want %v or somewhat before", at, ok, exact)
	}
}
