package bench

import (
	"cmp"
	"slices"
	"time"

	"potlifed/daemon/record"
	"potlifed/model/mix"
)

// canChoices are the cans for the pour that a batch waits for.
func (b *Bench) canChoices(s record.State, batch *record.Batch, now time.Time) []record.CanChoice {
	part := batch.Mix.Expect()
	if batch.Phase != record.Mixing || part == "" {
		return nil
	}
	cans, _ := b.cansFor(s, batch.Ink, part, now)
	meant := inUse(cans)
	var list []record.CanChoice
	for _, c := range cans {
		v := b.judge(c, now)
		list = append(list, record.CanChoice{
			Can: c.ID, Material: c.Material, Lot: c.Lot, Colour: c.Colour, InUse: c == meant, Stir: v.stir(), Expired: v.why(c),
		})
	}
	return list
}

// canWarnings tell before the pour what is wrong with the hardener that will be asked for.
func (b *Bench) canWarnings(s record.State, batch *record.Batch, now time.Time) []string {
	if batch.Phase != record.Mixing || batch.Mix.Poured().HardenerG > 0 {
		return nil
	}
	cans, registered := b.cansFor(s, batch.Ink, mix.Hardener, now)
	switch {
	case registered && len(cans) == 0:
		return []string{"All known cans of its hardener are empty: register the next one."}
	case len(cans) > 0 && b.judge(cans[0], now).refused():
		return []string{b.judge(cans[0], now).why(cans[0])}
	}
	return nil
}

func (b *Bench) canView(c *record.Can, now time.Time) record.CanView {
	v := b.judge(c, now)
	view := record.CanView{
		ID: c.ID, Part: c.Part, Material: c.Material, Lot: c.Lot, Colour: c.Colour, State: record.CanInUse,
		OpenedOn: c.OpenedOn, UseBy: c.UseBy, LastDay: v.lastDay, MadeAt: c.MadeAt,
		StirredAt: some(c.StirredAt), UsedAt: some(c.UsedAt), EmptiedAt: some(c.EmptiedAt),
	}
	switch {
	case !c.EmptiedAt.IsZero():
		view.State = record.CanEmpty
		return view
	case v.expired:
		view.State = record.CanExpired
	case v.notKnown:
		view.State = record.CanExpiryNotKnown
	case c.OpenedOn == "":
		view.State = record.CanNew
	}
	view.Stir = v.stir()
	return view
}

func (b *Bench) canViews(s record.State, now time.Time) []record.CanView {
	views := make([]record.CanView, 0, len(s.Cans))
	for _, c := range s.Cans {
		views = append(views, b.canView(c, now))
	}
	slices.SortFunc(views, func(x, y record.CanView) int {
		return cmp.Or(boolOrder(x.State == record.CanEmpty, y.State == record.CanEmpty), cmp.Compare(x.Part, y.Part),
			cmp.Compare(x.Material, y.Material), x.MadeAt.Compare(y.MadeAt), cmp.Compare(x.ID, y.ID))
	})
	return views
}

// boolOrder orders false before true.
func boolOrder(x, y bool) int {
	switch {
	case x == y:
		return 0
	case x:
		return 1
	}
	return -1
}

// addCans adds what a batch was made from.
func (b *Bench) addCans(s record.State, batch *record.Batch, now time.Time, v *record.BatchView) {
	v.Components = batch.Components()
	lots, notes := batch.Lots()
	v.Lots, v.PourFrom = append([]record.LotView{}, lots...), b.canChoices(s, batch, now)
	if empty := b.cupEmpty(batch); empty > 0 {
		v.CupEmptyG = &empty
	}
	v.Warnings = append(append(v.Warnings, notes...), b.canWarnings(s, batch, now)...)
}
