package bench

import (
	"math"
	"slices"
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/model/flowcup"
	"potlifed/model/viscosity"
)

const (
	// unmeasuredK is the standard deviation in K of an ink's temperature that was not measured. An
	// assumption.
	unmeasuredK = 2.0
	// The standard deviations of the change of a cup's thinner in percent points: that of weighing and
	// mixing, as a share of a loss that was only estimated, and where nothing is known of the loss.
	// Assumptions.
	thinnerWeighedPct = 0.3
	thinnerOfEstimate = 0.5
	thinnerUnknownPct = 2.0
)

// flowTime takes a flow time as a sign of the batch's age.
func (b *Bench) flowTime(now time.Time, by actor.Name, c request.FlowTimeBatch) (any, error) {
	batch, err := b.finished(c.Batch)
	if err != nil {
		return nil, err
	}
	if c.Corrects != 0 && !slices.ContainsFunc(batch.Flows, func(f record.Flow) bool { return f.Seq == c.Corrects }) {
		return nil, request.Refuse(request.NotFound, "no such flow time", "batch %s has no flow time with the number %d that counts", batch.ID, c.Corrects)
	}
	b.closeAir(batch.Zone, now)
	batch = b.state.Batches[batch.ID]
	e := record.FlowTimed{Batch: batch.ID, Cup: c.Cup, RunsS: []float64{c.Seconds}, InkTemperatureC: c.InkTemperatureC, Corrects: c.Corrects, Curve: viscosity.Learn(b.state.FlowSeries[batch.Ink])}
	if c.SecondRunS != nil {
		e.RunsS = append(e.RunsS, *c.SecondRunS)
	}
	if e.Sample, e.ViscosityMM2PerS, err = sampleOf(flowcup.Cup(c.Cup), e.RunsS); err != nil {
		refusal := request.Refuse(request.Invalid, "flow time", "%v", err)
		if least, most, known := flowcup.Cup(c.Cup).Range(); known {
			refusal = refusal.Saying("flow-time-range", "least", least, "most", most)
		}
		return nil, refusal
	}
	e.Sample.Cup = c.Cup
	e.Sample.TemperatureC = batch.Ensemble.CupTemperatureC()
	if c.InkTemperatureC != nil {
		e.Sample.TemperatureC = *c.InkTemperatureC
	} else {
		e.Sample.CommonSpread = math.Hypot(e.Sample.CommonSpread, e.Curve.PerKelvin*unmeasuredK)
	}
	e.Sample.ThinnerPct, e.Sample.ThinnerSd = thinnerChange(batch)
	b.decide(now, by, e)
	return b.viewOf(batch.ID, now)
}

// sampleOf returns what runs of a flow cup say of the viscosity, without temperature and thinner, and the
// viscosity of their mean in mm²/s. The error is that of a run for which the cup is not made.
func sampleOf(cup flowcup.Cup, runsS []float64) (viscosity.Sample, float64, error) {
	var s viscosity.Sample
	sum := 0.0
	for _, run := range runsS {
		v, err := cup.ViscosityMM2PerS(run)
		if err != nil {
			return s, 0, err
		}
		steepness, err := cup.Sensitivity(run)
		if err != nil {
			return s, 0, err
		}
		s.LnRuns = append(s.LnRuns, math.Log(v))
		s.RunSpread = max(s.RunSpread, viscosity.RunSpreadOfTime*steepness)
		s.CommonSpread = max(s.CommonSpread, viscosity.CommonSpreadOfTime*steepness)
		sum += v
	}
	return s, sum / float64(len(runsS)), nil
}

// thinnerChange returns how the share of thinner in the cup has changed since it was mixed, in percent points of
// ink and hardener, and how surely.
func thinnerChange(batch *record.Batch) (pct, spread float64) {
	cup := batch.Solvent
	if cup == nil || !(cup.CatalysedG > 0) {
		return 0, thinnerUnknownPct
	}
	spread = math.Hypot(thinnerWeighedPct, thinnerOfEstimate*100*cup.EstimatedLossG/cup.CatalysedG)
	if batch.Basis.Solvent.Thinner.Valid() != nil && cup.PouredG > 0 && cup.WeighedLossG == 0 {
		spread = thinnerUnknownPct // nothing is known of how fast it evaporates
	}
	return cup.ThinnerPct() - cup.AimPct, spread
}
