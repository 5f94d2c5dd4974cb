package bench

import (
	"maps"
	"reflect"
	"slices"
	"time"

	"potlifed/daemon/record"
	"potlifed/daemon/view"
	"potlifed/model/airpath"
	"potlifed/model/can"
	"potlifed/model/lifecycle"
)

// rowSource is everything that the row of a batch is made from: equal sources give equal rows, but
// for the number of the newest event. What it points to is never changed, so that the pointers
// count as versions. A row that is found by its source needs no other code to say that it is out of date.
type rowSource struct {
	batch *record.Batch
	shop  *catalogue
	// life is what the figures are derived from. Of a closed batch it is only what spent was shown last.
	life      airpath.Life
	quality   view.Quality // of the zone's air
	why       string
	cupEmptyG float64
	byBench   uint64 // the event of a step that the bench confirmed and that can still be undone, 0 for none
	// Of a batch that is being mixed, or whose cup stands aside: the rules of its cans and the weight
	// of the cup depend on the time, and on the cans that there are.
	at   time.Time
	cans uintptr
}

// madeRow is a row and what it was made from.
type madeRow struct {
	of   rowSource
	cans map[string]*can.Can // kept, so that no later map gets the address in of.cans
	row  view.Batch
}

// rows are the rows of the batches of the last snapshot. With hundreds of open batches, making
// all rows at each event would keep the loop busy for longer than a weight may wait.
type rows struct {
	made map[string]*madeRow
	at   time.Time // of the last tick: what depends on time alone is made again once in each

	// Of the last state that was shown: while its batches are the same map, so are these.
	batches map[string]*record.Batch // kept, so that no later map gets its address
	ids     []string
	lives   map[string]view.Life
}

// identity is equal for the same map, as long as that map is kept. A map of a state is never written to.
func identity[K comparable, V any](m map[K]V) uintptr { return reflect.ValueOf(m).Pointer() }

// order keeps the ids of a state's open batches in their order, and their lives.
func (r *rows) order(s record.State) {
	if identity(s.Batches) != identity(r.batches) {
		r.batches, r.ids, r.lives = s.Batches, slices.Sorted(maps.Keys(s.Batches)), make(map[string]view.Life, len(s.Batches))
		for id, batch := range s.Batches {
			if batch.Ensemble != nil {
				life := view.Life{Ensemble: batch.Ensemble, Place: batch.Basis.Place, MixedAt: batch.MixedAt, Weighing: batch.Basis.WeighingU}
				if batch.Trend != nil {
					life.Instrument = batch.Trend.Instrument
				}
				r.lives[id] = life
			}
		}
	}
}

// forget drops the rows of batches that a state has no more.
func (r *rows) forget(s record.State) {
	if len(r.made) <= len(s.Batches)+len(s.Closed) {
		return
	}
	kept := make(map[string]bool, len(s.Closed))
	for _, batch := range s.Closed {
		kept[batch.ID] = true
	}
	maps.DeleteFunc(r.made, func(id string, _ *madeRow) bool { return s.Batches[id] == nil && !kept[id] })
}

// batchViews returns the rows of the open batches of a state, by id, and of its closed ones, the
// newest first.
func (b *Bench) batchViews(s record.State, now time.Time) (open, closed []view.Batch) {
	b.rows.order(s)
	in := b.sourcesOf(s, now)
	open = make([]view.Batch, 0, len(s.Batches))
	for _, id := range b.rows.ids {
		open = append(open, b.batchRow(s, s.Batches[id], now, in))
	}
	closed = make([]view.Batch, 0, len(s.Closed))
	for _, batch := range slices.Backward(s.Closed) {
		closed = append(closed, b.batchRow(s, batch, now, in))
	}
	b.rows.forget(s)
	return open, closed
}

// batchRow returns the row of a batch, made again only if its source is another.
func (b *Bench) batchRow(s record.State, batch *record.Batch, now time.Time, in sources) view.Batch {
	of := b.sourceOf(s, batch, now, in)
	made := b.rows.made[batch.ID]
	if made == nil || made.of != of {
		made = &madeRow{of, s.Cans, b.batchView(s, batch, now)}
		b.rows.made[batch.ID] = made
	}
	row := made.row
	if row.Seq = s.Seq; batch.Phase == lifecycle.Closed {
		row.Time = now // nothing in it changes with time
	}
	return row
}

// sources are the parts of a source that many batches share.
type sources struct {
	shop    *catalogue
	cans    uintptr
	byBench map[string]uint64 // by batch
	air     map[string]airQuality
}

type airQuality struct {
	quality view.Quality
	why     string
}

func (b *Bench) sourcesOf(s record.State, now time.Time) sources {
	in := sources{b.offered.Load(), identity(s.Cans), map[string]uint64{}, map[string]airQuality{}}
	for i := range s.Undoables {
		for id := range s.Undoables[i].Batches {
			if by := byBench(s, id, now); by != nil {
				in.byBench[id] = by.Seq
			}
		}
	}
	for id, z := range b.zones {
		quality, why := b.quality(z, now)
		in.air[id] = airQuality{quality, why}
	}
	return in
}

func (b *Bench) sourceOf(s record.State, batch *record.Batch, now time.Time, in sources) rowSource {
	of := rowSource{batch: batch, shop: in.shop, cupEmptyG: b.shop.cupEmpty(b.state, batch), byBench: in.byBench[batch.ID]}
	if batch.Phase == lifecycle.Closed {
		of.life = airpath.Life{Spent: b.shownSpent(batch)}
		return of
	}
	air := in.air[batch.Zone]
	of.quality, of.why = air.quality, air.why
	if batch.Phase != lifecycle.Open || batch.Aside() {
		of.at, of.cans = b.rows.at, in.cans
	}
	if batch.Ensemble != nil {
		of.life = b.lifeOf(s, batch, now)
	}
	return of
}
