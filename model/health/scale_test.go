package health

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"
)

// simulated is a simulated scale: ten weights a second, each move settles after a while.
type simulated struct {
	pan    *Pan
	at     time.Duration
	settle time.Duration
	noise  float64 // in g; while it is above the division, the scale never settles
	r      *rand.Rand
}

// puts lets the scale show a weight for a while.
func (s *simulated) puts(grams float64, d time.Duration) {
	for began := s.at; s.at-began < d; s.at += 100 * time.Millisecond {
		shown := math.Round((grams+s.noise*s.r.NormFloat64())*10) / 10
		s.pan.Add(shown, s.at-began >= s.settle && s.noise < 0.1, s.at)
	}
}

func TestPan(t *testing.T) {
	for _, c := range []struct {
		name   string
		settle time.Duration
		noise  float64
		zero   float64
		noisy  bool
		drifts bool
	}{
		{"healthy", 2 * time.Second, 0, 0, false, false},
		{"a division off", 2 * time.Second, 0, 0.1, false, false},
		{"slow", 12 * time.Second, 0, 0, true, false},
		{"in a draught", 2 * time.Second, 0.15, 0, true, false},
		{"its zero has moved", 2 * time.Second, 0, -0.4, false, true},
	} {
		s := simulated{pan: NewPan(0.1), settle: c.settle, noise: c.noise, r: rand.New(rand.NewPCG(1, 1))}
		for range 6 {
			s.puts(c.zero, 20*time.Second)
			s.puts(40, 20*time.Second)      // a cup
			s.puts(100, 20*time.Second)     // ink
			s.puts(c.zero, 100*time.Second) // lifted
		}
		if got := s.pan.Noisy(); got != c.noisy {
			settle, known := s.pan.Settle()
			t.Errorf("%s: noisy %v; settles in %v, %v", c.name, got, settle, known)
		}
		if g, off, _ := s.pan.Zero(); off != c.drifts || off && math.Abs(g-c.zero) > 1e-9 {
			t.Errorf("%s: zero %v g, off %v", c.name, g, off)
		}
	}
	// A slow pour never rests for minutes, and it is no noise.
	slow := simulated{pan: NewPan(0.1), settle: time.Hour, r: rand.New(rand.NewPCG(1, 1))}
	for g := 0.; g < 54; g += 0.03 {
		slow.puts(g, 100*time.Millisecond)
		if slow.pan.Noisy() {
			t.Fatalf("a pour of 0.3 g a second counts as noise at %.1f g", g)
		}
	}
	// A cup that is tared reads below zero when it is lifted: that is no zero.
	s := simulated{pan: NewPan(0.1), settle: time.Second, r: rand.New(rand.NewPCG(1, 1))}
	for range 8 {
		s.puts(0, 5*time.Second)
		s.puts(75, 5*time.Second)
		s.puts(-12, 5*time.Second)
	}
	if g, off, known := s.pan.Zero(); off {
		t.Errorf("lifted cups: zero %v g, known %v", g, known)
	}
	if _, known := (NewPan(1)).Settle(); known {
		t.Error("known before the first weight")
	}
}

// TestPanDays: what a day was like, for a scale that scatters at rest by a tenth of a gram.
func TestPanDays(t *testing.T) {
	p, r := NewPan(0.1), rand.New(rand.NewPCG(1, 1))
	day := func(noiseG float64) PanDay {
		at := time.Duration(0)
		for range 3 {
			for _, grams := range []float64{0.1, 40, 100} {
				for i := range 300 {
					p.Add(grams+noiseG*r.NormFloat64(), i > 20, at)
					at += 100 * time.Millisecond
				}
			}
		}
		return p.EndDay(at)
	}
	d := day(0.02)
	if d.Settled != 9 || d.Settle < 2*time.Second || d.Settle > 2500*time.Millisecond || d.NoiseG == nil || math.Abs(*d.NoiseG-0.02) > 0.002 || d.ZeroG == nil || math.Abs(*d.ZeroG-0.1) > 0.06 {
		t.Errorf("%+v, noise %v, zero %v", d, *d.NoiseG, *d.ZeroG)
	}
	if d := day(0); d.NoiseG == nil || *d.NoiseG > 1e-9 { // the day before is over
		t.Errorf("the next day: %+v", d)
	}
	if d := NewPan(0.1).EndDay(0); d.Settled != 0 || d.NoiseG != nil || d.ZeroG != nil {
		t.Errorf("a day without weights: %+v", d)
	}
	var days []PanDay
	for i := range 40 {
		days = KeptOfPan(days, PanDay{Settled: i})
	}
	if len(days) != keptPanDays || days[0].Settled != 9 {
		t.Errorf("%d days are kept, from %d on", len(days), days[0].Settled)
	}
}
