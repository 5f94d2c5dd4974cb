package study

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"potlifed/model/quality"
)

// Counts are prints of a press, or rejects of one kind, in a span of at most a quarter of an
// hour.
type Counts struct {
	Bench, Press, Batch, Ink string
	At                       time.Time // begin of the span
	Kind                     string    // of the rejects; empty for prints
	Pieces                   float64   // below 0 for a correction of earlier rejects
	quality.Conditions                 // NaN where not known
}

// Mix is a batch with what the counts may not say.
type Mix struct {
	Bench, Batch, Ink string
	At                time.Time // when it ended, or was mixed
	ThinnerPct        float64   // NaN when not known
	RatioOffPct       float64   // NaN when not known
}

// OpenMix returns what is known of a batch that has not ended.
func OpenMix(batch, ink string, now time.Time) Mix {
	return Mix{Batch: batch, Ink: ink, At: now, ThinnerPct: math.NaN(), RatioOffPct: math.NaN()}
}

// Filter says which counts are studied. Empty fields limit nothing.
type Filter struct {
	From, To time.Time // To is not included
	Press    string
	Kind     string // of the rejects
}

func (f Filter) takes(c Counts) bool {
	return (f.From.IsZero() || !c.At.Before(f.From)) && (f.To.IsZero() || c.At.Before(f.To)) &&
		(f.Press == "" || f.Press == c.Press) && (f.Kind == "" || c.Kind == "" || f.Kind == c.Kind)
}

// Table gathers counts into cells: one for each press, batch and quarter of an hour. Its memory
// is bounded by the number of cells, not by that of the counts.
type Table struct {
	// Pause is called every few hundred rows of a computation, so that others get the processor; nil for
	// none.
	Pause       func()
	filter      Filter
	lots        map[lot]int // numbers from 0
	cells       []*cell
	of          []lotCells // by lot
	room        []cell     // for the next cells
	kinds       map[string]int
	mixes       map[mixed][]Mix
	first, last time.Time
	ordered     []row // what rows returned; nil after a change
}

// cellsAtOnce is how many cells are made at once.
const cellsAtOnce = 512

// quarter is the length of a cell.
const quarter = 15 * time.Minute

// lot is what the cells of a batch on a press have in common.
type lot struct{ bench, press, batch string }

// lotCells are the cells of a lot.
type lotCells struct {
	latest, added, newest *cell // the latest in time, that which was added to last, and that which came last
	// at has all of them by their quarter. It is nil while they come in the order of time, as those of a bench do.
	at map[int64]*cell
}

// mixed names batches.
type mixed struct{ bench, batch string }

type cell struct {
	quarter int64 // since 1970
	lot     int   // number
	before  *cell // of the same lot, as they came
	ink     string
	prints  float64
	defects []float64          // by kind; kinds beyond its length have none
	sums    quality.Conditions // times the prints that know the condition
	known   quality.Conditions // these prints
}

// NewTable returns an empty table of the counts that the filter takes.
func NewTable(f Filter) *Table {
	return &Table{filter: f, lots: map[lot]int{}, kinds: map[string]int{}, mixes: map[mixed][]Mix{}}
}

// Unknown returns conditions of which none is known.
func Unknown() quality.Conditions {
	var c quality.Conditions
	for i := range c {
		c[i] = math.NaN()
	}
	return c
}

// Add adds counts.
func (t *Table) Add(c Counts) {
	if c.Pieces == 0 || !t.filter.takes(c) {
		return
	}
	t.ordered = nil
	in := t.cell(floorDiv(c.At.Unix(), int64(quarter/time.Second)), lot{c.Bench, c.Press, c.Batch})
	if t.first.IsZero() || c.At.Before(t.first) {
		t.first = c.At
	}
	if c.At.After(t.last) {
		t.last = c.At
	}
	in.ink = cmp.Or(in.ink, c.Ink)
	if c.Kind != "" {
		kind, ok := t.kinds[c.Kind]
		if !ok {
			kind = len(t.kinds)
			t.kinds[c.Kind] = kind
		}
		for len(in.defects) <= kind {
			in.defects = append(in.defects, 0)
		}
		in.defects[kind] += c.Pieces
		return
	}
	in.prints += c.Pieces
	for f, x := range c.Conditions {
		if !math.IsNaN(x) {
			in.sums[f] += x * c.Pieces
			in.known[f] += c.Pieces
		}
	}
}

// cell returns the cell of a lot in a quarter of an hour.
func (t *Table) cell(quarter int64, of lot) *cell {
	number, known := t.lots[of]
	if !known {
		number = len(t.lots)
		t.lots[of] = number
		t.of = append(t.of, lotCells{})
	}
	l := &t.of[number]
	if l.added != nil && l.added.quarter == quarter {
		return l.added
	}
	if l.latest != nil && quarter <= l.latest.quarter {
		l.index()
		if c := l.at[quarter]; c != nil {
			l.added = c
			return c
		}
	}
	if len(t.room) == 0 {
		t.room = make([]cell, cellsAtOnce)
	}
	c := &t.room[0]
	t.room = t.room[1:]
	*c = cell{quarter: quarter, lot: number, before: l.newest}
	t.cells = append(t.cells, c)
	l.added, l.newest = c, c
	if l.latest == nil || quarter > l.latest.quarter {
		l.latest = c
	}
	if l.at != nil {
		l.at[quarter] = c
	}
	return c
}

// index fills at.
func (l *lotCells) index() {
	if l.at != nil {
		return
	}
	l.at = map[int64]*cell{}
	for c := l.newest; c != nil; c = c.before {
		l.at[c.quarter] = c
	}
}

