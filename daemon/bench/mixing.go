package bench

import (
	"cmp"
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/config"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/model/guide"
	"potlifed/model/health"
	"potlifed/model/lifecycle"
	"potlifed/model/mix"
)

func (b *Bench) startMix(now time.Time, by actor.Name, c request.StartMix) (any, error) {
	scale, err := b.scaleFor(c.Scale)
	if err != nil {
		return nil, err
	}
	if other := weighing(b.state, scale.ID); other != nil {
		g, settled := scale.tracker.Settled()
		if other.Mix.Step.Swaps() || other.Mix.Weighs(g, settled) {
			return nil, request.Refuse(request.NotNow, "scale in use",
				"batch %s is being mixed on %s and waits for step %q; finish or abandon it first", other.ID, scale.ID, other.Mix.Step).Saying("scale-in-use", "batch", other.ID, "scale", scale.ID)
		}
	}
	ink, err := b.shop.inkNamed(c.Ink)
	if err != nil {
		return nil, err
	}
	cup, err := b.shop.cupFor(c.Press, c.Cup)
	if err != nil {
		return nil, err
	}
	recipe, err := recipeFor(ink, cup, scale.Scale, c)
	if err != nil {
		return nil, err
	}
	if known := b.state.CupEmptyG[cup.ID]; recipe.CupEmptyG == 0 {
		recipe.CupEmptyG = known
	}
	m, err := guide.Start(recipe)
	if err != nil {
		return nil, request.Refuse(request.Invalid, "recipe", "%v", err)
	}
	scale.forget()
	scale.cups.Known()
	day := b.shop.dayOfNumber(now)
	id := b.state.NextID(day)
	b.decide(now, by, record.MixStarted{
		Batch: id, Day: day, Ink: ink.ID, Scale: scale.ID, Zone: scale.Zone, Press: c.Press, Cup: cup.ID,
		Colour: colourClass(c), Art: artwork(c), Mix: m, Basis: b.basis(now, ink, cup, scale.Zone, mix.Targets(recipe.InkTargetG, recipe.Ratio, recipe.ThinnerPct).TotalG()),
		ThinnerReason: c.ThinnerReason,
	})
	return b.viewOf(id, now)
}

func colourClass(c request.StartMix) string {
	if c.ColourClass == "" {
		return "dark"
	}
	return c.ColourClass
}

func artwork(c request.StartMix) string {
	if c.Artwork == "" {
		return "normal"
	}
	return c.Artwork
}

// recipeFor is the recipe of a mix that somebody asks for.
func recipeFor(ink config.Ink, cup config.Cup, scale config.Scale, c request.StartMix) (guide.Recipe, error) {
	r := guide.Recipe{
		Ratio: ink.Ratio, TolerancePct: ink.RatioTolerancePct,
		InkTargetG: cup.InkMinimumG, InkMinimumG: cup.InkMinimumG,
		ThinnerMinPct: ink.ThinnerPct.Min, ThinnerMaxPct: ink.ThinnerPct.Max,
		Rest: ink.Rest, Stir: ink.Stir, CupMaximumG: cup.FillMaximumG, CupEmptyG: cup.EmptyG, DivisionG: scale.DivisionG,
	}
	var err error
	if r.ThinnerPct, err = thinnerStart(ink.ThinnerPct, colourClass(c), artwork(c)); err != nil {
		return r, err
	}
	if c.ThinnerPct != nil {
		if t := *c.ThinnerPct; !(t >= r.ThinnerMinPct && t <= r.ThinnerMaxPct) {
			return r, request.Refuse(request.Invalid, "thinner", "thinner_pct %v is outside the range of %s, %v to %v", t, ink.ID, r.ThinnerMinPct, r.ThinnerMaxPct).Saying("thinner-range", "thinner_pct", t, "ink", ink.ID, "least_pct", r.ThinnerMinPct, "most_pct", r.ThinnerMaxPct)
		}
		r.ThinnerPct = *c.ThinnerPct
	}
	if c.InkG != nil {
		if g := *c.InkG; !(g > 0 && g <= guide.MaximumG) {
			return r, request.Refuse(request.Invalid, "ink", "ink_g %v: want a mass above 0 g", g).Saying("ink-mass")
		}
		r.InkTargetG = *c.InkG
	}
	total := mix.Targets(r.InkTargetG, r.Ratio, r.ThinnerPct).TotalG()
	if r.CupMaximumG > 0 && total > r.CupMaximumG {
		return r, request.Refuse(request.Invalid, "cup too small", "%v g of ink make a mix of %.1f g; cup %s takes %v g", r.InkTargetG, total, cup.ID, r.CupMaximumG).Saying("cup-too-small", "ink_g", r.InkTargetG, "total_g", total, "cup", cup.ID, "cup_g", r.CupMaximumG)
	}
	if on := total + r.CupEmptyG; on > scale.CapacityG {
		return r, request.Refuse(request.Invalid, "scale too small", "mix and cup weigh %.0f g; %s carries %v g", on, scale.ID, scale.CapacityG).Saying("scale-too-small", "on_g", on, "scale", scale.ID, "capacity_g", scale.CapacityG)
	}
	return r, nil
}

