package record

import (
	"potlifed/model/cure"
	"potlifed/model/evaporate"
	"potlifed/model/lifecycle"
	"potlifed/model/mix"
)

// KindReweighed is the kind of [Reweighed].
const KindReweighed Kind = "reweighed"

// Solvent holds the parameters of the loss of thinner from an open cup. They are fixed when
// the batch begins.
type Solvent struct {
	ID      string            `json:"id,omitempty" doc:"id of the thinner"`
	Thinner evaporate.Thinner `json:"thinner" doc:"properties of the thinner"`
	MouthMM float64           `json:"mouth_mm" doc:"inner diameter of the cup in mm"`
}

// Reweighed records the weight of a cup in use, and how much evaporated by that weight.
type Reweighed struct {
	Batch        string  `json:"batch" doc:"id of the batch"`
	ContentG     float64 `json:"content_g" doc:"mass of the content in g"`
	TakenG       float64 `json:"taken_g" doc:"mass printed since the last weighing, in g"`
	LossG        float64 `json:"loss_g" doc:"mass evaporated since the last weighing, in g"`
	UncertaintyG float64 `json:"uncertainty_g" doc:"standard uncertainty of the loss in g, from the scale's division"`
}

func (Reweighed) Kind() Kind      { return KindReweighed }
func (e Reweighed) About() string { return e.Batch }

func (e Reweighed) apply(s *State, _ Record) {
	s.change(e.Batch, func(b *Batch) {
		if b.Solvent == nil {
			return
		}
		c := b.Solvent.Weighed(e.LossG).Printed(e.TakenG)
		b.Solvent = &c
	})
}

// openAccount opens the account of a batch's thinner once the batch is mixed.
func (b *Batch) openAccount() {
	if b.Solvent != nil || b.Phase == lifecycle.Mixing {
		return
	}
	a := b.Amounts()
	if c, err := evaporate.NewCup(a.CatalysedG(), a.ThinnerG); err == nil {
		b.Solvent = &c
	}
}

// evaporate takes the thinner that is lost over a step of air from the account.
func (b *Batch) evaporate(step cure.Step) {
	if b.Solvent == nil || b.Basis.Solvent.Thinner.Valid() != nil {
		return
	}
	o := evaporate.Opening{MouthMM: b.Basis.Solvent.MouthMM, Exposure: b.Basis.Place.Exposure}
	if o.Valid() != nil {
		return
	}
	c := b.Solvent.Stood(b.Basis.Solvent.Thinner, o, evaporate.Stretch{
		Duration: step.Duration, FromC: step.From.TemperatureC, ToC: step.To.TemperatureC,
	})
	b.Solvent = &c
}

// share returns the account of a share f of a cup.
func share(c *evaporate.Cup, f float64) *evaporate.Cup {
	if c == nil {
		return nil
	}
	part := *c
	part.CatalysedG, part.PouredG = f*c.CatalysedG, f*c.PouredG
	part.WeighedLossG, part.EstimatedLossG = f*c.WeighedLossG, f*c.EstimatedLossG
	return &part
}

// joined returns the account of two cups poured together.
func joined(a, b *evaporate.Cup) *evaporate.Cup {
	if a == nil || b == nil {
		return nil
	}
	sum := evaporate.Cup{
		CatalysedG: a.CatalysedG + b.CatalysedG, PouredG: a.PouredG + b.PouredG,
		WeighedLossG: a.WeighedLossG + b.WeighedLossG, EstimatedLossG: a.EstimatedLossG + b.EstimatedLossG,
	}
	sum.AimPct = (a.AimPct*a.CatalysedG + b.AimPct*b.CatalysedG) / sum.CatalysedG
	return &sum
}

// pipetteG is what a bench pipette holds (common practice, no source).
const pipetteG = 2

// ThinnerAdvice returns how much thinner may be added to a batch in use. The second result
// is false when the batch has no account of its thinner.
func (b *Batch) ThinnerAdvice() (evaporate.TopUp, bool) {
	if b.Solvent == nil || b.Mix.Recipe.ThinnerMaxPct <= 0 {
		return evaporate.TopUp{}, false
	}
	return b.Solvent.Advise(b.Mix.Recipe.ThinnerMaxPct, pipetteG), true
}

// ThinnerPctWith returns the thinner in % of ink and hardener after grams more were added.
// It leaves out thinner that was lost by a weighing. It still counts thinner that is only
// estimated to be lost.
func (b *Batch) ThinnerPctWith(grams float64) float64 {
	a := b.Amounts()
	if b.Solvent != nil {
		a = mix.Amounts{InkG: b.Solvent.CatalysedG, ThinnerG: b.Solvent.PouredG - b.Solvent.WeighedLossG}
	}
	return a.Plus(mix.Thinner, grams).ThinnerPct()
}
