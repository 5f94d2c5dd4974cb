package health

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"potlifed/model/air"
)

// reliable is how a sensor answers that is read twice a minute: the share of readings that fail on their
// own, as those of one-wire sensors do, how often a day a door or a gust lets the reading jump, and how many
// days somebody has it disconnected for hours.
type reliable struct {
	failing float64
	jumps   float64 // a day
	outages int     // in a year
}

// lives returns the days after which [Fails] or [JumpsOften] told of the sensor, in a year that is like
// this from a day on, and healthy before.
func (from reliable) lives(r *rand.Rand, since int, weather func(hour int) air.State) (told []int) {
	const perHour = 120
	const outageLasts = 8 * perHour
	var w Watch
	var days []Day
	var in building
	room := in.next(weather(0))
	for day := range 365 {
		now := reliable{failing: 0.005, jumps: 2, outages: 12}
		if day >= since {
			now = from
		}
		out := 0
		if r.Float64() < float64(now.outages)/365 {
			out = outageLasts
		}
		for hour := range 24 {
			before := room
			room = in.next(weather(24*day + hour))
			for part := range perHour {
				at := time.Duration(day)*24*time.Hour + time.Duration(hour)*time.Hour + time.Duration(part)*30*time.Second
				if out > 0 {
					if out--; out > outageLasts-20 { // of an outage, ten minutes are counted
						w.Fail()
					}
					continue
				}
				if r.Float64() < now.failing {
					w.Fail()
					continue
				}
				x := float64(part) / perHour
				s := air.State{TemperatureC: before.TemperatureC + x*(room.TemperatureC-before.TemperatureC), HumidityPct: before.HumidityPct + x*(room.HumidityPct-before.HumidityPct)}
				if r.Float64() < now.jumps/2/(24*perHour) { // there and back: two jumps
					s.HumidityPct = math.Max(s.HumidityPct-8, 0)
				}
				s.HumidityPct = math.Min(math.Round(10*(s.HumidityPct+0.3*r.NormFloat64()))/10, 100)
				w.Add(s, at, 12, "", nil)
			}
		}
		days = Kept(days, w.EndDay(0))
		if Fails(days) || JumpsOften(days) {
			told = append(told, day)
		}
	}
	return told
}

// TestReliableYears: no alarm in simulated years of sensors that fail now and then, jump with the door and
// are disconnected for hours once a month; and one that becomes unreliable is told of within ten days.
func TestReliableYears(t *testing.T) {
	for n := range years(t) {
		r := rand.New(rand.NewPCG(uint64(n), 4))
		if told := (reliable{failing: 0.005, jumps: 2, outages: 12}).lives(r, 0, outdoor(r)); len(told) > 0 {
			t.Errorf("healthy year %d: told of on days %v", n, told)
		}
		bad := reliable{failing: 0.12}
		if n%2 == 1 {
			bad = reliable{jumps: 30}
		}
		since := 60 + r.IntN(200)
		if told := bad.lives(r, since, outdoor(r)); len(told) == 0 || told[0] < since || told[0] > since+10 {
			t.Errorf("year %d: %+v from day %d on; told of first on %v", n, bad, since, told[:min(len(told), 1)])
		}
	}
}