// thinnerStart is the share of thinner to begin with. Dark colours start lower than
// heavy light ones; large solids take less and fine detail more (common practice, no
// source; how much less and more is an assumption: the range's lower end, and half
// the way to its upper end).
func thinnerStart(t config.ThinnerPct, colour, art string) (float64, error) {
	start := t.Dark
	switch colour {
	case "dark":
	case "light", "heavy-light":
		start = t.Light
	default:
		return 0, request.Refuse(request.Invalid, "colour class", "colour_class %q: want dark, light or heavy-light", colour)
	}
	switch art {
	case "normal":
	case "large-solid":
		start = t.Min
	case "fine-detail":
		start = (start + t.Max) / 2
	default:
		return 0, request.Refuse(request.Invalid, "artwork", "artwork %q: want fine-detail, normal or large-solid", art)
	}
	return min(max(start, t.Min), t.Max), nil
}

func (b *Bench) basis(now time.Time, ink config.Ink, cup config.Cup, zone string, grams float64) record.Basis {
	s := record.Basis{Life: lifeFor(b.state, ink).OfMass(grams), Place: benchPlace, Solvent: b.shop.solvent(ink, cup)}
	if z := b.zones[zone]; z != nil && len(z.sensors) > 0 {
		s.Sensor = b.zoneAccuracy(z, now)
	}
	return s
}

// oldestRecorded bounds how long ago a batch recorded by hand may have been mixed:
// no pot life is longer.
const oldestRecorded = 30 * 24 * time.Hour

func (b *Bench) recordMix(now time.Time, by actor.Name, c request.RecordMix) (any, error) {
	ink, err := b.shop.inkNamed(c.Ink)
	if err != nil {
		return nil, err
	}
	cup, err := b.shop.cupFor(c.Press, c.Cup)
	if err != nil {
		return nil, err
	}
	start, err := thinnerStart(ink.ThinnerPct, cmp.Or(c.Colour, "dark"), "normal")
	if err != nil {
		return nil, err
	}
	zone := c.Zone
	if zone == "" {
		zone = b.shop.Scales[0].Zone
	}
	if b.zones[zone] == nil {
		return nil, request.Refuse(request.Invalid, "no such zone", "there is no zone %q in the configuration", zone)
	}
	mixedAt := c.MixedAt.UTC()
	if age := now.Sub(mixedAt); age < -time.Second {
		return nil, request.Refuse(request.Invalid, "mixed in the future", "mixed_at %s is after now, %s", c.MixedAt.Format(time.RFC3339), now.Format(time.RFC3339)).Saying("mixed-in-future")
	} else if age > oldestRecorded {
		return nil, request.Refuse(request.Invalid, "mixed long ago", "mixed_at %s is more than 30 days ago", c.MixedAt.Format(time.RFC3339)).Saying("mixed-long-ago")
	} else if age < 0 { // two clocks that agree to a second
		mixedAt = now
	}
	parts, err := componentsOf(c.Components)
	if err != nil {
		return nil, err
	}
	recipe := guide.Recipe{
		Ratio: ink.Ratio, TolerancePct: ink.RatioTolerancePct, InkTargetG: parts.InkG,
		ThinnerPct: start, ThinnerMinPct: ink.ThinnerPct.Min, ThinnerMaxPct: ink.ThinnerPct.Max,
		Rest: ink.Rest, CupMaximumG: cup.FillMaximumG, DivisionG: b.shop.Scales[0].DivisionG,
	}
	m, err := guide.Recorded(recipe, parts, mixedAt, now)
	if err != nil {
		return nil, request.Refuse(request.Invalid, "components", "%v", err)
	}
	m, from, err := b.stock(b.state, now).recordedFrom(ink.ID, c.Components, m)
	if err != nil {
		return nil, err
	}
	basis := b.basis(now, ink, cup, zone, parts.TotalG())
	basis.WeighingU = m.RatioUncertainty()
	day := b.shop.dayOfNumber(now)
	id := b.state.NextID(day)
	b.closeAir(zone, now)
	b.decide(now, by, record.Recorded{
		Batch: id, Day: day, Ink: ink.ID, Zone: zone, Press: c.Press, Cup: cup.ID, Colour: c.Colour, MixedAt: mixedAt, Mix: m, Basis: basis,
	})
	for _, e := range from {
		e.Batch = id
		b.decide(now, by, e)
	}
	return b.viewOf(id, now)
}

