package bench

import (
	"fmt"
	"math"

	"potlifed/daemon/config"
	"potlifed/daemon/request"
	"potlifed/daemon/view"
	"potlifed/model/guide"
	"potlifed/model/mix"
	"potlifed/model/weigh"
)

// Recipe is what a mix would come to that somebody is about to ask for: its targets,
// why they are so, how well the scale knows them, and how long the mix would live if it began
// now. It changes nothing, and looks at nothing but the configuration and the newest
// snapshot, so that it may be called from any goroutine.
func (b *Bench) Recipe(c request.StartMix) (view.Recipe, error) {
	scale, err := b.scaleFor(c.Scale)
	if err != nil {
		return view.Recipe{}, err
	}
	ink, err := b.shop.inkNamed(c.Ink)
	if err != nil {
		return view.Recipe{}, err
	}
	cup, err := b.shop.cupFor(c.Press, c.Cup)
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
		Why:       why(ink, cup, r, c),
		DivisionG: scale.DivisionG, Grade: string(w.Grade(targets, r.TolerancePct)), TolerancePct: r.TolerancePct,
		RatioPct: u.RatioPct, ThinnerPctPoints: u.ThinnerPctPoints,
		SmallestInkG: math.Ceil(w.SmallestUsableInk(r.Ratio, r.TolerancePct)),
	}
	b.addNewLife(&out, c, scale.Zone, ink, cup, w)
	return out.Rounded(), nil
}

// why says where the figures of a recipe come from.
func why(ink config.Ink, cup config.Cup, r guide.Recipe, c request.StartMix) []string {
	var out []string
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	switch {
	case c.InkG == nil:
		say("%v g of ink is the least for %s.", r.InkTargetG, cup.ID)
	case *c.InkG < cup.InkMinimumG:
		say("%v g of ink is what you ask for; %s needs %v g.", r.InkTargetG, cup.ID, cup.InkMinimumG)
	default:
		say("%v g of ink is what you ask for; the least for %s is %v g.", r.InkTargetG, cup.ID, cup.InkMinimumG)
	}
	say("Hardener goes in at %v:1 by weight, by the ink that is really in the cup.", float64(r.Ratio))
	t := ink.ThinnerPct
	switch {
	case t.Max <= 0:
		say("%s takes no thinner.", ink.ID)
	case c.ThinnerPct != nil:
		say("%v %% of thinner is what you ask for; %s takes %v to %v %%.", r.ThinnerPct, ink.ID, t.Min, t.Max)
	default:
		say("%v %% of thinner to start with, %s; %s takes %v to %v %%.", r.ThinnerPct, startWhy(t, c), ink.ID, t.Min, t.Max)
	}
	return out
}

// startWhy is the reason of thinnerStart.
func startWhy(t config.ThinnerPct, c request.StartMix) string {
	colours := map[string]string{"dark": "dark colours", "light": "light colours", "heavy-light": "heavy light colours"}[colourClass(c)]
	from := t.Dark
	if colourClass(c) != "dark" {
		from = t.Light
	}
	switch artwork(c) {
	case "large-solid":
		return "the least, since large solids want a thick ink"
	case "fine-detail":
		return fmt.Sprintf("half the way from %v %%, where %s start, to the most, since fine detail wants a thin ink", from, colours)
	}
	return "where " + colours + " start"
}
