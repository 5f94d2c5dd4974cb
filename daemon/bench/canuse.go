package bench

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"potlifed/daemon/config"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/model/guide"
	"potlifed/model/mix"
)

// stirAfter is how long a can of ink may stand before it is to be stirred to the bottom
// again: heavy pigments settle (common practice, no source).
const stirAfter = 3 * 24 * time.Hour

// materials are what a part of a batch may be, by the configuration of now.
func (b *Bench) materials(ink string, part mix.Part) []string {
	i := slices.IndexFunc(b.shop.Inks, func(k config.Ink) bool { return k.ID == ink })
	switch {
	case part == mix.Ink:
		return []string{ink}
	case i < 0:
		return nil
	case part == mix.Thinner:
		return b.shop.Inks[i].Thinners
	case b.shop.Inks[i].Hardener != "":
		return []string{b.shop.Inks[i].Hardener}
	}
	return nil
}

// cansFor are the cans that a part of a batch may come from, the one in use first; the
// empty ones are left out. registered: there is or was one at all.
func (b *Bench) cansFor(s record.State, ink string, part mix.Part, now time.Time) (cans []*record.Can, registered bool) {
	holds := b.materials(ink, part)
	for _, c := range s.Cans {
		if c.Part != part || !slices.Contains(holds, c.Material) {
			continue
		}
		registered = true
		if c.EmptiedAt.IsZero() {
			cans = append(cans, c)
		}
	}
	slices.SortFunc(cans, func(x, y *record.Can) int {
		// A can that would be refused is not the one that is meant.
		if bx, by := b.judge(x, now).refused(), b.judge(y, now).refused(); bx != by {
			if bx {
				return 1
			}
			return -1
		}
		return cmp.Or(touched(y).Compare(touched(x)), cmp.Compare(y.OpenedOn, x.OpenedOn), cmp.Compare(x.ID, y.ID))
	})
	return cans, registered
}

// touched is when somebody last had a can in hand.
func touched(c *record.Can) time.Time {
	if c.UsedAt.After(c.StirredAt) {
		return c.UsedAt
	}
	return c.StirredAt
}

// inUse is the can that is meant when nobody names one: the only one, or the one that
// somebody had in hand last.
func inUse(cans []*record.Can) *record.Can {
	if len(cans) == 1 || len(cans) > 1 && !touched(cans[0]).IsZero() {
		return cans[0]
	}
	return nil
}

// source finds the can that a pour came from: the one that was named, or that is in use.
// Where none of the material is registered, a name is only a name, and nil is returned.
func (b *Bench) source(ink string, part mix.Part, named string, now time.Time) (can *record.Can, assumed bool, err error) {
	cans, registered := b.cansFor(b.state, ink, part, now)
	if named == "" {
		can = inUse(cans)
		return can, can != nil, nil
	}
	can, ok := b.state.Cans[named]
	if !ok && !registered {
		return nil, false, nil
	}
	var ids []string
	for _, c := range cans {
		ids = append(ids, c.ID)
	}
	switch {
	case !ok:
		return nil, false, request.Refuse(request.Invalid, "no such can", "there is no can %q; cans of %s are %s", named, known(b.materials(ink, part)), known(ids))
	case can.Part != part || !slices.Contains(b.materials(ink, part), can.Material):
		return nil, false, request.Refuse(request.Invalid, "wrong can", "can %s holds %s %s; this pour is %s %s, of which there are the cans %s",
			can.ID, can.Part, can.Material, part, known(b.materials(ink, part)), known(ids))
	}
	return can, false, nil
}

// draw says from which can a pour came, or refuses it: from a can that was emptied, and
// without a person's reason from a hardener that is past its last day, or may be.
func (b *Bench) draw(batch *record.Batch, part mix.Part, named string, g float64, reason string, now time.Time) (*record.PouredFrom, error) {
	can, assumed, err := b.source(batch.Ink, part, named, now)
	if err != nil || can == nil {
		return nil, err
	}
	if !can.EmptiedAt.IsZero() {
		return nil, request.Refuse(request.NotNow, "can empty", "can %s was emptied; name the can that it came from", can.ID)
	}
	if v := b.judge(can, now); v.refused() && strings.TrimSpace(reason) == "" {
		code := "can-expired"
		if v.notKnown {
			code = "can-expiry-not-known"
		}
		return nil, refuseAs(code, "hardener", `%s Take another can, or give a reason as "can_override"`, v.why(can))
	}
	e := b.poured(batch.ID, can, g, now)
	e.Assumed, e.Override = assumed, ""
	if e.ExpiredOn != "" || e.ExpiryNotKnown {
		e.Override = strings.TrimSpace(reason)
	}
	return &e, nil
}