func componentsOf(list []mix.Component) (mix.Amounts, error) {
	var parts mix.Amounts
	for _, c := range list {
		if !c.Part.Valid() {
			return parts, request.Refuse(request.Invalid, "components", "part %q: want ink, hardener or thinner", c.Part)
		}
		if !(c.G >= guide.MinimumG && c.G <= guide.MaximumG) {
			return parts, request.Refuse(request.Invalid, "components", "%v g of %s: want a mass from %v g to %v g", c.G, c.Part, guide.MinimumG, float64(guide.MaximumG)).Saying("pour-mass", "part", mix.Part(c.Part), "mass_g", c.G)
		}
		parts = parts.Plus(c.Part, c.G)
	}
	return parts, nil
}

func (b *Bench) confirm(now time.Time, by actor.Name, c request.ConfirmStep) (any, error) {
	batch, err := b.openBatch(c.Batch)
	if err != nil {
		return nil, err
	}
	if step, by := guide.Step(c.Step), batch.Mix.ByBench; step != batch.Mix.Step && (by == step || by == guide.StirHardener && step == guide.Hardener) {
		return b.viewOf(batch.ID, now) // the bench was quicker
	}
	return b.confirmStep(now, by, batch, c, false)
}

// confirmStep confirms a step for a person, or for the bench itself.
func (b *Bench) confirmStep(now time.Time, by actor.Name, batch *record.Batch, c request.ConfirmStep, byBench bool) (any, error) {
	var err error
	step := guide.Step(c.Step)
	ask := guide.Confirm{Aside: batch.Aside()}
	if step == batch.Mix.Step && batch.Phase == lifecycle.Mixing {
		if ask, err = b.weighed(batch, c.Override, now); err != nil {
			return nil, err
		}
	}
	ask.Step, ask.Override, ask.Part, ask.Tared, ask.Can, ask.ByBench = step, c.Override, mix.Part(c.Part), c.Tared, c.Can, byBench
	next, out, err := batch.Mix.Confirm(ask, now)
	if err != nil {
		return nil, err
	}
	if step == guide.PourOver && next.Step != step {
		return b.pouredOver(now, by, batch, ask, next)
	}
	e := record.Confirmed{
		Batch: batch.ID, Step: batch.Mix.Step, Next: next.Step, WeightG: ask.WeightG, Override: c.Override, ByBench: byBench, Mix: next,
	}
	var draw *record.PouredFrom
	if out.HasPour {
		e.Part, e.AddedG, e.Can = out.Pour.Part, out.Pour.G, c.Can
		if draw, err = b.stock(b.state, now).draw(batch, out.Pour.Part, c.Can, out.Pour.G, cmp.Or(c.CanOverride, c.Override)); err != nil {
			return nil, err
		}
		if draw != nil {
			e.Can, e.Mix = draw.Can, next.Named(len(next.Pours)-1, draw.Can)
		}
	}
	if first, ok := next.FirstHardener(); ok && batch.MixedAt.IsZero() {
		e.MixedAt = &first
	}
	b.closeAir(batch.Zone, now)
	b.decide(now, by, e)
	if draw != nil {
		b.decide(now, by, *draw)
	}
	if s := b.scales[batch.Scale]; s != nil && !ask.Aside && (batch.Mix.Step.Pours() || batch.Mix.Step == guide.Cup) {
		s.cups.Known() // what is confirmed is taken for this mix's cup
	}
	return b.viewOf(batch.ID, now)
}

// weighed returns what a confirmation has from the scale of a mix. It is refused while the
// scale is silent, and while it is open whose cup stands there; see [cupmatch.Matcher.CheckConfirm]
// for the override.
func (b *Bench) weighed(batch *record.Batch, override string, now time.Time) (guide.Confirm, error) {
	ask := guide.Confirm{Aside: batch.Aside()}
	s := b.scales[batch.Scale]
	if s == nil || ask.Aside {
		return ask, nil
	}
	if is, why := s.condition(now); is != health.Up {
		return ask, request.Refuse(request.NotNow, "scale silent", "scale %s: %s; see to the scale, then confirm", s.ID, why.text).Saying("scale-silent", "why", why.text)
	}
	if err := b.checkCup(s, batch, override, now); err != nil {
		return ask, err
	}
	_, settled := s.tracker.Settled()
	ask.Settled, ask.WeightG = settled && !s.old(now), s.last.Grams
	if batch.Mix.Step == guide.PourOver {
		ask.SetDown, ask.Lifted = s.cups.SetDown(), s.cups.FellTo(batch.Mix.Pan.HeldG-batch.Mix.ContentG()/2)
	} else if batch.Mix.Pan.Holds() {
		ask.RoseAt, _ = s.rise.Above(batch.Mix.Pan.BaseG)
	}
	return ask, nil
}

// endRests lets rests pass.
func (b *Bench) endRests(now time.Time) {
	for id, batch := range b.state.Batches {
		if next := batch.Mix.Tick(now); batch.Phase == lifecycle.Resting && next.Step != batch.Mix.Step {
			b.decide(now, actor.Bench, record.Rested{Batch: id, Mix: next})
		}
	}
}
