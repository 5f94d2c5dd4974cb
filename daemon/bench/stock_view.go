package bench

import (
	"cmp"
	"slices"

	"potlifed/daemon/record"
	"potlifed/daemon/view"
	"potlifed/model/can"
	"potlifed/model/lifecycle"
	"potlifed/model/mix"
)

// choices are the cans for the pour that a batch waits for.
func (k stock) choices(batch *record.Batch) []view.CanChoice {
	part := batch.Mix.Expect()
	if batch.Phase != lifecycle.Mixing || part == "" {
		return nil
	}
	cans, inUse, _ := k.cansFor(batch.Ink, part)
	var list []view.CanChoice
	for _, c := range cans {
		v := k.rules.Judge(c)
		choice := view.CanChoice{
			Can: c.ID, Material: c.Material, Lot: c.Lot, Colour: c.Colour, InUse: c == inUse, Stir: k.words.Warning(v.Stir()), Expired: k.words.Warning(v.Expiry()),
		}
		if choice.Expired != "" {
			choice.LastDay, choice.ExpiryNotKnown = v.LastDay, v.ExpiryNotKnown
		}
		list = append(list, choice)
	}
	return list
}

// warnings tell before the pour what is wrong with the hardener that will be asked for.
func (k stock) warnings(batch *record.Batch) []string {
	if batch.Phase != lifecycle.Mixing || batch.Mix.Poured().HardenerG > 0 {
		return nil
	}
	cans, _, registered := k.cansFor(batch.Ink, mix.Hardener)
	switch {
	case registered && len(cans) == 0:
		return []string{k.words.Say("warning.hardener-cans-empty")}
	case len(cans) > 0 && k.rules.Judge(cans[0]).NeedsReason():
		return []string{k.words.Warning(k.rules.Judge(cans[0]).Expiry())}
	}
	return nil
}

// view is a can as the page and the API show it.
func (k stock) view(c *can.Can) view.Can {
	v := k.rules.Judge(c)
	row := view.Can{
		ID: c.ID, Part: c.Part, Material: c.Material, Lot: c.Lot, Colour: c.Colour, State: view.CanInUse,
		OpenedOn: c.OpenedOn, UseBy: c.UseBy, LastDay: v.LastDay, MadeAt: c.MadeAt,
		StirredAt: some(c.StirredAt), UsedAt: some(c.UsedAt), EmptiedAt: some(c.EmptiedAt),
	}
	switch {
	case c.Empty():
		row.State = view.CanEmpty
		return row
	case v.Expired:
		row.State = view.CanExpired
	case v.ExpiryNotKnown:
		row.State = view.CanExpiryNotKnown
	case c.OpenedOn == "":
		row.State = view.CanNew
	}
	row.Stir = k.words.Warning(v.Stir())
	return row
}

// viewOf is the view of a can that is known.
func (k stock) viewOf(id string) view.Can { return k.view(k.cans[id]) }

// views are all cans, the empty ones last.
func (k stock) views() []view.Can {
	views := make([]view.Can, 0, len(k.cans))
	for _, c := range k.cans {
		views = append(views, k.view(c))
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

// addTo adds to a batch's view what it was made from and may be poured from.
func (k stock) addTo(v *view.Batch, batch *record.Batch) {
	v.Components = batch.Components()
	lots, notes := batch.Lots()
	v.Lots, v.PourFrom = append([]can.Lot{}, lots...), k.choices(batch)
	v.Warnings = append(append(v.Warnings, k.words.CanNotes(notes)...), k.warnings(batch)...)
}
