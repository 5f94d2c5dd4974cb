package airpath

import (
	"time"

	"potlifed/model/air"
	"potlifed/model/cure"
)

// Batch is what the life of a batch is derived from.
type Batch struct {
	Ensemble *cure.Ensemble // advanced to the end of the closed path of its zone
	Zone     string         // in whose air it is
	Place    cure.Place
	MixedAt  time.Time
}

// standsAs reports whether two batches are in the same air and as open to it: a forecast for one place
// says nothing about another.
func (b Batch) standsAs(other Batch) bool { return b.Zone == other.Zone && b.Place == other.Place }

// Life is the life of a batch at one moment. Its zero value is that of a batch that was
// never looked at.
type Life struct {
	At       time.Time     // the figures below are for this moment
	Spent    float64       // spent life as it is shown, see [Life.Follow]; 1 at the end of the median batch
	Risk     float64       // that the batch is over, 0 to 1
	Doubtful float64       // share of the spent life that is from air not well known, 0 to 1
	Age      time.Duration // since the first hardener
	Ends     cure.Ends     // forecast from the end of the closed path, or lately from an earlier end of it
	// The ends as instants, true to the risk: an end lies in the past exactly when the risk
	// has passed its level.
	Expected, Low, High time.Time

	of          Batch         // it was derived from
	foreseen    Batch         // the ends were forecast of
	closedSpent float64       // of the ensemble then
	closedAge   time.Duration // of the ensemble then
}

// Is reports whether the life was derived from this batch.
func (l Life) Is(of Batch) bool {
	return l.of.Ensemble != nil && l.of.Ensemble == of.Ensemble && l.of.standsAs(of)
}

// Follow returns the batch's life at now. ahead is the air from the moment to which its ensemble is
// advanced to now: the open step ([Path.Open]), and before it those that are closed already where
// the batch is that of an older state. The batch lives through them in a copy of its ensemble.
// forecast is called only if
// the batch has another life than l: then the ends of l say nothing about it. If it only lived
// through a few steps more or less, the ends of l are kept, and [Life.Foresees] says so.
//
// The open step is replaced by a better one at each reading, so that the same seconds may
// cost a little less than they seemed to cost before. Spent then stays where it was until
// the life has come as far, since people and alarms take it for what has gone. It falls
// only if the batch has another life now: its start was corrected, or what had been
// poured into it was undone.
func (l Life) Follow(of Batch, ahead []cure.Step, now time.Time, forecast func() cure.Ends) Life {
	next := Life{At: now, Ends: l.Ends, of: of, foreseen: l.foreseen, closedSpent: of.Ensemble.Spent(), closedAge: of.Ensemble.Age()}
	if !l.near(of) {
		next.Ends, next.foreseen = forecast(), of
	}
	is := of.Ensemble.Clone()
	for _, step := range ahead {
		is.Advance(of.Place, step)
	}
	next.Spent, next.Risk, next.Doubtful, next.Age = is.Spent(), is.Risk(), is.DoubtfulShare(), is.Age()
	if l.livesOnIn(next) {
		next.Spent = max(next.Spent, l.Spent)
	}
	next.Low = endAt(of.MixedAt.Add(next.Ends.Low), now, next.Risk >= cure.LowRisk)
	next.Expected = endAt(of.MixedAt.Add(next.Ends.Expected), now, next.Risk >= cure.ExpectedRisk)
	next.High = endAt(of.MixedAt.Add(next.Ends.High), now, next.Risk >= cure.HighRisk)
	return next
}

// keptFor is how much a batch may have lived on since its last forecast: some minutes, in which
// closed steps waited for a new one.
const keptFor = 5 * time.Minute

// near reports whether the ends were forecast of the same batch a few steps earlier or later.
func (l Life) near(of Batch) bool {
	was := l.foreseen
	return was.Ensemble != nil && was.standsAs(of) && was.MixedAt.Equal(of.MixedAt) &&
		(was.Ensemble == of.Ensemble || (of.Ensemble.Age()-was.Ensemble.Age()).Abs() <= keptFor && of.Ensemble.Continues(was.Ensemble))
}

