package bench

import (
	"time"

	"potlifed/model/air"
)

// restful holds the readings of a sensor of the last while, to see whether it has come to rest. It
// rebuilds itself after a start.
type restful struct{ readings []timedAir }

type timedAir struct {
	at  time.Time
	air air.State
}

const (
	restKept  = 20 * time.Minute
	restEvery = 10 * time.Second // readings in between are left out
)

// add takes in a reading.
func (r *restful) add(a air.State, at time.Time) {
	n := len(r.readings)
	if n > 0 && at.Sub(r.readings[n-1].at) < restEvery {
		return
	}
	for len(r.readings) > 0 && at.Sub(r.readings[0].at) > restKept {
		r.readings = r.readings[1:]
	}
	r.readings = append(r.readings, timedAir{at, a})
}

func (r *restful) shift(d time.Duration) {
	for i := range r.readings {
		r.readings[i].at = r.readings[i].at.Add(d)
	}
}

// over returns how long the sensor has been read within the last while, and how far its readings
// were apart then, in % RH and K.
func (r *restful) over(now time.Time, last time.Duration) (known time.Duration, pct, kelvins float64) {
	var low, high air.State
	seen := false
	for i := len(r.readings) - 1; i >= 0; i-- {
		x := r.readings[i]
		if now.Sub(x.at) > last+restEvery {
			break
		}
		if !seen {
			low, high, seen = x.air, x.air, true
		}
		known = now.Sub(x.at)
		low = air.State{TemperatureC: min(low.TemperatureC, x.air.TemperatureC), HumidityPct: min(low.HumidityPct, x.air.HumidityPct)}
		high = air.State{TemperatureC: max(high.TemperatureC, x.air.TemperatureC), HumidityPct: max(high.HumidityPct, x.air.HumidityPct)}
	}
	return known, high.HumidityPct - low.HumidityPct, high.TemperatureC - low.TemperatureC
}
