package airpath

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"potlifed/model/air"
	"potlifed/model/cure"
)

var noon = time.Date(2026, 6, 12, 12, 0, 0, 0, time.UTC)

// anyInk is an ink whose life ends after some hours in ordinary air; made up.
func anyInk(t *testing.T) cure.Ink {
	t.Helper()
	ink, err := cure.Sheet{Shortest: 5 * time.Hour, Longest: 7 * time.Hour}.Calibrate()
	if err != nil {
		t.Fatal(err)
	}
	return ink
}

// reading is one that was taken, by when it was.
type reading struct {
	at  time.Time
	air air.State
}

// room is a zone with one sensor and a batch, driven by a test.
type room struct {
	rt       *rapid.T
	now      time.Time
	air      air.State
	path     Path
	closed   Closed
	with     Sensors
	since    time.Time // of the run
	ensemble *cure.Ensemble
	place    cure.Place
	life     Life
	taken    []reading // since the last bridge
}

// take checks steps that were closed and lets the batch live through them.
func (r *room) take(steps []Step) {
	r.rt.Helper()
	for _, s := range steps {
		switch {
		case !s.Start.Equal(r.closed.Until):
			r.rt.Fatalf("a step begins at %v, the path ends at %v", s.Start, r.closed.Until)
		case s.Duration < 0:
			r.rt.Fatalf("a step of %v", s.Duration)
		case s.End().After(r.now):
			r.rt.Fatalf("a step ends at %v, which is after now, %v", s.End(), r.now)
		case s.Kind == cure.Held && s.End().Sub(s.ReadAt) > r.with.StaleAfter:
			r.rt.Fatalf("a value is held for %v, although it is missing after %v", s.End().Sub(s.ReadAt), r.with.StaleAfter)
		case s.Kind != cure.Measured && !s.Uncertain:
			r.rt.Fatalf("a %s step is certain", s.Kind)
		case s.Kind == cure.Bridged && !r.closed.Bridged:
			r.rt.Fatal("a bridge over a time that was read")
		}
		if s.Kind == cure.Measured {
			r.near(s)
		}
		before := r.ensemble.Spent()
		r.ensemble = r.ensemble.Clone()
		r.ensemble.Advance(r.place, s.Step)
		if after := r.ensemble.Spent(); !(after >= before) || math.IsInf(after, 0) {
			r.rt.Fatalf("spent went from %v to %v over %+v", before, after, s.Step)
		}
		r.closed = r.closed.With(s)
	}
}

// near checks that the line of a measured step is near every reading in it.
func (r *room) near(s Step) {
	for _, x := range r.taken {
		in := x.at.Sub(s.Start)
		if in < 0 || x.at.After(s.End()) || s.Duration == 0 || x.at.After(s.ReadAt) {
			continue
		}
		line := air.Lerp(s.From, s.To, float64(in)/float64(s.Duration))
		dC, dPct := math.Abs(line.TemperatureC-x.air.TemperatureC), math.Abs(line.HumidityPct-x.air.HumidityPct)
		atEnd := in == 0 // a reading that began a new line after a silence
		if !atEnd && (dC > 2*air.SameWithinC+1e-9 || dPct > 2*air.SameWithinPct+1e-9) {
			r.rt.Fatalf("read %+v at %v; the line of %+v is at %+v there", x.air, in, s, line)
		}
	}
}

// looks derives the life at now, as alarms and pages do.
func (r *room) looks(ink cure.Ink) {
	open := r.path.Open(r.closed, r.now, r.with)
	switch {
	case open.Duration != r.now.Sub(r.closed.Until):
		r.rt.Fatalf("the open step is %v long, %v after the path's end", open.Duration, r.now.Sub(r.closed.Until))
	case open.From != r.closed.Air:
		r.rt.Fatalf("the open step begins with %+v, the path ends with %+v", open.From, r.closed.Air)
	}
	of := Batch{Ensemble: r.ensemble, Place: r.place, MixedAt: noon}
	next := r.life.Follow(of, []cure.Step{open}, r.now, func() cure.Ends { return r.path.Forecast(of, r.closed, r.with.StaleAfter) })
	if next.Spent < r.life.Spent {
		r.rt.Fatalf("the spent life that is shown went from %v to %v", r.life.Spent, next.Spent)
	}
	if low := !next.Low.After(r.now); low != (next.Risk >= cure.LowRisk) {
		r.rt.Fatalf("the low end %v lies before now, %v: %v; the risk is %v", next.Low, r.now, low, next.Risk)
	}
	if next.Low.After(next.Expected) || next.Expected.After(next.High) {
		r.rt.Fatalf("ends %v, %v, %v", next.Low, next.Expected, next.High)
	}
	r.life = next
}

