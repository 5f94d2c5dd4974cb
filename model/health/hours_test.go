package health

import (
	"math"
	"math/rand/v2"
	"testing"

	"potlifed/model/air"
)

// sunny is days of a sensor on which the sun shines in the afternoon: it reads 6 % RH less than its neighbour then, and 1 %
// more at night. hours are those in which it has power.
func sunny(r *rand.Rand, days, fromHour, toHour int, driftPct float64) (list []Day) {
	var w Watch
	for range days {
		for hour := fromHour; hour < toHour; hour++ {
			for range 4 {
				neighbour := air.State{TemperatureC: 22, HumidityPct: 45 + r.NormFloat64()}
				a := neighbour
				a.HumidityPct += 1 + driftPct
				if hour >= 12 && hour < 18 {
					a.HumidityPct -= 7
				}
				w.Add(a, 0, hour, "hall", &neighbour)
			}
		}
		list = append(list, w.EndDay(0))
	}
	return list
}

// The same hours are compared: a sensor that has power in the afternoon only has not drifted.
func TestSameHours(t *testing.T) {
	for _, c := range []struct {
		name             string
		from, to         int
		driftPct, within float64
		drifts           bool
	}{
		{"as before", 0, 24, 0, 0.3, false},
		{"in the afternoon only", 12, 18, 0, 0.3, false},
		{"by day only", 6, 21, 0, 0.3, false},
		{"in the afternoon only, and drifted", 12, 18, 3.2, 0.3, true},
		{"drifted downwards", 0, 24, -3.2, 0.3, true},
	} {
		r := rand.New(rand.NewPCG(4, 4))
		days := append(sunny(r, 30, 0, 24, 0), sunny(r, nowDays, c.from, c.to, c.driftPct)...)
		pct, drifts, known := Drift(days)
		if !known || drifts != c.drifts || math.Abs(pct-c.driftPct) > c.within {
			t.Errorf("%s: %v %%, %v, known %v; want %v, %v", c.name, pct, drifts, known, c.driftPct, c.drifts)
		}
	}
}

// Days of an older version have no parts; their means are compared, with newer days too.
func TestDaysWithoutParts(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	days := append(sunny(r, 30, 0, 24, 0), sunny(r, nowDays, 0, 24, 4)...)
	for i := range days {
		if i < 20 {
			days[i].Parts = Parts{}
		}
	}
	if pct, drifts, known := Drift(days); !known || !drifts || math.Abs(pct-4) > 0.3 {
		t.Errorf("%v, %v, %v", pct, drifts, known)
	}
}

// A sensor alone that reads 80 % at night and 30 % by day has not changed when it is off at night from some week on.
func TestMovedComparesTheSameHours(t *testing.T) {
	var w Watch
	var days []Day
	for day := range 70 {
		for hour := range 24 {
			night := hour < 6 || hour >= 18
			if day >= 56 && !night {
				continue
			}
			w.Add(air.State{TemperatureC: 20, HumidityPct: map[bool]float64{true: 95, false: 15}[night]}, 0, hour, "", nil)
		}
		days = append(days, w.EndDay(0))
	}
	if pct, moved, known := Moved(days); moved || !known || math.Abs(pct) > 0.1 {
		t.Errorf("%v, %v, %v", pct, moved, known)
	}
}