// addMix adds what is known of a batch. Conditions of the counts themselves take precedence.
func (t *Table) addMix(m Mix) {
	t.ordered = nil
	of := mixed{m.Bench, m.Batch}
	t.mixes[of] = append(t.mixes[of], m)
}

// pause calls Pause every few hundred rows: a study takes long, and the bench's loop must not wait for it.
func (t *Table) pause(row int) {
	if t.Pause != nil && row%200 == 0 {
		t.Pause()
	}
}

func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}

// row is a cell with its place, as the study reads it.
type row struct {
	quarter int64 // since 1970
	number  int   // of the lot, in the order of bench, press and batch
	lot
	at      time.Time
	ink     string
	mix     *Mix
	prints  float64
	defects []float64
	quality.Conditions
}

// rows returns the cells in the order of time, with corrections taken from the cells that they
// correct. The caller must not change them.
func (t *Table) rows() []row {
	if t.ordered == nil {
		t.ordered = t.order()
	}
	return t.ordered
}

func (t *Table) order() []row {
	lots := slices.SortedFunc(maps.Keys(t.lots), func(a, b lot) int {
		return cmp.Or(cmp.Compare(a.bench, b.bench), cmp.Compare(a.press, b.press), cmp.Compare(a.batch, b.batch))
	})
	order := make([]int, len(lots)) // of the lots' numbers
	mixes := make([][]Mix, len(lots))
	for i, l := range lots {
		order[t.lots[l]], mixes[i] = i, t.mixes[mixed{l.bench, l.batch}]
	}
	cells := t.cells
	byPlace := func(a, b *cell) int {
		return cmp.Or(cmp.Compare(a.quarter, b.quarter), cmp.Compare(order[a.lot], order[b.lot]))
	}
	if !slices.IsSortedFunc(cells, byPlace) {
		slices.SortFunc(cells, byPlace)
	}
	rows := make([]row, len(cells))
	counts := make([]float64, len(cells)*len(t.kinds))
	for i, c := range cells {
		t.pause(i)
		n := order[c.lot]
		r := &rows[i]
		*r = row{quarter: c.quarter, number: n, lot: lots[n], at: time.Unix(c.quarter*int64(quarter/time.Second), 0).UTC(), ink: c.ink, prints: c.prints}
		r.defects, counts = counts[:len(t.kinds):len(t.kinds)], counts[len(t.kinds):]
		copy(r.defects, c.defects)
		for f, n := range c.known {
			r.Conditions[f] = math.NaN()
			if n > 0 {
				r.Conditions[f] = c.sums[f] / n
			}
		}
		r.mix = nearest(mixes[n], r.at)
		if r.mix != nil {
			r.ink = cmp.Or(r.ink, r.mix.Ink)
			r.fill(quality.Thinner, r.mix.ThinnerPct)
			r.fill(quality.RatioError, math.Abs(r.mix.RatioOffPct))
		}
	}
	t.correct(rows)
	return rows
}

func (r *row) fill(f quality.Factor, x float64) {
	if math.IsNaN(r.Conditions[f]) {
		r.Conditions[f] = x
	}
}

// nearest returns the batch of an id that is nearest in time, nil for none: ids are used again after a year.
func nearest(list []Mix, at time.Time) *Mix {
	if len(list) == 1 {
		return &list[0]
	}
	var best *Mix
	for i := range list {
		if best == nil || list[i].At.Sub(at).Abs() < best.At.Sub(at).Abs() {
			best = &list[i]
		}
	}
	return best
}

// correct takes what is below zero from earlier cells of the same press and batch, the newest
// first; what corrects nothing is left out.
func (t *Table) correct(rows []row) {
	corrects := func(r row) bool { return slices.ContainsFunc(r.defects, func(n float64) bool { return n < 0 }) }
	if !slices.ContainsFunc(rows, corrects) {
		return
	}
	earlier := map[int][]int{} // by lot
	for i := range rows {
		t.pause(i)
		k := rows[i].number
		for kind := range len(t.kinds) {
			for j := len(earlier[k]) - 1; rows[i].defects[kind] < 0 && j >= 0; j-- {
				from := &rows[earlier[k][j]].defects[kind]
				taken := min(*from, -rows[i].defects[kind])
				*from -= taken
				rows[i].defects[kind] += taken
			}
			rows[i].defects[kind] = max(0, rows[i].defects[kind])
		}
		earlier[k] = append(earlier[k], i)
	}
}

// batchOf is a batch with its bench and, since ids are used again after a year, a time.
type batchOf struct {
	bench, batch string
	when         int
}

func (b batchOf) id() string { return fmt.Sprintf("%s/%s@%d", b.bench, b.batch, b.when) }

// when tells batches with the same id apart: when the batch ended, or the year.
func (r row) when() int {
	if r.mix != nil {
		return int(r.mix.At.Unix())
	}
	return r.at.Year()
}

// names returns the kinds in the order of their numbers.
func (t *Table) names() []string {
	names := make([]string, len(t.kinds))
	for name, i := range t.kinds {
		names[i] = name
	}
	return names
}

// span returns the begin of the first and the end of the last cell; ok is false without any.
func (t *Table) span() (from, to time.Time, ok bool) {
	if len(t.cells) == 0 {
		return from, to, false
	}
	return t.first.Truncate(quarter).UTC(), t.last.Truncate(quarter).Add(quarter).UTC(), true
}

// weeks returns how many weeks the counts took, at least one day.
func (t *Table) weeks() float64 {
	from, to, ok := t.span()
	if !ok {
		return 0
	}
	return max(24*time.Hour, to.Sub(from)).Hours() / (7 * 24)
}
