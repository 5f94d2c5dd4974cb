package bench

import (
	"strings"
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
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
