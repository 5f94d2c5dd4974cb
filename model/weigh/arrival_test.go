package weigh

import (
	"testing"
	"time"
)

// shown feeds an Arrival ten readings a second.
type shown struct {
	a  *Arrival
	at time.Time
}

func newShown() *shown {
	return &shown{NewArrival(0.1), time.Date(2026, 6, 12, 12, 0, 0, 0, time.UTC)}
}

func (s *shown) reads(g float64, t Tare) {
	s.at = s.at.Add(100 * time.Millisecond)
	s.a.Observe(Reading{At: s.at, Grams: g, HasWeight: true, Tare: t})
}

func (s *shown) rests(g float64) {
	for range 25 {
		s.reads(g, TareUnknown)
	}
}

func (s *shown) rises(from, to float64, d time.Duration) {
	n := int(d / (100 * time.Millisecond))
	for i := range n {
		s.reads(from+(to-from)*float64(i+1)/float64(n), TareUnknown)
	}
	s.rests(to)
}

func TestArrival(t *testing.T) {
	for name, c := range map[string]struct {
		does func(*shown)
		want float64 // 0 for nothing
	}{
		"a cup on an empty pan":    {func(s *shown) { s.rests(0); s.rises(0, 12, 300*time.Millisecond) }, 12},
		"crumbs on the pan":        {func(s *shown) { s.rests(0.6); s.rises(0.6, 12.6, 300*time.Millisecond) }, 12.6},
		"it stood there before":    {func(s *shown) { s.rests(12) }, 0},
		"poured":                   {func(s *shown) { s.rests(0); s.rises(0, 12, 3*time.Second) }, 0},
		"poured at first":          {func(s *shown) { s.rests(0); s.rises(0, 6, 2*time.Second); s.rises(6, 12, 200*time.Millisecond) }, 0},
		"a tared cup was lifted":   {func(s *shown) { s.rests(0); s.rests(-87); s.rises(-87, 12, 300*time.Millisecond) }, 0},
		"exchanged in passing":     {func(s *shown) { s.rests(0); s.reads(-40, TareUnknown); s.reads(5, TareUnknown); s.rests(12) }, 0},
		"the scale says it is net": {func(s *shown) { s.rests(0); s.reads(0, Net); s.rises(0, 12, 300*time.Millisecond) }, 0},
		"lifted again":             {func(s *shown) { s.rests(0); s.rises(0, 12, 300*time.Millisecond); s.rests(0) }, 0},
		"lifted, and another": {func(s *shown) {
			s.rests(0)
			s.rises(0, 12, 300*time.Millisecond)
			s.rests(0)
			s.rises(0, 14, 300*time.Millisecond)
		}, 14},
		"poured into, and it grows": {func(s *shown) { s.rests(0); s.rises(0, 12, 300*time.Millisecond); s.rises(12, 40, 3*time.Second) }, 0},
		"the pan never settled":     {func(s *shown) { s.rests(40); s.reads(0, TareUnknown); s.reads(6, TareUnknown); s.rests(12) }, 0},
		"still held by the hand": {func(s *shown) {
			s.rests(0)
			for _, g := range []float64{4, 9, 12} {
				s.reads(g, TareUnknown)
			}
		}, 0},
	} {
		s := newShown()
		c.does(s)
		if g, ok := s.a.Grams(); ok != (c.want != 0) || g != c.want {
			t.Errorf("%s: %v, %v; want %v", name, g, ok, c.want)
		}
	}
}

func TestArrivalForgets(t *testing.T) {
	s := newShown()
	s.rests(0)
	s.rises(0, 12, 300*time.Millisecond)
	s.a.Forget()
	s.rests(12)
	if g, ok := s.a.Grams(); ok {
		t.Errorf("%v g arrived although that was forgotten", g)
	}
	s.a.Observe(Reading{At: s.at.Add(-time.Hour), Grams: 0, HasWeight: true})
	s.a.Observe(Reading{At: s.at, Over: true})
	if _, ok := s.a.Grams(); ok {
		t.Error("nothing arrived")
	}
}
