package bench

import (
	"slices"
	"time"

	"potlifed/daemon/view"
	"potlifed/model/air"
	"potlifed/model/cure"
)

// trusted reports whether a sensor may speak for its zone beside others: what it reads is no value
// that a room cannot have, moves, does not drift, and passed its last check.
func (b *Bench) trusted(s *sensor) bool { return b.distrust(s) == "" }

// distrust returns why a sensor is not trusted, by a fixed word; empty where it is.
func (b *Bench) distrust(s *sensor) string {
	if s.implausible() && s.failing > 0 {
		return "implausible"
	}
	if _, stuck := s.stuck(b.state); stuck {
		return "stuck"
	}
	if s.drifting(b.state) != "" {
		return "drifts"
	}
	if s.failedCheck(b.state) != "" {
		return "check-failed"
	}
	return ""
}

// readingOf returns what a sensor reads, as one of several.
func (b *Bench) readingOf(s *sensor, now time.Time) air.Reading {
	a := s.accuracy(b.state, now)
	return air.Reading{State: s.air, AccuracyC: a.TemperatureAccuracyC, AccuracyPct: a.HumidityAccuracyPct}
}

// speakers are the sensors that speak for a zone, in the order of the configuration: those that are
// fresh, in service, trusted and agree. Where none is trusted, the first that is fresh speaks; where
// none is fresh, the one that was read last; none before the first reading.
func (b *Bench) speakers(z *zone, now time.Time) []*sensor {
	var trusted []*sensor
	var readings []air.Reading
	for _, s := range z.sensors {
		if !s.last.IsZero() && !inMaintenance(b.state, s.ID) && now.Sub(s.last) <= s.fresh() && b.trusted(s) {
			trusted, readings = append(trusted, s), append(readings, b.readingOf(s, now))
		}
	}
	switch len(trusted) {
	case 0:
		if s := b.primary(z, now); s != nil {
			return []*sensor{s}
		}
		return nil
	case 1:
		return trusted
	}
	speak := air.Agreeing(readings)
	var agree []*sensor
	for i, s := range trusted {
		if speak[i] {
			agree = append(agree, s)
		}
	}
	return agree
}

// together returns the air that sensors read together. There must be at least one.
func (b *Bench) together(sensors []*sensor, now time.Time) air.Reading {
	readings := make([]air.Reading, 0, len(sensors))
	for _, s := range sensors {
		readings = append(readings, b.readingOf(s, now))
	}
	return air.Mean(readings)
}

// zoneAccuracy returns the accuracy of the zone's air, of the sensors that spoke for it last; before the first
// reading of this run, that of its first sensor.
func (b *Bench) zoneAccuracy(z *zone, now time.Time) cure.Sensor {
	speak := z.speak
	if len(speak) == 0 {
		speak = z.sensors[:min(len(z.sensors), 1)]
	}
	switch len(speak) {
	case 0:
		return cure.Sensor{}
	case 1:
		return speak[0].accuracy(b.state, now)
	}
	mean := b.together(speak, now)
	a := cure.Sensor{TemperatureAccuracyC: mean.AccuracyC, HumidityAccuracyPct: mean.AccuracyPct}
	for _, s := range speak {
		a.OverdueMonths = max(a.OverdueMonths, s.accuracy(b.state, now).OverdueMonths)
	}
	return a
}

// leftOut names the sensors of a zone that do not speak for it while another one does, and why.
func (b *Bench) leftOut(z *zone, now time.Time) (left []view.LeftOut) {
	if len(z.speak) == 0 || len(z.sensors) < 2 {
		return nil
	}
	for _, s := range z.sensors {
		if slices.Contains(z.speak, s) {
			continue
		}
		why := b.distrust(s)
		switch {
		case inMaintenance(b.state, s.ID):
			why = "out-of-service"
		case s.last.IsZero():
			why = "waiting"
		case why == "" && now.Sub(s.last) > s.fresh():
			why = "stale"
		case why == "":
			why = "differs"
		}
		left = append(left, view.LeftOut{Sensor: s.ID, Why: why})
	}
	return left
}

// names returns the ids of sensors.
func names(sensors []*sensor) []string {
	ids := make([]string, 0, len(sensors))
	for _, s := range sensors {
		ids = append(ids, s.ID)
	}
	return ids
}
