package bench

import (
	"slices"
	"strings"
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/model/guide"
)

// The codes of refused corrections, beside those of the guide.
const (
	whichPour     = "which-pour"      // two pours may be meant, and the request names none
	notTakenFirst = "not-taken-first" // what is not taken yet must be named before a pour is undone
	noSuchPour    = "no-such-pour"
)

// correct re-labels or undoes a pour, says where one came from, takes what is not taken yet as what it really is, or
// decides to use a mix with what it should not have.
func (b *Bench) correct(now time.Time, by actor.Name, c request.CorrectPour) (any, error) {
	batch, err := b.openBatch(c.Batch)
	if err != nil {
		return nil, err
	}
	e := record.Corrected{Batch: batch.ID, Undo: c.Undo, NotTaken: c.NotTaken, Override: strings.TrimSpace(c.Override)}
	var pour int // its place among the pours afterwards
	var o origin
	switch {
	case c.NotTaken:
		pour, o, err = b.takeAs(&e, batch, c, now)
	case e.Override != "" && !says(c) && !c.Undo:
		e.Mix = batch.Mix
	default:
		pour, o, err = b.correctTaken(&e, batch, c, now)
	}
	if err != nil {
		return nil, err
	}
	next, draw := b.stock(b.state, now).drawnFrom(batch, e.Mix, o, pour)
	if e.Override != "" {
		if next, err = next.Use(e.Override); err != nil {
			return nil, err
		}
	}
	e.Mix, e.Part, e.Material = next, o.part, o.material
	if o.part != "" {
		e.Can = next.Pours[pour].Can
	}
	if first, ok := next.FirstHardener(); ok && (batch.MixedAt.IsZero() || first.Before(batch.MixedAt)) {
		e.MixedAt = &first
	}
	b.closeAir(batch.Zone, now)
	b.decide(now, by, e)
	if draw != nil {
		b.decide(now, by, *draw)
	}
	return b.viewOf(batch.ID, now)
}

// says reports whether a request says what a pour was.
func says(c request.CorrectPour) bool { return c.Part != "" || c.Can != "" || c.Material != "" }

// takeAs takes what is in the cup and not taken yet as what a person says that it is. It returns
// the place of the new pour.
func (b *Bench) takeAs(e *record.Corrected, batch *record.Batch, c request.CorrectPour, now time.Time) (pour int, o origin, err error) {
	switch {
	case !says(c) || e.Undo:
		return 0, o, request.Refuse(request.Invalid, "correct", `say "part", what was poured; it is in no record that could be undone`).Saying("name-part")
	case b.scales[batch.Scale] == nil:
		return 0, o, refuseAs(guide.NotOnScale, "not now", "batch %s was not mixed on a scale", batch.ID).Saying("not-on-a-scale", "batch", batch.ID)
	}
	ask, err := b.weighed(batch, "", now)
	if err != nil {
		return 0, o, err
	}
	there, _ := batch.Mix.NotTaken(ask.WeightG)
	if o, err = b.stock(b.state, now).origin(batch, c, there.Part); err != nil {
		return 0, o, err
	}
	ask.Tared, ask.Can, ask.Material = c.Tared, o.can, o.material
	next, err := batch.Mix.Take(o.part, ask, now)
	if err != nil {
		return 0, o, err
	}
	pour = len(next.Pours) - 1
	e.Mix, e.G = next, next.Pours[pour].G
	return pour, o, nil
}

// correctTaken re-labels or undoes a pour that is in the record, or says where it came from. It returns its place.
func (b *Bench) correctTaken(e *record.Corrected, batch *record.Batch, c request.CorrectPour, now time.Time) (pour int, o origin, err error) {
	if c.Undo == says(c) {
		return 0, o, request.Refuse(request.Invalid, "correct", `say either "part", what the pour was, or "undo": true`).Saying("part-or-undo")
	}
	pour = len(batch.Mix.Pours) - 1
	if c.Pour != nil {
		pour = slices.IndexFunc(batch.Mix.Pours, func(p guide.Pour) bool { return p.Seq == *c.Pour && p.Seq != 0 })
		if pour < 0 {
			return 0, o, refuseAs(noSuchPour, "no such pour", "batch %s has no pour with the number %d", batch.ID, *c.Pour).Saying("no-such-pour")
		}
	}
	if s := b.scales[batch.Scale]; s != nil && !batch.Aside() {
		if n, loose := batch.Mix.NotTaken(s.last.Grams); loose && pour >= 0 {
			switch p := batch.Mix.Pours[pour]; {
			case c.Pour == nil:
				return 0, o, refuseAs(whichPour, "which pour", `%.1f g are in the cup and not taken yet, and %.1f g of %s were taken before: say which is meant, by "not_taken" or by "pour"`, n.G, p.G, p.Part).Saying("which-pour", "in_cup_g", n.G, "taken_g", p.G, "part", p.Part)
			case c.Undo:
				return 0, o, refuseAs(notTakenFirst, "not taken yet", "%.1f g are in the cup and not taken yet: say first which part they are, then undo the pour of %.1f g of %s", n.G, p.G, p.Part).Saying("not-taken-first", "in_cup_g", n.G, "taken_g", p.G, "part", p.Part)
			}
		}
	}
	if s := b.scales[batch.Scale]; s != nil && c.Undo {
		if batch.Aside() {
			return 0, o, refuseAs(guide.NotOnScale, "not now", "The cup of mix %s was set aside: put it back on the scale and take it up again, then undo the pour.", batch.ID).Saying("correct-set-aside", "batch", batch.ID)
		}
		if err := b.checkCup(s, batch, "undo", now); err != nil {
			return 0, o, err
		}
	}
	if pour < 0 {
		return 0, o, request.Refuse(request.NotNow, "no such pour", "batch %s has no pour", batch.ID).Saying("no-such-pour")
	}
	was := batch.Mix.Pours[pour]
	e.Pour, e.G = was.Seq, was.G
	if c.Undo {
		e.Mix, err = batch.Mix.Correct(pour, "", true, now)
		return pour, o, err
	}
	if o, err = b.stock(b.state, now).origin(batch, c, was.Part); err != nil {
		return 0, o, err
	}
	e.Mix = batch.Mix
	if o.part != was.Part || c.Can == "" && c.Material == "" {
		if e.Mix, err = batch.Mix.Correct(pour, o.part, false, now); err != nil {
			return 0, o, err
		}
	}
	if is := e.Mix.Pours[pour]; is.Can != o.can || is.Material != o.material || o.part == was.Part {
		e.Mix, err = e.Mix.Of(pour, o.can, o.material)
	}
	return pour, o, err
}
