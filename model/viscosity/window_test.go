package viscosity

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// minutes adds n minutes of values, ten of each, around a level.
func minutes(w *Window, from time.Duration, n int, value func(k int) float64) time.Duration {
	at := from
	for k := range 10 * n {
		w.Add(value(k), at)
		at += 6 * time.Second
	}
	return at
}

// A sample needs minutes enough and values that differ; single values that are wrong do not move it.
func TestASampleIsTheMedianOfMinutes(t *testing.T) {
	var w Window
	at := minutes(&w, 0, 4, func(k int) float64 { return 100 + float64(k%3) })
	if _, _, ok := w.Take(at); ok {
		t.Error("four minutes are enough")
	}
	at = minutes(&w, at, 6, func(k int) float64 {
		if k%10 == 4 {
			return 1e6
		}
		return 100 + float64(k%3)
	})
	if m, noise, ok := w.Take(at); !ok || math.Abs(m-101) > 1 || noise > 0.02 {
		t.Errorf("median %v ± %v, %v", m, noise, ok)
	}
	if _, _, ok := w.Take(at + 20*time.Minute); ok {
		t.Error("values of twenty minutes ago are taken for those of now")
	}
}

// An instrument that has stuck gives no sample, and is found within an hour.
func TestAStuckInstrumentGivesNoSample(t *testing.T) {
	var w Window
	at := minutes(&w, 0, 10, func(k int) float64 { return 100 + float64(k%3) })
	for range 6 {
		at = minutes(&w, at, 10, func(int) float64 { return 101 })
		if _, _, ok := w.Take(at); ok {
			t.Fatal("one and the same value makes a sample")
		}
	}
	at = minutes(&w, at, 1, func(int) float64 { return 101 })
	if same, stuck := w.Same(); !stuck || same < time.Hour {
		t.Errorf("stuck %v after %v", stuck, same)
	}
	w.Add(102, at)
	if _, stuck := w.Same(); stuck {
		t.Error("it moves and is stuck")
	}
}

// Whatever comes, a sample lies among the values of its minutes, and its noise is a number.
func TestASampleLiesAmongItsValues(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var w Window
		at, least, largest := time.Duration(0), math.Inf(1), 0.0
		for range rapid.IntRange(0, 200).Draw(t, "values") {
			at += time.Duration(rapid.IntRange(0, 60).Draw(t, "s")) * time.Second
			x := rapid.Float64Range(1e-6, 1e6).Draw(t, "value")
			least, largest = min(least, x), max(largest, x)
			w.Add(x, at)
		}
		if m, noise, ok := w.Take(at + time.Minute); ok && !(m >= least && m <= largest && noise >= LeastNoiseOfTrend && !math.IsInf(noise, 0)) {
			t.Errorf("%v ± %v of values from %v to %v", m, noise, least, largest)
		}
	})
}
