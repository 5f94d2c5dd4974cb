package record

import (
	"maps"
	"time"

	"potlifed/daemon/actor"
	"potlifed/model/verify"
)

// KindScaleVerified is the kind of [ScaleVerified].
const KindScaleVerified Kind = "scale-verified"

// ScaleVerified records a check of a scale with weights.
type ScaleVerified struct {
	Scale       string             `json:"scale" doc:"id of the scale"`
	Class       verify.ScaleClass  `json:"class" doc:"accuracy class of the scale by OIML R 76: I, II, III or IIII"`
	IntervalG   float64            `json:"interval_g" doc:"verification scale interval e in g"`
	CapacityG   float64            `json:"capacity_g" doc:"maximum capacity in g"`
	WeightClass verify.WeightClass `json:"weight_class" doc:"class of the weights by OIML R 111"`
	Readings    [][]float64        `json:"readings_g" doc:"readings of each load in g"`
	Result      verify.ScaleResult `json:"result" doc:"what the loads showed"`
	Note        string             `json:"note,omitempty" doc:"the weights' certificate, or anything worth keeping"`
}

// ScaleCheck is the newest check of a scale. Passed is when the newest one was that did not fail,
// zero for none. It is kept apart from the checks of sensors, as a scale may have a sensor's id.
type ScaleCheck struct {
	Passed time.Time          `json:"passed,omitzero"`
	At     time.Time          `json:"at"`
	By     actor.Name         `json:"by"`
	Class  verify.ScaleClass  `json:"class"`
	Result verify.ScaleResult `json:"result"`
	// WeightClass and Note are empty in checkpoints of older versions.
	WeightClass verify.WeightClass `json:"weight_class,omitempty"`
	Note        string             `json:"note,omitempty"`
}

// Failed reports whether the scale was beyond the limits in service.
func (c ScaleCheck) Failed() bool { return c.Result.Verdict == verify.Failed }

func (ScaleVerified) Kind() Kind    { return KindScaleVerified }
func (ScaleVerified) About() string { return "" }

func (e ScaleVerified) apply(s *State, r Record) {
	s.ScaleChecks = maps.Clone(s.ScaleChecks)
	if s.ScaleChecks == nil {
		s.ScaleChecks = map[string]ScaleCheck{}
	}
	c := ScaleCheck{Passed: s.ScaleChecks[e.Scale].Passed, At: r.Stamp.At, By: r.By, Class: e.Class, Result: e.Result, WeightClass: e.WeightClass, Note: e.Note}
	if !c.Failed() {
		c.Passed = c.At
	}
	s.ScaleChecks[e.Scale] = c
}
