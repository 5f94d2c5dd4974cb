package view

import (
	"math"

	"potlifed/daemon/precision"
	"potlifed/model/guide"
	"potlifed/model/mix"
)

// RatioOf returns how well the ratio of a mix is known; nil until ink and hardener are in,
// and where so little was recorded that no figure comes of it.
func RatioOf(m guide.Mix) *Ratio {
	poured := m.Poured()
	if poured.InkG <= 0 || poured.HardenerG <= 0 {
		return nil
	}
	v := Ratio{
		InkPerHardener: poured.InkG / poured.HardenerG, OffPct: 100 * mix.Deviation(poured, m.Recipe.Ratio),
		UncertaintyPct: 2 * 100 * m.RatioUncertainty(), TolerancePct: m.Recipe.TolerancePct,
	}
	for _, x := range []float64{v.InkPerHardener, v.OffPct, v.UncertaintyPct} {
		if math.IsInf(x, 0) || math.IsNaN(x) {
			return nil
		}
	}
	return &v
}

// rounded returns the ratio with its figures rounded to what is known of them.
func (r *Ratio) rounded() *Ratio {
	if r == nil {
		return nil
	}
	return &Ratio{
		InkPerHardener: precision.Share(r.InkPerHardener), OffPct: precision.Percent(r.OffPct), UncertaintyPct: precision.Percent(r.UncertaintyPct),
		TolerancePct: precision.Percent(r.TolerancePct),
	}
}

// MixOf returns the targets of a mix and how its ratio was hit, with figures as they are published.
// divisionG is the division in g of its scale, 0 for a mix that was not weighed.
func MixOf(m guide.Mix, divisionG float64) (Targets, *Ratio) {
	t := m.Targets()
	return Targets{Ink: t.InkG, Hardener: t.HardenerG, Thinner: t.ThinnerG}.rounded(byDivision(divisionG)), RatioOf(m).rounded()
}
