package bench

import (
	"time"

	"potlifed/daemon/precision"
	"potlifed/daemon/record"
	"potlifed/daemon/view"
	"potlifed/model/air"
	"potlifed/model/alarm"
	"potlifed/model/health"
)

// sensorViews returns the rows of the sensors, then those of the scales as instruments.
func (b *Bench) sensorViews(state record.State, now time.Time) []view.Sensor {
	views := make([]view.Sensor, 0, len(b.shop.Sensors)+len(b.shop.Scales))
	disagree := b.disagreements()
	for _, c := range b.shop.Sensors {
		views = append(views, b.sensorRow(state, b.sensors[c.ID], disagree, now))
	}
	for _, c := range b.shop.Scales {
		views = append(views, b.scaleRow(state, b.scales[c.ID], now))
	}
	return views
}

// sensorRow returns the row of a sensor of the air. disagree has the sensors that disagree with others of their zone.
func (b *Bench) sensorRow(state record.State, s *sensor, disagree map[string]string, now time.Time) view.Sensor {
	is, why := s.condition(now)
	since(&s.is, &s.since, is, b.clock.began(), now)
	checked, due := s.lastCheck(state)
	v := view.Sensor{
		ID: s.ID, Zone: s.Zone, Checked: some(checked), CheckDue: some(due), CheckFailed: s.failedCheck(state), Disagrees: disagree[s.ID], Condition: is, Since: s.since, Text: why.text, Detail: why.detail, LastTook: s.took,
		Reads:        s.readings(),
		OutOfService: outOfService(state, alarm.SensorStale, s.ID),
	}
	s.addCheck(state, &v)
	if !s.last.IsZero() {
		read := &air.State{TemperatureC: precision.Celsius(s.air.TemperatureC), HumidityPct: precision.Percent(s.air.HumidityPct)}
		v.TemperatureC, v.HumidityPct, v.ReadAt = &read.TemperatureC, &read.HumidityPct, s.last
		if is == health.Up {
			v.Air = read
		}
	}
	return v.Rounded()
}

// scaleRow returns the row of a scale among the instruments.
func (b *Bench) scaleRow(state record.State, s *scale, now time.Time) view.Sensor {
	is, why := s.condition(now)
	since(&s.is, &s.since, is, b.clock.began(), now)
	v := view.Sensor{
		ID: s.ID, Zone: s.Zone, Scale: true, Condition: is, Since: s.since, Text: why.text, Detail: why.detail,
		OutOfService: outOfService(state, alarm.ScaleSilent, s.ID),
	}
	s.addCheck(state, &v)
	return v.Rounded()
}

// deviceView is a sensor or a scale of the configuration, as it is answered after a change.
func (b *Bench) deviceView(now time.Time, id string) view.Sensor {
	if s, is := b.sensors[id]; is {
		return b.sensorRow(b.state, s, b.disagreements(), now)
	}
	return b.scaleRow(b.state, b.scales[id], now)
}

// since keeps the time from which a condition holds.
func since(held *health.Condition, at *time.Time, is health.Condition, began, now time.Time) {
	switch {
	case *held == "":
		*held, *at = is, began
	case *held != is:
		*held, *at = is, now
	}
}
