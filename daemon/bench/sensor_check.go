package bench

import (
	"math"
	"time"

	"potlifed/daemon/record"
	"potlifed/daemon/view"
	"potlifed/model/cure"
	"potlifed/model/verify"
)

// averageMonth is a twelfth of 365.2425 days.
const averageMonth = time.Duration(365.2425 * 24 / 12 * float64(time.Hour))

// lastCheck is when a sensor's humidity was checked last, and when the next check is due.
// Both are zero for a sensor that is never due and was never checked.
func (s *sensor) lastCheck(state record.State) (last, due time.Time) {
	last = s.Checked
	if recorded, ok := state.Verified[s.ID]; ok && recorded.After(last) {
		last = recorded
	}
	return dueAfter(last, state.Replaced[s.ID], s.CheckEvery)
}

// dueAfter returns when an instrument was checked last, zero for never, and when the next check is
// due, zero for never. A new instrument was checked by its maker.
func dueAfter(checked, replaced time.Time, every time.Duration) (last, due time.Time) {
	from := checked
	if replaced.After(checked) {
		checked, from = time.Time{}, replaced
	}
	if every > 0 && !from.IsZero() {
		due = from.Add(every)
	}
	return checked, due
}

// overdue is by how long a sensor's check is late. A clock that is behind makes it look
// less late, never more.
func (s *sensor) overdue(state record.State, now time.Time) time.Duration {
	_, due := s.lastCheck(state)
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
func (s *sensor) failedCheck(state record.State) string {
	f, failed := state.FailedChecks[s.ID]
	if !failed || s.Checked.After(f.At) {
		return ""
	}
	return s.words.Say("alarm-text.check-failed", "sensor", s.ID, "day", s.words.Day(f.At),
		"read", s.words.Percent(f.ReadPct, 1), "reference", s.words.Percent(f.ReferencePct, 1), "allowed", s.words.Percent(f.AllowedPct, 1))
}

// accuracy is what is known about what a sensor reads, now. One whose check failed may be
// off by as much as was found.
func (s *sensor) accuracy(state record.State, now time.Time) cure.Sensor {
	a := s.Accuracy
	if c, ok := state.Corrections[s.ID]; ok {
		a.HumidityAccuracyPct = max(a.HumidityAccuracyPct, math.Sqrt(3)*c.StandardPct(s.raw.HumidityPct))
	}
	if s.failedCheck(state) != "" {
		f := state.FailedChecks[s.ID]
		a.HumidityAccuracyPct = max(a.HumidityAccuracyPct, math.Abs(f.ReadPct-f.ReferencePct))
	}
	a.OverdueMonths = float64(s.overdue(state, now)) / float64(averageMonth)
	return a
}

// correctionView returns a correction as it is shown; nil for none.
func correctionView(c verify.LinearCorrection, rawPct float64) *view.SensorCorrection {
	return &view.SensorCorrection{
		OffsetPct: c.OffsetPct, Gain: c.Gain, UncertaintyPct: 2 * c.StandardPct(rawPct), ChangesPct: c.Apply(rawPct) - rawPct,
	}
}

// addCheck adds what is known of a sensor's check to its row.
func (s *sensor) addCheck(state record.State, v *view.Sensor) {
	check := state.Checks[s.ID]
	for _, p := range check.Points {
		v.CheckPoints = append(v.CheckPoints, view.SensorCheckPoint{
			At: p.At, Salt: p.Salt, ReadPct: p.ReadPct, ReferencePct: p.ReferencePct, OffPct: p.ReadPct - p.ReferencePct,
			UncertaintyPct: 2 * p.StandardPct, AllowedPct: p.AllowedPct, Passed: !p.Failed,
			By: p.By, Note: p.Note, Override: p.Override,
		})
	}
	v.CheckFinding = string(check.Finding)
	if check.Offer != nil {
		v.CorrectionOffered = correctionView(*check.Offer, s.raw.HumidityPct)
	}
	if c, ok := state.Corrections[s.ID]; ok {
		v.Correction = correctionView(c.LinearCorrection, s.raw.HumidityPct)
		v.Correction.At, v.Correction.By = &c.At, c.By
	}
	v.Replaced = some(state.Replaced[s.ID])
	v.MovedFrom = state.Moved[record.SensorKey(s.ID)].Was
	v.Device, v.DeviceBefore = state.Names[record.SensorKey(s.ID)], state.Renamed[record.SensorKey(s.ID)].Was
	v.Health, v.Days = s.healthView(state), state.SensorDays[s.ID]
}
