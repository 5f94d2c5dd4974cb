package bench

import (
	"slices"
	"time"

	"potlifed/daemon/record"
	"potlifed/daemon/view"
	"potlifed/model/lifecycle"
	"potlifed/model/mix"
)

// batchView returns the row of a batch at a moment. Its masses are rounded by the scale that
// it was weighed on, those of a mix that was recorded by hand as typed.
func (b *Bench) batchView(s record.State, batch *record.Batch, now time.Time) view.Batch {
	return b.exactBatchView(s, batch, now).Rounded(batch.DivisionG())
}

// exactBatchView returns the row of a batch with all digits of its figures.
func (b *Bench) exactBatchView(s record.State, batch *record.Batch, now time.Time) view.Batch {
	m := batch.Mix
	targets := m.Targets()
	v := view.Batch{
		BatchState: view.BatchState{
			Time: now, Seq: s.Seq, ID: batch.ID, Ink: batch.Ink, Zone: batch.Zone, State: batch.Phase,
			MixedAt: some(batch.MixedAt), GoodAt: some(batch.GoodAt), StopAtRisk: b.shop.Alarms.StopAtRisk,
		},
		TargetsG:    view.Targets{Ink: targets.InkG, Hardener: targets.HardenerG, Thinner: targets.ThinnerG},
		Corrections: m.Corrections(), Warnings: b.shop.locale.Warnings(m.Warnings()), Scale: batch.Scale, For: batch.For,
		Cup: batch.Cup, Colour: batch.Colour, Artwork: batch.Art, RestUntil: some(m.RestUntil),
		ClosedAt: some(batch.ClosedAt), Outcome: batch.Outcome, StillGood: batch.StillGood, LeftG: batch.LeftG,
	}
	if m.Stuck() {
		v.NoRoom = b.shop.locale.Say("warning.no-room")
		if needs, _ := m.NeedsG(); b.largerCup(batch.Cup, needs) != "" {
			plain := v.NoRoom
			v.NoRoom = b.shop.locale.Say("warning.no-room-larger-cup", "cup", b.largerCup(batch.Cup, needs))
			v.Warnings[slices.Index(v.Warnings, plain)] = v.NoRoom
		}
	}
	v.ThinnerReason, v.RatioReason = batch.ThinnerReason, m.RatioReason()
	v.Pours = pours(m)
	v.PourOver, v.OtherCups = pourOverView(m), b.otherCups(s, m)
	v.ByBench = byBench(s, batch.ID, now)
	v.Prints, v.Defects = batch.Prints, batch.Defects
	v.Ratio = view.RatioOf(m)
	if v.Corrections == nil {
		v.Corrections = []mix.Correction{}
	}
	if batch.Press != "" {
		v.Press = &batch.Press
	}
	b.stock(s, now).addTo(&v, batch)
	if empty := b.shop.cupEmpty(b.state, batch); empty > 0 {
		v.CupEmptyG = &empty
	}
	if batch.Phase == lifecycle.Closed {
		v.Quality = view.QualityGood
		if !batch.MixedAt.IsZero() {
			spent := b.shownSpent(batch)
			v.Spent = &spent
		}
		return v
	}
	if batch.Phase != lifecycle.Open || batch.Press == "" && !batch.Used {
		v.Step = &m.Step
	}
	if v.Aside = batch.Aside() && batch.Press == ""; v.Aside {
		if gross := m.GrossG(now.Sub(batch.AsideAt)); gross.Known() {
			v.CupWeighsG = &gross.G
		}
	}
	if advice, ok := batch.ThinnerAdvice(); ok {
		v.Thinner = &view.Thinner{TopUp: advice, Note: b.shop.locale.Say("warning.thinner-no-renewal")}
	}
	b.addLife(s, batch, now, &v)
	return v
}

// addLife adds what is known once the first hardener is in: age, spent life and ends.
func (b *Bench) addLife(s record.State, batch *record.Batch, now time.Time, v *view.Batch) {
	z := b.zones[batch.Zone]
	v.Quality, v.Why = view.QualityBad, b.shop.locale.Say("fault.batch-no-zone")
	if z != nil {
		v.Quality, v.Why = b.quality(z, now)
	}
	switch strange := batch.Mix.Strange(); {
	case slices.Contains(strange, mix.Hardener):
		v.Quality, v.Why = view.QualityBad, b.shop.locale.Say("fault.batch-other-hardener")
	case len(strange) > 0 && v.Quality == view.QualityGood:
		v.Quality, v.Why = view.QualityUncertain, b.shop.locale.Say("fault.batch-other-material")
	}
	if batch.AtLeast {
		v.Quality, v.Why = view.QualityBad, b.shop.locale.Say("fault.batch-at-least")
	}
	if batch.Ensemble == nil {
		return
	}
	l := b.lifeOf(s, batch, now)
	if l.Doubtful > doubtfulShare && v.Quality == view.QualityGood {
		v.Quality, v.Why = view.QualityUncertain, b.shop.locale.Say("fault.batch-doubtful")
	}
	v.LookFirst = b.mustLook(s, batch, now)
	age, spent, risk := l.Age.Seconds(), l.Spent, l.Risk
	v.AgeS, v.Spent, v.Risk = &age, &spent, &risk
	v.EndsAt = &view.Span[time.Time]{Expected: l.Expected, Low: l.Low, High: l.High}
	if batch.Ensemble.Adheres() {
		v.FirstEnd = view.FirstVisible
		if l.Ends.AdhesionFirst {
			v.FirstEnd = view.FirstAdhesion
		}
	}
	v.Time = l.At // all figures of a view are of one moment
	left := func(t time.Time) float64 { return max(t.Sub(l.At), 0).Seconds() }
	v.RemainingS = &view.Span[float64]{Expected: left(l.Expected), Low: left(l.Low), High: left(l.High)}
	next := l.Low.Add(-b.shop.Alarms.MixingTakes - batch.Mix.Recipe.Rest)
	v.NextMixAt = &next
}

// doubtfulShare is how much of the spent life may come from doubtful air before the
// batch itself is doubtful.
const doubtfulShare = 0.05
