package bench

import (
	"maps"
	"slices"
	"strings"
	"time"

	"potlifed/daemon/config"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/daemon/words"
	"potlifed/model/can"
	"potlifed/model/guide"
	"potlifed/model/mix"
)

// stock is the cans of the shop at one moment, with what the configuration says of their
// materials and the rules by which they are judged. It only reads.
type stock struct {
	shop  *config.Shop
	words words.Locale
	cans  map[string]*can.Can
	rules can.Rules
}

func (b *Bench) stock(s record.State, now time.Time) stock {
	return stock{shop: &b.shop.Shop, words: b.shop.locale, cans: s.Cans, rules: can.Rules{Now: b.shop.locale.In(now), ClockSet: b.clock.synced, UseWithinOpened: b.useWithinOpened}}
}

// useWithinOpened is how long each hardener may be used once its can is open, by id.
func useWithinOpened(shop config.Shop) map[string]time.Duration {
	limits := map[string]time.Duration{}
	for _, h := range shop.Hardeners {
		limits[h.ID] = h.UseWithinOpened
	}
	return limits
}

// materials are what a part of a batch may be, by the configuration of now.
func (k stock) materials(ink string, part mix.Part) []string {
	i := slices.IndexFunc(k.shop.Inks, func(c config.Ink) bool { return c.ID == ink })
	switch {
	case part == mix.Ink:
		return []string{ink}
	case i < 0:
		return nil
	case part == mix.Thinner:
		return k.shop.Inks[i].Thinners
	case k.shop.Inks[i].Hardener != "":
		return []string{k.shop.Inks[i].Hardener}
	}
	return nil
}

// cansFor returns the cans that a part of a batch may come from, without the empty ones,
// and which of them is meant when nobody names one (see [can.Rules.Choose]). registered
// reports whether there is or was such a can at all.
func (k stock) cansFor(ink string, part mix.Part) (cans []*can.Can, inUse *can.Can, registered bool) {
	holds := k.materials(ink, part)
	for _, c := range k.cans {
		if c.Part != part || !slices.Contains(holds, c.Material) {
			continue
		}
		registered = true
		if !c.Empty() {
			cans = append(cans, c)
		}
	}
	return cans, k.rules.Choose(cans), registered
}

// source finds the can that a pour came from: the one that was named, or that is in use.
// Where none of the material is registered, a name is only a name, and nil is returned.
func (k stock) source(ink string, part mix.Part, named string) (from *can.Can, assumed bool, err error) {
	cans, inUse, registered := k.cansFor(ink, part)
	if named == "" {
		return inUse, inUse != nil, nil
	}
	from, ok := k.cans[named]
	if !ok && !registered {
		return nil, false, nil
	}
	var ids []string
	for _, c := range cans {
		ids = append(ids, c.ID)
	}
	switch {
	case !ok:
		return nil, false, request.Refuse(request.Invalid, "no such can", "there is no can %q; cans of %s are %s", named, known(k.materials(ink, part)), known(ids)).Saying("no-can-of", "can", named)
	case from.Part != part || !slices.Contains(k.materials(ink, part), from.Material):
		return nil, false, request.Refuse(request.Invalid, "wrong can", "can %s holds %s %s; this pour is %s %s, of which there are the cans %s",
			from.ID, from.Part, from.Material, part, known(k.materials(ink, part)), known(ids)).Saying("wrong-can", "can", from.ID, "material", from.Material)
	}
	return from, false, nil
}

// draw says from which can a pour came, or refuses it: from a can that was emptied, and
// without a person's reason from a hardener that is past its last day, or may be.
func (k stock) draw(batch *record.Batch, part mix.Part, named string, g float64, reason string) (*record.PouredFrom, error) {
	from, assumed, err := k.source(batch.Ink, part, named)
	if err != nil || from == nil {
		return nil, err
	}
	if from.Empty() {
		return nil, request.Refuse(request.NotNow, "can empty", "can %s was emptied; name the can that it came from", from.ID).Saying("can-empty", "can", from.ID)
	}
	if v := k.rules.Judge(from); v.NeedsReason() && strings.TrimSpace(reason) == "" {
		code := "can-expired"
		if v.ExpiryNotKnown {
			code = "can-expiry-not-known"
		}
		why := v.Expiry()
		r := refuseAs(code, "hardener", `%s Take another can, or give a reason as "can_override"`, words.Locale{}.Warning(why))
		r.Message = why
		return nil, r
	}
	e := k.poured(batch.ID, from, g)
	e.Assumed, e.Override = assumed, ""
	if e.ExpiredOn != "" || e.ExpiryNotKnown {
		e.Override = strings.TrimSpace(reason)
	}
	return &e, nil
}

// poured is what is recorded of a pour from a can, with the verdict on the can.
func (k stock) poured(batch string, from *can.Can, g float64) record.PouredFrom {
	v := k.rules.Judge(from)
	e := record.PouredFrom{Batch: batch, Can: from.ID, Part: from.Part, Material: from.Material, Lot: from.Lot, G: g}
	if from.OpenedOn == "" && k.rules.ClockSet {
		e.OpenedOn = can.Date(k.rules.Now)
	}
	e.NeverStirred, e.ExpiryNotKnown = v.NeverStirred, v.ExpiryNotKnown
	if v.Stood > 0 {
		s := v.Stood.Seconds()
		e.StoodS = &s
	}
	if v.Expired {
		e.ExpiredOn = v.LastDay
	}
	return e
}

// recordedFrom says from which cans the parts of a mix recorded by hand came. It is in
// the cup already: nothing is refused but a can that cannot be meant.
func (k stock) recordedFrom(ink string, list []mix.Component, m guide.Mix) (guide.Mix, []record.PouredFrom, error) {
	var drawn []guide.Drawn
	var from []record.PouredFrom
	named := false
	for _, c := range list {
		drawn = append(drawn, guide.Drawn{Part: c.Part, Can: c.Can, G: c.G})
		if c.Can == "" {
			continue
		}
		named = true
		source, _, err := k.source(ink, c.Part, c.Can)
		if err != nil {
			return m, nil, err
		}
		if source != nil {
			from = append(from, k.poured("", source, c.G))
		}
	}
	if named {
		m = m.FromCans(drawn)
	}
	return m, from, nil
}

// notAhead refuses an opening in the future, which only a clock that is set can tell.
func (k stock) notAhead(opened string) error {
	if today := can.Date(k.rules.Now); k.rules.ClockSet && opened > today {
		return request.Refuse(request.Invalid, "opened in the future", "opened on %s is after today, %s", opened, today).Saying("opened-in-future")
	}
	return nil
}

// allMaterials are the ids of what the configuration knows of a part.
func (k stock) allMaterials(part mix.Part) []string {
	var ids []string
	switch part {
	case mix.Ink:
		for _, ink := range k.shop.Inks {
			ids = append(ids, ink.ID)
		}
	case mix.Hardener:
		for _, h := range k.shop.Hardeners {
			ids = append(ids, h.ID)
		}
	case mix.Thinner:
		for _, t := range k.shop.Thinners {
			ids = append(ids, t.ID)
		}
	}
	return ids
}

func known(ids []string) string {
	if len(ids) == 0 {
		return "none"
	}
	return strings.Join(ids, ", ")
}

// named finds a can by its id.
func (k stock) named(id string) (*can.Can, error) {
	if c, ok := k.cans[id]; ok {
		return c, nil
	}
	return nil, request.Refuse(request.NotFound, "no such can", "there is no can %q; there are %s", id, known(slices.Sorted(maps.Keys(k.cans)))).Saying("no-can", "can", id)
}
