package bench

import (
	"strings"
	"time"

	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/model/air"
	"potlifed/model/cure"
)

// averageMonth is a twelfth of 365.2425 days.
const averageMonth = time.Duration(365.2425 * 24 / 12 * float64(time.Hour))

// lastCheck is when a sensor's humidity was checked last, and when the next check is due.
// Both are zero for a sensor that is never due and was never checked.
func (b *Bench) lastCheck(state record.State, s *sensor) (last, due time.Time) {
	last = s.Checked
	if recorded, ok := state.Verified[s.ID]; ok && recorded.After(last) {
		last = recorded
	}
	if s.CheckEvery > 0 {
		due = last.Add(s.CheckEvery)
	}
	return last, due
}

// overdue is by how long a sensor's check is late. A clock that is behind makes it look
// less late, never more.
func (b *Bench) overdue(s *sensor, now time.Time) time.Duration {
	_, due := b.lastCheck(b.state, s)
	if due.IsZero() {
		return 0
	}
	return max(now.Sub(due), 0)
}

// accuracy is what is known about what a sensor reads, now.
func (b *Bench) accuracy(s *sensor, now time.Time) cure.Sensor {
	a := s.Accuracy
	a.OverdueMonths = float64(b.overdue(s, now)) / float64(averageMonth)
	return a
}

func (b *Bench) verify(now time.Time, by string, c request.VerifySensor) (any, error) {
	s, known := b.sensors[c.Sensor]
	if !known {
		return nil, request.Refuse(404, "no such sensor", "there is no sensor %q in the configuration", c.Sensor)
	}
	reference := air.State{TemperatureC: s.air.TemperatureC}
	if c.TemperatureC != nil {
		reference.TemperatureC = *c.TemperatureC
	}
	if c.HumidityPct == nil {
		return nil, request.Refuse(422, "humidity_pct", "humidity_pct is wanted: what the reference says, in %% RH")
	}
	reference.HumidityPct = *c.HumidityPct
	if err := reference.Valid(); err != nil {
		return nil, request.Refuse(422, "the reference", "%v", err)
	}
	e := record.SensorVerified{Sensor: s.ID, HumidityPct: *c.HumidityPct, TemperatureC: c.TemperatureC, Note: strings.TrimSpace(c.Note)}
	if !s.last.IsZero() && now.Sub(s.last) <= fresh(s) {
		read := s.air
		e.Read = &read
	}
	b.decide(now, by, e)
	return b.deviceView(now, s.ID), nil
}
