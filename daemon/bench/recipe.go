package bench

import (
	"math"

	"potlifed/daemon/request"
	"potlifed/daemon/view"
	"potlifed/model/mix"
	"potlifed/model/weigh"
)

// Recipe is what a mix would come to that somebody is about to ask for: its targets,
// why they are so, how well the scale knows them, and how long the mix would live if it began
// now. It changes nothing, and looks at nothing but the configuration and the newest
// snapshot, so that it may be called from any goroutine.
func (b *Bench) Recipe(c request.StartMix) (view.Recipe, error) {
	shop := b.offered.Load()
	scale, err := shop.scaleNamed(c.Scale)
	if err != nil {
		return view.Recipe{}, err
	}
	ink, err := shop.inkNamed(c.Ink)
	if err != nil {
		return view.Recipe{}, err
	}
	cup, err := shop.cupFor(c.Press, c.Cup)
	if err != nil {
		return view.Recipe{}, err
	}
	r, err := recipeFor(ink, cup, scale, c)
	if err != nil {
		return view.Recipe{}, err
	}
	start, err := thinnerStart(ink.ThinnerPct, colourClass(c), artwork(c))
	if err != nil {
		return view.Recipe{}, err
	}
	targets := mix.Targets(r.InkTargetG, r.Ratio, r.ThinnerPct)
	w := mix.Weighing{ReadingUncertaintyG: weigh.StandardUncertainty(scale.DivisionG)}
	u := w.Uncertainty(targets)
	out := view.Recipe{
		Ink: ink.ID, Scale: scale.ID, Cup: cup.ID, Press: c.Press,
		TargetsG: view.Targets{Ink: targets.InkG, Hardener: targets.HardenerG, Thinner: targets.ThinnerG}, TotalG: targets.TotalG(),
		InkMinimumG: cup.InkMinimumG, ThinnerPct: r.ThinnerPct, ThinnerStartPct: start,
		ThinnerMinPct: r.ThinnerMinPct, ThinnerMaxPct: r.ThinnerMaxPct,
		Why:       why(b.shop.locale, ink, cup, r, c),
		DivisionG: scale.DivisionG, Grade: string(w.Grade(targets, r.TolerancePct)), TolerancePct: r.TolerancePct,
		RatioPct: u.RatioPct, ThinnerPctPoints: u.ThinnerPctPoints,
		SmallestInkG: math.Ceil(w.SmallestUsableInk(r.Ratio, r.TolerancePct)),
	}
	b.addNewLife(&out, c, scale.Zone, ink, cup, w)
	return out.Rounded(), nil
}