// TestAnyAir lets a sensor read anything, fall silent and come back, and the service be
// started again, while time goes by. Whatever happens, the steps are contiguous, a line is
// near what was read, held values become stale in time, and spent life never falls: neither
// that of the closed steps nor that which is shown.
func TestAnyAir(t *testing.T) {
	ink := anyInk(t)
	rapid.Check(t, func(rt *rapid.T) {
		r := &room{rt: rt, now: noon, since: noon, air: air.State{TemperatureC: 21, HumidityPct: 55}, place: cure.Place{Exposure: 1, Lag: 10 * time.Minute}}
		unusual := func(a air.State, _ time.Time) bool { return a.Extreme() != "" }
		r.with = Sensors{Fresh: -1, StaleAfter: 5 * time.Minute, Doubtful: unusual}
		r.ensemble = cure.New(ink, cure.Sensor{TemperatureAccuracyC: 0.3, HumidityAccuracyPct: 2}, 0, Unmeasured)
		r.closed = Closed{}.With(First(noon))
		read := func(a air.State) {
			with := r.with
			with.Fresh = 15 * time.Second
			if r.closed.Bridged {
				r.taken = nil
			}
			if silent := r.now.Sub(r.path.LastRead(r.closed)) > with.Fresh; silent {
				r.taken = nil
			}
			r.air = a
			r.take(r.path.Read(r.closed, a, r.now, with))
			r.with.Fresh = with.Fresh
			r.taken = append(r.taken, reading{r.now, a})
			if v, measured := r.path.Value(r.closed); !measured || v != a {
				rt.Fatalf("read %+v, and the path's value is %+v, %v", a, v, measured)
			}
			if at := r.path.LastRead(r.closed); !at.Equal(r.now) {
				rt.Fatalf("read at %v, and the last reading is of %v", r.now, at)
			}
		}
		rt.Repeat(map[string]func(*rapid.T){
			"time": func(rt *rapid.T) {
				for range rapid.IntRange(1, 20).Draw(rt, "ticks") {
					r.now = r.now.Add(time.Duration(rapid.IntRange(100, 1500).Draw(rt, "ms")) * time.Millisecond)
					mayBridge := r.now.Sub(r.since) < r.with.StaleAfter
					r.take(r.path.CloseMinute(r.closed, r.now, mayBridge, r.with))
				}
			},
			"silence": func(rt *rapid.T) {
				for range rapid.IntRange(1, 20).Draw(rt, "ticks") {
					r.now = r.now.Add(time.Duration(rapid.IntRange(10, 90).Draw(rt, "s")) * time.Second)
					r.take(r.path.CloseMinute(r.closed, r.now, r.now.Sub(r.since) < r.with.StaleAfter, r.with))
					r.looks(ink)
				}
			},
			"reads about the same": func(rt *rapid.T) {
				for range rapid.IntRange(1, 8).Draw(rt, "readings") {
					r.now = r.now.Add(5 * time.Second)
					a := r.air
					a.TemperatureC += rapid.Float64Range(-0.03, 0.03).Draw(rt, "K")
					a.HumidityPct += rapid.Float64Range(-0.15, 0.15).Draw(rt, "pct")
					read(a.Clamp())
				}
			},
			"reads anything": func(rt *rapid.T) {
				r.now = r.now.Add(time.Duration(rapid.IntRange(1, 30).Draw(rt, "s")) * time.Second)
				read(air.State{TemperatureC: rapid.Float64Range(0, 40).Draw(rt, "C"), HumidityPct: rapid.Float64Range(0, 100).Draw(rt, "pct")})
			},
			"something happens to a batch": func(*rapid.T) {
				r.take(r.path.CloseTo(r.closed, r.now, r.with))
				if !r.closed.Until.Equal(r.now) {
					rt.Fatalf("closed up to %v at %v", r.closed.Until, r.now)
				}
			},
			"moves": func(rt *rapid.T) {
				r.take(r.path.CloseTo(r.closed, r.now, r.with))
				r.place.Exposure = rapid.Float64Range(0.1, 1).Draw(rt, "exposure")
			},
			"restarts": func(rt *rapid.T) {
				gap := time.Duration(rapid.IntRange(0, 3600).Draw(rt, "gap")) * time.Second
				r.now = r.now.Add(gap)
				r.since, r.path, r.with.Fresh = r.now, Path{}, -1
				r.closed.Bridged = true
				r.taken = nil
				r.life = Life{} // nobody remembers what was shown
			},
			"": func(rt *rapid.T) {
				r.looks(ink)
				if age := r.ensemble.Age(); age != r.closed.Until.Sub(noon) {
					rt.Fatalf("the batch is %v old at the end of a path of %v", age, r.closed.Until.Sub(noon))
				}
			},
		})
	})
}
