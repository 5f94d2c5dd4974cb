package air

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestJudge(t *testing.T) {
	room := State{TemperatureC: 20, HumidityPct: 50}
	for _, c := range []struct {
		name     string
		readings []State // one each 5 s after the first, which is the room's
		believed []bool
	}{
		{"a usual fault value", []State{{-40, 50}, {-40, 50}, room}, []bool{false, false, true}},
		{"another one", []State{{130, 0}, room}, []bool{false, true}},
		{"a door in winter", []State{{16, 40}, {12, 30}, {14, 35}}, []bool{true, true, true}},
		{"humidity falls to nothing", []State{{20, 0}, {20, 50}}, []bool{false, true}},
		{"a jump inside what rooms have", []State{{45, 50}, {45, 50}}, []bool{false, false}},
	} {
		j, why := Judge{}.Next(room, time.Hour)
		if why != "" {
			t.Fatalf("the first reading is not believed: %s", why)
		}
		for i, a := range c.readings {
			j, why = j.Next(a, time.Hour+time.Duration(i+1)*5*time.Second)
			if (why == "") != c.believed[i] {
				t.Errorf("%s: reading %d, %v: %q, want believed %v", c.name, i, a, why, c.believed[i])
			}
		}
	}
	if _, why := (Judge{}).Next(State{-40, 50}, 0); why == "" {
		t.Error("a first reading of -40 °C is believed")
	}
}

// TestALastingJumpIsBelieved carries a sensor into a cold store: the readings agree, and
// are believed after 5 minutes, not before. A fault value is not, however long it lasts.
func TestALastingJumpIsBelieved(t *testing.T) {
	for _, c := range []struct {
		to       State
		believed bool
	}{{State{4, 85}, true}, {State{-40, 85}, false}} {
		j, _ := Judge{}.Next(State{20, 50}, 0)
		first := time.Duration(-1)
		for at := 5 * time.Second; at <= 20*time.Minute; at += 5 * time.Second {
			var why string
			if j, why = j.Next(c.to, at); why == "" && first < 0 {
				first = at
			}
		}
		if c.believed && first != 5*time.Second+believedAfter {
			t.Errorf("%v is believed after %v, want %v", c.to, first, 5*time.Second+believedAfter)
		}
		if !c.believed && first >= 0 {
			t.Errorf("%v is believed after %v, want never", c.to, first)
		}
	}
}

// TestFewReadingsAreNotBelieved reads a slow sensor, whose fault value comes twice or three times
// within what a jump must last. However long a sensor was silent, a jump must last.
func TestFewReadingsAreNotBelieved(t *testing.T) {
	room, cold := State{20, 50}, State{-10, 50}
	for _, every := range []time.Duration{time.Minute, 6 * time.Minute, 9 * time.Minute, time.Hour, 24 * time.Hour} {
		j, _ := Judge{}.Next(room, 0)
		for i, readings := 1, 0; ; i++ {
			var why string
			if j, why = j.Next(cold, time.Duration(i)*every); why != "" {
				readings++
				continue
			}
			if lasted := time.Duration(i-1) * every; readings < 3 || lasted < believedAfter {
				t.Errorf("a reading each %v: %v is believed after %d others, and %v", every, cold, readings, lasted)
			}
			break
		}
		if _, why := j.Next(room, time.Hour*24*365); why == "" {
			t.Errorf("a reading each %v: back from %v to %v at once", every, cold, room)
		}
	}
	j, _ := Judge{}.Next(room, 0)
	if _, why := j.Next(State{20, 95}, 8*time.Minute); why == "" {
		t.Error("45 % more in 8 minutes is believed at once")
	}
}

// TestJudgeProperties: a slow change is always believed; what is believed lies in the
// range of rooms; and a change that a room cannot make is believed after three readings that
// were not.
func TestJudgeProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		slow := rapid.Bool().Draw(t, "slow")
		a, at := State{20, 50}, time.Duration(0)
		j, _ := Judge{}.Next(a, at)
		good, suspect := a, 0
		for range rapid.IntRange(1, 60).Draw(t, "readings") {
			step := time.Duration(rapid.IntRange(100, 300_000).Draw(t, "ms")) * time.Millisecond
			at += step
			if slow {
				most := min(step.Minutes(), 1)
				a.TemperatureC = clamp(a.TemperatureC+rapid.Float64Range(-9, 9).Draw(t, "dT")*most, -19, 59)
				a.HumidityPct = clamp(a.HumidityPct+rapid.Float64Range(-39, 39).Draw(t, "dRH")*most, 0, 100)
			} else {
				a = State{rapid.Float64Range(-50, 130).Draw(t, "T"), rapid.Float64Range(0, 100).Draw(t, "RH")}
			}
			var why string
			j, why = j.Next(a, at)
			if slow && why != "" {
				t.Fatalf("a slow change to %v is not believed: %s", a, why)
			}
			if why != "" {
				suspect++
				continue
			}
			if a.TemperatureC < coldestRoomC || a.TemperatureC > warmestRoomC {
				t.Fatalf("%v is believed", a)
			}
			most := min(jumpCPerMinute*max(step.Minutes(), 1), jumpC)
			if suspect < leastReadings-1 && (math.Abs(a.TemperatureC-good.TemperatureC) > most+1e-9 || math.Abs(a.HumidityPct-good.HumidityPct) > jumpPct+1e-9) {
				t.Fatalf("%v is believed after %v, with %d readings between", a, good, suspect)
			}
			good, suspect = a, 0
		}
	})
}

func clamp(x, low, high float64) float64 { return max(low, min(x, high)) }
