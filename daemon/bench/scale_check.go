package bench

import (
	"math"
	"time"

	"potlifed/daemon/record"
	"potlifed/daemon/view"
	"potlifed/model/guide"
	"potlifed/model/verify"
)

// lastCheck is when a scale was checked with weights last without failing, and when the next check
// is due. Both are zero for a scale that is never due and was never checked.
func (s *scale) lastCheck(state record.State) (last, due time.Time) {
	last = s.Checked
	if passed := state.ScaleChecks[s.ID].Passed; passed.After(last) {
		last = passed
	}
	return dueAfter(last, state.Replaced[s.ID], s.CheckEvery)
}

// failedCheck says why a scale's last check did not pass, empty when it did.
func (s *scale) failedCheck(state record.State) string {
	c, known := state.ScaleChecks[s.ID]
	if !known || !c.Failed() || s.Checked.After(c.At) {
		return ""
	}
	for _, l := range c.Result.Loads {
		if l.Verdict == verify.Failed {
			return s.words.Say("alarm-text.scale-check-failed", "scale", s.ID, "day", s.words.Day(c.At), "load", s.words.Grams(l.LoadG),
				"error", s.words.Grams(l.ErrorG), "spread", s.words.Grams(l.SpreadG), "limit", s.words.Grams(l.InServiceG))
		}
	}
	return ""
}

// errorG is how far a scale was found off at most in its last check, in g, where it failed; else 0.
func (s *scale) errorG(state record.State) float64 {
	if s.failedCheck(state) == "" {
		return 0
	}
	worst := 0.0
	for _, l := range state.ScaleChecks[s.ID].Result.Loads {
		worst = max(worst, l.ErrorG, -l.ErrorG, l.SpreadG)
	}
	return worst
}

// weighingU returns the relative uncertainty of a mix's ratio that comes from the scale. One whose
// check failed may be off by as much as was found, which counts most for the hardener.
func (s *scale) weighingU(state record.State, m guide.Mix) float64 {
	u, hardenerG := m.RatioUncertainty(), m.Targets().HardenerG
	if hardenerG <= 0 {
		return u
	}
	return math.Hypot(u, s.errorG(state)/math.Sqrt(3)/hardenerG)
}

// addCheck adds what is known of a scale's check to its row.
func (s *scale) addCheck(state record.State, v *view.Sensor) {
	last, due := s.lastCheck(state)
	v.Checked, v.CheckDue, v.CheckFailed = some(last), some(due), s.failedCheck(state)
	v.Replaced = some(state.Replaced[s.ID])
	v.MovedFrom = state.Moved[record.ScaleKey(s.ID)].Was
	v.Device, v.DeviceBefore = state.Names[record.ScaleKey(s.ID)], state.Renamed[record.ScaleKey(s.ID)].Was
	v.Health, v.PanDays = s.healthView(), state.ScaleDays[s.ID]
	if c, known := state.ScaleChecks[s.ID]; known {
		v.ScaleCheck = &view.ScaleCheck{At: c.At, By: c.By, Class: c.Class, WeightClass: c.WeightClass, Note: c.Note, ScaleResult: c.Result}
	}
}