// Foresees reports whether the ends were forecast of exactly this batch, and not of the same batch
// some steps earlier.
func (l Life) Foresees(of Batch) bool {
	return l.foreseen.Ensemble != nil && l.foreseen.Ensemble == of.Ensemble && l.foreseen.standsAs(of)
}

// Foreseen returns the life with the ends that were forecast of a batch. The figures of a moment
// are to be derived again, by [Life.Follow].
func (l Life) Foreseen(of Batch, ends cure.Ends) Life {
	l.At, l.Ends, l.foreseen = time.Time{}, ends, of
	return l
}

// livesOnIn reports whether next is the same life as l, later or, where an older state is
// looked at, earlier.
func (l Life) livesOnIn(next Life) bool {
	if next.closedAge < l.closedAge {
		return next.of.MixedAt.Equal(l.of.MixedAt)
	}
	return next.closedSpent >= l.closedSpent
}

// Closed returns what remains of a life once its batch is closed: the spent life that was
// shown last. It holds no ensemble.
func (l Life) Closed() Life {
	l.of.Ensemble, l.foreseen.Ensemble = nil, nil
	return l
}

// endAt keeps a forecast end on the side of now that the risk says. The two differ by
// seconds, since the forecast is from the end of the closed path.
func endAt(end, now time.Time, passed bool) time.Time {
	switch {
	case passed && end.After(now):
		return now
	case !passed && !end.After(now):
		return now.Add(time.Second)
	}
	return end
}

// Outlook is what the air of a zone is expected to do from the end of its closed path on. It never
// changes, and any goroutine may use it.
type Outlook struct {
	Closed     Closed
	Habit      *air.Habit    // what the zone's air usually does; nil while too little is known
	StaleAfter time.Duration // from the newest reading on, the air may be anything that it was
	Read       bool          // somebody reads the zone; false for a path that is nil
}

// Outlook returns the outlook of the zone from the end of its closed path on, along what the zone's
// own record says of its air. A nil path is that of a zone that nobody reads any more.
func (p *Path) Outlook(closed Closed, staleAfter time.Duration) Outlook {
	if p == nil {
		return Outlook{Closed: closed}
	}
	return Outlook{Closed: closed, Habit: p.habitFor(closed), StaleAfter: staleAfter, Read: true}
}

// Ends returns the ends of an ensemble that stands in the zone from the end of the closed path
// on.
func (o Outlook) Ends(ensemble *cure.Ensemble, place cure.Place) cure.Ends {
	age, known := o.assumed()
	return ensemble.Forecast(place, o.Closed.Air, age, known...)
}

// Explain returns where the width of the band of an ensemble comes from that stands in the zone from the
// end of the closed path on, and what would make it narrower; see [cure.Ensemble.Explain].
func (o Outlook) Explain(ensemble *cure.Ensemble, place cure.Place, weighing float64) (cure.Explained, bool) {
	age, known := o.assumed()
	return ensemble.Explain(place, o.Closed.Air, age, weighing, known...)
}

// assumed returns the age of the newest reading and what a forecast assumes of the air.
func (o Outlook) assumed() (age time.Duration, known []cure.ForecastOption) {
	closed := o.Closed
	if closed.ReadAt.IsZero() || !o.Read {
		return 0, []cure.ForecastOption{cure.TowardsWorst(closed.worst())}
	}
	age = closed.Until.Sub(closed.ReadAt)
	if o.Habit != nil {
		known = append(known, cure.Along(o.Habit.Ahead(closed.Air, closed.ReadAt)))
	}
	if age > o.StaleAfter {
		known = append(known, cure.TowardsWorst(closed.worst()))
	}
	return age, known
}

// Forecast returns the ends of a batch that stands in the zone from the end of the closed path
// on; see [Path.Outlook].
func (p *Path) Forecast(of Batch, closed Closed, staleAfter time.Duration) cure.Ends {
	return p.Outlook(closed, staleAfter).Ends(of.Ensemble, of.Place)
}
