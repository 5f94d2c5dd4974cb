package record

import (
	"testing"
	"time"

	"potlifed/model/air"
)

// A clock that is set while a test in jars runs changes no age; one that is set after a gap of unknown length makes the jars
// older by what the gap was.
func TestTheClockIsSetWhileJarsStand(t *testing.T) {
	for name, c := range map[string]struct {
		records []Body
		ageH    float64 // of what was mixed an hour before, by a look at once
	}{
		"the clock is stepped":                  {[]Body{ClockChanged{Step: 5 * time.Hour, Synced: true}}, 1},
		"it is stepped back":                    {[]Body{ClockChanged{Step: -5 * time.Hour, Synced: true}}, 1},
		"a restart with a known gap":            {[]Body{Started{GapKnown: true, Shift: 2 * time.Hour}}, 1},
		"a gap that is known later":             {[]Body{Started{Countable: true, Shift: time.Minute}, ClockChanged{Step: 3 * time.Hour, Synced: true}}, 4 + 1./60},
		"a gap that the clock does not tell":    {[]Body{Started{}, ClockChanged{Step: 3 * time.Hour, Synced: true}}, 1},
		"a clock that was behind after a gap":   {[]Body{Started{Countable: true}, ClockChanged{Step: -3 * time.Hour, Synced: true}}, 1},
		"a gap that is counted only once":       {[]Body{Started{Countable: true}, ClockChanged{Step: time.Hour, Synced: true}, ClockChanged{Step: time.Hour, Synced: true}}, 2},
		"a step after which the clock is unset": {[]Body{Started{Countable: true}, ClockChanged{Step: time.Hour}, ClockChanged{Step: time.Hour, Synced: true}}, 2},
	} {
		s, at := NewState("j"), noon
		do := func(b Body) { s = Apply(s, Record{Seq: s.Seq + 1, Stamp: Stamp{At: at, Synced: true}, Body: b}) }
		do(AirStep{Zone: "bench", Start: noon, After: air.State{TemperatureC: 20, HumidityPct: 50}})
		do(JarsStarted{Ink: "dial-satin", MixedAt: noon.Add(-time.Hour), Jars: []PlannedJar{{TemperatureC: 20, HumidityPct: 33}}})
		do(JarLooked{Ink: "dial-satin", Jar: 1, Seen: JarGood, At: noon, AgeH: 1})
		for _, b := range c.records {
			switch e := b.(type) {
			case Started:
				at = at.Add(e.Shift)
			case ClockChanged:
				at = at.Add(e.Step)
			}
			do(b)
		}
		test, running := s.RunningJars("dial-satin")
		if got := at.Sub(test.Started.MixedAt).Hours(); !running || got-c.ageH > 1e-9 || c.ageH-got > 1e-9 {
			t.Errorf("%s: the jars are %v h old, want %v", name, got, c.ageH)
		}
		if of := test.Looks[0]; of.AgeH != 1 || of.At.Sub(test.Started.MixedAt) != time.Hour {
			t.Errorf("%s: the look before is %+v of a test mixed at %v", name, of, test.Started.MixedAt)
		}
	}
}