// poured is what is recorded of a pour from a can, as the can stands.
func (b *Bench) poured(batch string, can *record.Can, g float64, now time.Time) record.PouredFrom {
	v := b.judge(can, now)
	e := record.PouredFrom{Batch: batch, Can: can.ID, Part: can.Part, Material: can.Material, Lot: can.Lot, G: g}
	if can.OpenedOn == "" && b.synced {
		e.OpenedOn = record.DateOf(now)
	}
	e.NeverStirred, e.ExpiryNotKnown = v.never, v.notKnown
	if v.stood > 0 {
		s := v.stood.Seconds()
		e.StoodS = &s
	}
	if v.expired {
		e.ExpiredOn = v.lastDay
	}
	return e
}

// canVerdict is how a can stands.
type canVerdict struct {
	part     mix.Part
	lastDay  string // a date; empty where it has none
	expired  bool
	notKnown bool          // the clock is not set, so nobody can tell
	never    bool          // never stirred
	stood    time.Duration // for too long; else 0
	doubt    bool          // it may have stood for longer
}

func (b *Bench) judge(c *record.Can, now time.Time) canVerdict {
	v := canVerdict{part: c.Part, lastDay: b.lastDay(c)}
	if v.lastDay != "" {
		v.notKnown = !b.synced
		v.expired = b.synced && record.DateOf(now) > v.lastDay
	}
	if c.Part != mix.Ink { // hardener and thinner have nothing that settles, and air does them no good
		return v
	}
	v.never = c.StirredAt.IsZero()
	if stood := now.Sub(touched(c)); !v.never && stood > stirAfter {
		v.stood = stood
	}
	v.doubt = !v.never && c.Doubt
	return v
}

// lastDay is the last day on which a can may be used: that of its shelf life, or of what
// its hardener allows once it is open.
func (b *Bench) lastDay(c *record.Can) string {
	last := c.UseBy
	opened, err := time.Parse(time.DateOnly, c.OpenedOn)
	if c.Part != mix.Hardener || err != nil {
		return last
	}
	for _, h := range b.shop.Hardeners {
		if h.ID != c.Material || h.UseWithinOpened == 0 {
			continue
		}
		if day := opened.Add(h.UseWithinOpened).Format(time.DateOnly); last == "" || day < last {
			last = day
		}
	}
	return last
}

// refused: it takes a person's reason to use it. An old ink is warned of; only of a
// hardener is it known that age spoils it unseen.
func (v canVerdict) refused() bool { return v.part == mix.Hardener && (v.expired || v.notKnown) }

func (v canVerdict) why(c *record.Can) string {
	switch {
	case v.expired:
		return fmt.Sprintf("The last day of %s can %s was %s.", c.Part, c.ID, v.lastDay)
	case v.notKnown:
		return fmt.Sprintf("The clock is not set, so nobody can tell whether %s can %s is past its last day, %s: look at the calendar.", c.Part, c.ID, v.lastDay)
	}
	return ""
}

// stir says why a can is to be stirred first; empty when it need not be.
func (v canVerdict) stir() string {
	switch {
	case v.never:
		return "it was never stirred"
	case v.stood > 0:
		return fmt.Sprintf("it has stood for %.0f days", v.stood.Hours()/24)
	case v.doubt:
		return "how long it has stood is not known"
	}
	return ""
}

// recordedFrom says from which cans the parts of a mix recorded by hand came. It is in
// the cup already: nothing is refused but a can that cannot be meant.
func (b *Bench) recordedFrom(ink string, list []mix.Component, m guide.Mix, now time.Time) (guide.Mix, []record.PouredFrom, error) {
	var drawn []guide.Drawn
	var from []record.PouredFrom
	named := false
	for _, c := range list {
		drawn = append(drawn, guide.Drawn{Part: c.Part, Can: c.Can, G: c.G})
		if c.Can == "" {
			continue
		}
		named = true
		can, _, err := b.source(ink, c.Part, c.Can, now)
		if err != nil {
			return m, nil, err
		}
		if can != nil {
			from = append(from, b.poured("", can, c.G, now))
		}
	}
	if named {
		m = m.FromCans(drawn)
	}
	return m, from, nil
}

// relabelled gives a pour that was something else the can in use of what it is. It is in
// the cup already, so that nothing is refused.
func (b *Bench) relabelled(batch *record.Batch, m guide.Mix, part mix.Part, now time.Time) (guide.Mix, *record.PouredFrom) {
	if part == "" || len(m.Pours) == 0 {
		return m, nil
	}
	can, _, err := b.source(batch.Ink, part, "", now)
	if err != nil || can == nil {
		return m, nil
	}
	e := b.poured(batch.ID, can, m.Pours[len(m.Pours)-1].G, now)
	e.Assumed = true
	return m.Named(can.ID), &e
}
