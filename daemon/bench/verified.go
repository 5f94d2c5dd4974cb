package bench

import (
	"fmt"
	"math"
	"strings"
	"time"

	"potlifed/daemon/actor"
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

// checkAllowancePct is added to a sensor's accuracy when a check is judged, in % RH: the
// reference and the reading of it are off by something too. An assumption: salt points
// are known to some 0.5 % RH, and good meters to about 1 %.
const checkAllowancePct = 1

// failedCheck says why a sensor's last check did not pass, empty when it did. A check
// that the configuration dates later counts as passed: somebody entered it.
func (b *Bench) failedCheck(state record.State, s *sensor) string {
	f, failed := state.FailedChecks[s.ID]
	if !failed || s.Checked.After(f.At) {
		return ""
	}
	return fmt.Sprintf("the check of %s on %s failed: it read %.1f %% RH, the reference %.1f %% RH; ±%.1f %% RH is allowed",
		s.ID, f.At.Local().Format(time.DateOnly), f.ReadPct, f.ReferencePct, f.AllowedPct)
}

// accuracy is what is known about what a sensor reads, now. One whose check failed may be
// off by as much as was found.
func (b *Bench) accuracy(s *sensor, now time.Time) cure.Sensor {
	a := s.Accuracy
	if b.failedCheck(b.state, s) != "" {
		f := b.state.FailedChecks[s.ID]
		a.HumidityAccuracyPct = max(a.HumidityAccuracyPct, math.Abs(f.ReadPct-f.ReferencePct))
	}
	a.OverdueMonths = float64(b.overdue(s, now)) / float64(averageMonth)
	return a
}

func (b *Bench) verify(now time.Time, by actor.Name, c request.VerifySensor) (any, error) {
	s, known := b.sensors[c.Sensor]
	if !known {
		return nil, request.Refuse(request.NotFound, "no such sensor", "there is no sensor %q in the configuration", c.Sensor)
	}
	reference := air.State{TemperatureC: s.air.TemperatureC}
	if c.TemperatureC != nil {
		reference.TemperatureC = *c.TemperatureC
	}
	if c.HumidityPct == nil {
		return nil, request.Refuse(request.Invalid, "humidity_pct", "humidity_pct is wanted: what the reference says, in %% RH")
	}
	reference.HumidityPct = *c.HumidityPct
	if err := reference.Valid(); err != nil {
		return nil, request.Refuse(request.Invalid, "the reference", "%v", err)
	}
	if s.last.IsZero() || now.Sub(s.last) > s.fresh() {
		return nil, request.Refuse(request.NotNow, "no reading to check", "%s has given no reading just now, so that there is nothing to compare with the reference; wait for one, then record the check again", s.ID)
	}
	read := s.air
	e := record.SensorVerified{
		Sensor: s.ID, HumidityPct: *c.HumidityPct, TemperatureC: c.TemperatureC, Note: strings.TrimSpace(c.Note),
		Read: &read, AllowedPct: s.Accuracy.HumidityAccuracyPct + checkAllowancePct,
	}
	e.Failed = math.Abs(read.HumidityPct-e.HumidityPct) > e.AllowedPct
	b.decide(now, by, e)
	return b.deviceView(now, s.ID), nil
}
