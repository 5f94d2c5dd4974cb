package bench

import (
	"math"
	"strings"
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/daemon/view"
	"potlifed/model/guide"
	"potlifed/model/verify"
)

// verifyScale records a check of a scale with weights, and judges it.
func (b *Bench) verifyScale(now time.Time, by actor.Name, c request.VerifyScale) (any, error) {
	s, known := b.scales[c.Scale]
	if !known {
		return nil, request.Refuse(request.NotFound, "no such scale", "there is no scale %q in the configuration", c.Scale)
	}
	marked := verify.Scale{Class: verify.ScaleClass(c.Class), EG: s.DivisionG, DG: s.DivisionG, MaxG: s.CapacityG}
	if c.IntervalG != nil {
		marked.EG = *c.IntervalG
	}
	if c.CapacityG != nil {
		marked.MaxG = *c.CapacityG
	}
	if marked.Class == "" {
		marked.Class, _ = verify.UsualClass(marked.EG, marked.MaxG)
	}
	e := record.ScaleVerified{
		Scale: s.ID, Class: marked.Class, IntervalG: marked.EG, CapacityG: marked.MaxG, WeightClass: verify.WeightClass(c.WeightClass),
		Readings: [][]float64{}, Note: strings.TrimSpace(c.Note),
	}
	var loads []verify.Load
	for _, l := range c.Loads {
		loads = append(loads, verify.Load{WeightsG: l.WeightsG, Class: e.WeightClass, ReadingsG: l.ReadingsG})
		e.Readings = append(e.Readings, l.ReadingsG)
	}
	var err error
	if e.Result, err = marked.Judge(loads); err != nil {
		return nil, request.Refuse(request.Invalid, "the check", "%v", err).Saying("scale-check", "why", err.Error())
	}
	b.decide(now, by, e)
	return b.scaleRow(b.state, s, now), nil
}

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
