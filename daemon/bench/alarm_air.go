package bench

import (
	"math"

	"potlifed/daemon/record"
	"potlifed/daemon/view"
	"potlifed/model/air"
	"potlifed/model/alarm"
)

// now returns a zone's air if it was read just now.
func (l *causes) airOf(z *zone) (a air.State, fresh bool) {
	closed := closedPath(l.b.state, z)
	a, measured := z.path.Value(closed)
	quality, _ := l.b.quality(z, l.now)
	if !measured || z.source == nil || quality == view.QualityBad || l.now.Sub(z.path.LastRead(closed)) > z.fresh() {
		return a, false
	}
	return a, true
}

// air looks at the air of a zone and at the sensors that measure it.
func (l *causes) air(z *zone) {
	l.disagreement(z)
	if why := l.b.blind(z); why != "" {
		l.cannotBeSeen(alarm.AirOutOfRange, z.id, why)
		return
	}
	a, fresh := l.airOf(z)
	if !fresh {
		l.notKnown(alarm.AirOutOfRange, z.id)
		return
	}
	const name = alarm.AirOutOfRange
	w := l.b.shop.locale
	switch {
	case l.beyond(name, z.id, alarm.Limit{At: air.MaxUsualPct, DeadBand: alarm.DeadBandPct}, a.HumidityPct):
		l.holds(name, z.id, w.Say("alarm-text.air-humid", "zone", z.id, "value", w.Percent(a.HumidityPct, 0), "limit", w.Percent(air.MaxUsualPct, 0)))
	case l.beyond(name, z.id, alarm.Limit{At: air.MaxUsualC, DeadBand: alarm.DeadBandC}, a.TemperatureC):
		l.holds(name, z.id, w.Say("alarm-text.air-warm", "zone", z.id, "value", w.Temperature(a.TemperatureC), "limit", w.Temperature(air.MaxUsualC)))
	case l.beyond(name, z.id, alarm.Limit{At: air.MinUsualC, DeadBand: alarm.DeadBandC, Below: true}, a.TemperatureC):
		l.holds(name, z.id, w.Say("alarm-text.air-cold", "zone", z.id, "value", w.Temperature(a.TemperatureC), "limit", w.Temperature(air.MinUsualC)))
	}
}

// disagreement compares each sensor of a zone with another one that can be relied on. The first
// of two is not compared: which of them is wrong is not known, and one alarm says it.
func (l *causes) disagreement(z *zone) {
	for i, s := range z.sensors {
		if i == 0 && len(z.speak) < 2 {
			continue
		}
		other := l.b.beside(z, i)
		switch {
		case l.b.lost(s) || other == nil:
			l.cannotBeSeen(alarm.Disagrees, s.ID, l.b.shop.locale.Say("alarm-text.no-second-sensor"))
		case l.now.Sub(s.last) > s.fresh() || l.now.Sub(other.last) > other.fresh():
			l.notKnown(alarm.Disagrees, s.ID)
		case l.beyond(alarm.Disagrees, s.ID, alarm.Limit{At: 1, DeadBand: 0.25}, apart(s, other)):
			l.holds(alarm.Disagrees, s.ID, bothRead(s, other))
		}
	}
}

// beside returns the sensor that the one with index i is compared with, and that can be relied on:
// the first of those that agree and speak for the zone, where several do; else the first
// before it. It is nil where there is none.
func (b *Bench) beside(z *zone, i int) *sensor {
	if len(z.speak) > 1 {
		for _, o := range z.speak {
			if o != z.sensors[i] && !b.lost(o) {
				return o
			}
		}
	}
	for _, o := range z.sensors[:i] {
		if !b.lost(o) {
			return o
		}
	}
	return nil
}

// bothRead says what two sensors of a zone read.
func bothRead(s, other *sensor) string {
	w := s.words
	return w.Say("alarm-text.sensor-disagrees", "sensor", s.ID, "temperature", w.Temperature(s.air.TemperatureC), "humidity", w.Percent(s.air.HumidityPct, 0),
		"other", other.ID, "other_temperature", w.Temperature(other.air.TemperatureC), "other_humidity", w.Percent(other.air.HumidityPct, 0))
}

// disagreements returns what the sensors read that disagree with another one of their zone, by id,
// and at once: the alarm has a delay. Of two both are named, since which is wrong is not known;
// where others agree, only the one that differs from them.
func (b *Bench) disagreements() map[string]string {
	var found map[string]string
	for _, z := range b.zones {
		for i, s := range z.sensors {
			other := b.beside(z, i)
			if w := b.watched[record.AlarmKey{Name: alarm.Disagrees, Subject: s.ID}]; w.Raw && other != nil {
				if found == nil {
					found = map[string]string{}
				}
				found[s.ID] = bothRead(s, other)
				if len(z.speak) < 2 {
					found[other.ID] = bothRead(other, s)
				}
			}
		}
	}
	return found
}

// apart is how far two sensors are apart, as a share of what counts as disagreeing.
func apart(a, b *sensor) float64 {
	t := alarm.DisagreeFactor * (a.Accuracy.TemperatureAccuracyC + b.Accuracy.TemperatureAccuracyC)
	rh := alarm.DisagreeFactor * (a.Accuracy.HumidityAccuracyPct + b.Accuracy.HumidityAccuracyPct)
	return max(math.Abs(a.air.TemperatureC-b.air.TemperatureC)/t, math.Abs(a.air.HumidityPct-b.air.HumidityPct)/rh)
}

// sweating looks whether water condenses on a cup. The cup's temperature is computed,
// so only what is known well is said of it.
func (l *causes) sweating(batch *record.Batch) {
	z := l.b.zones[batch.Zone]
	if z == nil {
		return
	}
	v := view.Batch{}
	l.b.addLife(l.b.state, batch, l.now, &v)
	a, fresh := l.airOf(z)
	dew, has := a.DewPointC()
	switch cup := batch.Ensemble.CupTemperatureC(); {
	case v.Quality != view.QualityGood || !fresh:
		l.notKnown(alarm.CupSweating, batch.ID)
	case has && l.beyond(alarm.CupSweating, batch.ID, alarm.Limit{At: dew, DeadBand: alarm.SweatingBandK, Below: true}, cup):
		w := l.b.shop.locale
		l.holds(alarm.CupSweating, batch.ID, w.Say("alarm-text.cup-sweating", "batch", batch.ID, "cup", w.Temperature(cup), "zone", z.id, "dew", w.Temperature(dew)))
	}
}
