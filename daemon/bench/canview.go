package bench

import (
	"cmp"
	"slices"
	"time"

	"potlifed/daemon/record"
	"potlifed/daemon/view"
	"potlifed/model/lifecycle"
	"potlifed/model/mix"
)

// canChoices are the cans for the pour that a batch waits for.
func (b *Bench) canChoices(s record.State, batch *record.Batch, now time.Time) []view.CanChoice {
	part := batch.Mix.Expect()
	if batch.Phase != lifecycle.Mixing || part == "" {
		return nil
	}
	cans, _ := b.cansFor(s, batch.Ink, part, now)
	meant := inUse(cans)
	var list []view.CanChoice
	for _, c := range cans {
		v := b.judge(c, now)
		list = append(list, view.CanChoice{
			Can: c.ID, Material: c.Material, Lot: c.Lot, Colour: c.Colour, InUse: c == meant, Stir: v.stir(), Expired: v.why(c),
		})
	}
	return list
}

// canWarnings tell before the pour what is wrong with the hardener that will be asked for.
func (b *Bench) canWarnings(s record.State, batch *record.Batch, now time.Time) []string {
	if batch.Phase != lifecycle.Mixing || batch.Mix.Poured().HardenerG > 0 {
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

func (b *Bench) canView(c *record.Can, now time.Time) view.Can {
	v := b.judge(c, now)
	row := view.Can{
		ID: c.ID, Part: c.Part, Material: c.Material, Lot: c.Lot, Colour: c.Colour, State: view.CanInUse,
		OpenedOn: c.OpenedOn, UseBy: c.UseBy, LastDay: v.lastDay, MadeAt: c.MadeAt,
		StirredAt: some(c.StirredAt), UsedAt: some(c.UsedAt), EmptiedAt: some(c.EmptiedAt),
	}
	switch {
	case !c.EmptiedAt.IsZero():
		row.State = view.CanEmpty
		return row
	case v.expired:
		row.State = view.CanExpired
	case v.notKnown:
		row.State = view.CanExpiryNotKnown
	case c.OpenedOn == "":
		row.State = view.CanNew
	}
	row.Stir = v.stir()
	return row
}

func (b *Bench) canViews(s record.State, now time.Time) []view.Can {
	views := make([]view.Can, 0, len(s.Cans))
	for _, c := range s.Cans {
		views = append(views, b.canView(c, now))
	}
	slices.SortFunc(views, func(x, y view.Can) int {
		return cmp.Or(boolOrder(x.State == view.CanEmpty, y.State == view.CanEmpty), cmp.Compare(x.Part, y.Part),
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
func (b *Bench) addCans(s record.State, batch *record.Batch, now time.Time, v *view.Batch) {
	v.Components = batch.Components()
	lots, notes := batch.Lots()
	v.Lots, v.PourFrom = append([]mix.Lot{}, lots...), b.canChoices(s, batch, now)
	if empty := b.cupEmpty(batch); empty > 0 {
		v.CupEmptyG = &empty
	}
	v.Warnings = append(append(v.Warnings, notes...), b.canWarnings(s, batch, now)...)
}
