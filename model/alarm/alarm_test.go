package alarm

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// states are all states in the order of their letters.
var states = []State{Normal, Unacknowledged, Acknowledged, Returned, Shelved, Suppressed, OutOfService}

// TestTransitions are those of the state diagram in manuals that follow ISA-18.2; the
// last two of the first group are from memory.
func TestTransitions(t *testing.T) {
	on, off := Situation{Active: true}, Situation{}
	for _, c := range []struct {
		name string
		got  State
		want State
	}{
		{"A, alarm", Next(Normal, on), Unacknowledged},
		{"B, acknowledge", Acknowledge(Unacknowledged), Acknowledged},
		{"C, return", Next(Acknowledged, off), Normal},
		{"B, return", Next(Unacknowledged, off), Returned},
		{"D, acknowledge", Acknowledge(Returned), Normal},
		{"D, again", Next(Returned, on), Unacknowledged},

		{"A stays", Next(Normal, off), Normal},
		{"B stays", Next(Unacknowledged, on), Unacknowledged},
		{"C stays", Next(Acknowledged, on), Acknowledged},
		{"D stays", Next(Returned, off), Returned},
		{"shelved", Next(Acknowledged, Situation{Active: true, Shelved: true}), Shelved},
		{"off the shelf, still there", Next(Shelved, on), Unacknowledged},
		{"off the shelf, gone", Next(Shelved, off), Normal},
		{"the sensor is lost", Next(Unacknowledged, Situation{Suppressed: true}), Suppressed},
		{"the sensor is lost after the cause was gone", Next(Returned, Situation{Suppressed: true}), Returned},
		{"the sensor is back", Next(Suppressed, off), Normal},
		{"the sensor is back, and there is a cause", Next(Suppressed, on), Unacknowledged},
		{"shelved, and the sensor is lost", Next(Shelved, Situation{Shelved: true, Suppressed: true}), Shelved},
		{"the shelf ends while the sensor is lost", Next(Shelved, Situation{Suppressed: true}), Suppressed},
		{"maintenance of what is shelved", Next(Shelved, Situation{Shelved: true, OutOfService: true}), OutOfService},
		{"maintenance is over", Next(OutOfService, on), Unacknowledged},
	} {
		if c.got != c.want {
			t.Errorf("%s: %s, want %s", c.name, c.got, c.want)
		}
	}
}

// TestNextSettles: a state is never left again in the situation that led to it, and
// what is said in each state fits the situation.
func TestNextSettles(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		was := rapid.SampledFrom(states).Draw(t, "was")
		is := Situation{
			rapid.Bool().Draw(t, "active"), rapid.Bool().Draw(t, "shelved"),
			rapid.Bool().Draw(t, "suppressed"), rapid.Bool().Draw(t, "out of service"),
		}
		next := Next(was, is)
		if again := Next(next, is); again != next {
			t.Fatalf("%s in %+v: %s and then %s", was, is, next, again)
		}
		silent := is.Shelved || is.OutOfService || is.Suppressed && was != Returned
		if next.Silenced() != silent {
			t.Fatalf("%s in %+v: %s", was, is, next)
		}
		if !silent && next.Active() != (is.Active && !is.Suppressed) {
			t.Fatalf("%s in %+v: %s", was, is, next)
		}
		if next.Awaits() && Acknowledge(next).Awaits() || Acknowledge(next).Active() != next.Active() {
			t.Fatalf("%s acknowledged is %s", next, Acknowledge(next))
		}
	})
}

// TestFilterKeepsItsDelays follows a condition that does as it likes: the filter turns
// exactly when the condition has been the other way for the delay, and so never faster
// than the delays.
func TestFilterKeepsItsDelays(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := Delays{time.Duration(rapid.IntRange(0, 5).Draw(t, "on")), time.Duration(rapid.IntRange(0, 5).Draw(t, "off"))}
		f := Begin(rapid.Bool().Draw(t, "active"))
		var now, turned time.Duration
		other := time.Duration(-1) // since when the condition has been other than what the filter says
		first := true
		for range rapid.IntRange(1, 60).Draw(t, "steps") {
			now += time.Duration(rapid.IntRange(0, 3).Draw(t, "pass"))
			was := f.On
			if rapid.IntRange(0, 9).Draw(t, "unknown") == 0 {
				f, other = f.Hold(), -1
				if f.On != was {
					t.Fatal("nothing was known, and the filter turned")
				}
				continue
			}
			raw := rapid.Bool().Draw(t, "raw")
			if raw == was {
				other = -1
			} else if other < 0 {
				other = now
			}
			delay := d.On
			if was {
				delay = d.Off
			}
			want := other >= 0 && now-other >= delay
			f = f.Next(raw, d, now)
			if (f.On != was) != want {
				t.Fatalf("at %d: filter %v, was %v, the condition is %v since %d; delays %+v", now, f.On, was, raw, other, d)
			}
			if !want {
				continue
			}
			if !first && now-turned < delay {
				t.Fatalf("turned at %d and at %d; delays %+v", turned, now, d)
			}
			turned, first, other = now, false, -1
			if f.Idle() != !f.On {
				t.Fatal("a filter that has just turned off remembers something")
			}
		}
	})
}

func TestLimits(t *testing.T) {
	warm, cold := Limit{At: 35, DeadBand: 0.5}, Limit{At: 10, DeadBand: 0.5, Below: true}
	for _, c := range []struct {
		name  string
		limit Limit
		value float64
		was   bool
		want  bool
	}{
		{"under it", warm, 34.9, false, false},
		{"at it", warm, 35, false, true},
		{"in the dead-band", warm, 34.6, true, true},
		{"at its end", warm, 34.5, true, true},
		{"beyond it", warm, 34.4, true, false},
		{"above", cold, 10.1, false, false},
		{"at the lower one", cold, 10, false, true},
		{"in its dead-band", cold, 10.4, true, true},
		{"back", cold, 10.6, true, false},
		{"no number", warm, math.NaN(), false, false},
		{"no number after one beyond", warm, math.NaN(), true, true},
	} {
		if got := c.limit.Beyond(c.value, c.was); got != c.want {
			t.Errorf("%s: %v", c.name, got)
		}
	}
}

// TestNoiseInTheDeadBand: a value that wavers about its limit by less than the
// dead-band is one alarm and not many.
func TestNoiseInTheDeadBand(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := Limit{At: 85, DeadBand: 2}
		was, turns := false, 0
		for range 50 {
			is := l.Beyond(85+rapid.Float64Range(-1.99, 1.99).Draw(t, "value"), was)
			if is != was {
				turns++
			}
			was = is
		}
		if turns > 1 {
			t.Fatalf("%d turns", turns)
		}
	})
}

func TestCutLimit(t *testing.T) {
	for left, want := range map[time.Duration]time.Duration{
		8 * time.Hour: 30 * time.Minute, time.Hour: 15 * time.Minute, 10 * time.Minute: 5 * time.Minute, 0: 5 * time.Minute,
	} {
		if got := CutLimit(left); got != want {
			t.Errorf("with %v left: %v, want %v", left, got, want)
		}
	}
}
