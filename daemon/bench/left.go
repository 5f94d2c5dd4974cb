package bench

import (
	"math"
	"time"

	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/model/guide"
	"potlifed/model/health"
)

// weighLeft takes the cup's settled weight from the scale as what is left in a batch
// that is closed.
func (b *Bench) weighLeft(batch *record.Batch, c request.CloseBatch, now time.Time) (record.LeftWeighed, error) {
	var none record.LeftWeighed
	if c.LeftG != nil {
		return none, request.Refuse(request.Invalid, "left", `say either left_g or "weigh": true`).Saying("left-or-weigh")
	}
	id := c.Scale
	if id == "" {
		id = batch.Scale
	}
	s, err := b.scaleFor(id)
	if err != nil {
		return none, err
	}
	if other := weighing(b.state, s.ID); other != nil {
		return none, request.Refuse(request.NotNow, "scale in use", "batch %s is being mixed on %s; weigh what is left when that is done, or say left_g", other.ID, s.ID).Saying("scale-in-use-left", "batch", other.ID, "scale", s.ID)
	}
	empty := b.shop.cupEmpty(b.state, batch)
	if c.EmptyG != nil {
		if empty = *c.EmptyG; !(empty > 0 && empty <= guide.MaximumG) || math.IsInf(empty, 0) {
			return none, request.Refuse(request.Invalid, "empty cup", "empty_g %v: want a mass above 0 g", empty).Saying("empty-mass")
		}
	}
	if empty <= 0 {
		return none, refuseAs("cup-not-known", "empty cup not known", `what an empty %s weighs is not known: say "empty_g", or left_g itself`, batch.Cup).Saying("cup-unknown", "cup", batch.Cup)
	}
	if is, why := s.condition(now); is != health.Up {
		return none, request.Refuse(request.NotNow, "scale silent", "scale %s: %s; see to the scale, or say left_g", s.ID, why.text).Saying("scale-silent-left", "why", why.text)
	}
	if _, settled := s.tracker.Settled(); !settled || s.old(now) {
		return none, refuseAs(guide.Unsettled, "not settled", "the weight on %s has not settled: let the scale come to rest", s.ID).Saying("left-not-settled", "scale", s.ID)
	}
	gross := s.last.Grams
	if gross < empty-2*s.DivisionG {
		return none, refuseAs(guide.CupAway, "no cup", "%s shows %.1f g, an empty %s weighs %.1f g: put the cup on a scale that shows zero without it", s.ID, gross, batch.Cup, empty).Saying("left-no-cup", "scale", s.ID, "shows_g", gross, "cup", batch.Cup, "empty_g", empty)
	}
	return record.LeftWeighed{Batch: batch.ID, Scale: s.ID, GrossG: gross, EmptyG: empty, LeftG: max(gross-empty, 0)}, nil
}
