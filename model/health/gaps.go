package health

import "time"

// gaps follows the time between the readings of an instrument.
type gaps struct {
	last  time.Duration // when the newest came
	cutAt time.Duration // until when the gap after it is counted, from a day before
	seen  bool
}

// end takes in a reading: it ends a gap.
func (g *gaps) end(at, staleAfter time.Duration, oldest, down *time.Duration) {
	if g.seen {
		g.count(at, staleAfter, oldest, down)
	}
	g.last, g.cutAt, g.seen = at, 0, true
}

// cut counts the gap so far: the rest of it is of the next day.
func (g *gaps) cut(at, staleAfter time.Duration, oldest, down *time.Duration) {
	if g.seen {
		g.count(at, staleAfter, oldest, down)
		g.cutAt = at
	}
}

func (g *gaps) count(at, staleAfter time.Duration, oldest, down *time.Duration) {
	*oldest = max(*oldest, at-g.last)
	if from := max(g.last+staleAfter, g.cutAt); staleAfter > 0 && at > from {
		*down += at - from
	}
}
