package study

import (
	"math"
	"time"

	"potlifed/model/quality"
)

// mostCells is how many cells a study has at most where longer spans can bring them down to it: so many
// take a tenth of a second, and a Pi 4 half a second.
const mostCells = 8000

// spans are the lengths of cells, in quarters of an hour, from which the shortest is taken that needs at most
// mostCells. A span has the prints of one press and batch, whose conditions change little in it.
var spans = []int64{1, 2, 4, 8, 16}

// data returns the cells for a study, and how long their spans are. Days are those of the zone.
func (t *Table) data(zone *time.Location) (d quality.Data, span time.Duration) {
	rows := t.rows()
	quarters := spans[len(spans)-1]
	for _, n := range spans {
		if fits(rows, n, zone) {
			quarters = n
			break
		}
	}
	folded := t.fold(rows, quarters, zone)
	d.Kinds = t.names()
	d.Cells = make([]quality.Cell, len(folded))
	ids := map[batchOf]string{}
	for i, f := range folded {
		r := &rows[f.first]
		c := quality.Cell{Place: r.bench + "/" + r.press + "/" + r.ink, Day: f.day + " " + r.bench, Prints: quality.Prints{Prints: f.prints, Defects: f.defects}, Conditions: r.Conditions}
		for k, n := range f.known {
			if f.rows > 1 && n > 0 {
				c.Conditions[k] = f.sums[k] / n
			}
		}
		if r.batch != "" {
			key := batchOf{r.bench, r.batch, r.when()}
			if ids[key] == "" {
				ids[key] = key.id()
			}
			c.Batch = ids[key]
		}
		d.Cells[i] = c
	}
	return d, time.Duration(quarters) * quarter
}

// foldedCell is the rows of a press and batch in one span.
type foldedCell struct {
	first, rows int // the first of its rows, and their number
	day         string
	prints      float64
	defects     []float64
	sums, known quality.Conditions // as in a cell
}

// opened numbers the cells that rows fall into. Rows come in the order of time.
type opened struct {
	cells    int
	quarters int64 // length of a span
	days     dayNames
	newest   []newest // by lot
}

// newest is the newest cell of a lot.
type newest struct {
	is   bool // there is one
	cell int
	span int64
	day  string
	mix  *Mix
}

func newOpened(quarters int64, zone *time.Location) *opened {
	return &opened{quarters: quarters, days: dayNames{zone: zone}}
}

// of returns the cell of a row; is false for the first row of a cell.
func (o *opened) of(r *row) (n newest, is bool) {
	n = newest{true, o.cells, floorDiv(r.quarter, o.quarters), o.days.of(r.at), r.mix}
	for len(o.newest) <= r.number {
		o.newest = append(o.newest, newest{})
	}
	last := o.newest[r.number]
	if last.is && last.span == n.span && last.day == n.day && last.mix == n.mix {
		return last, true
	}
	o.cells++
	o.newest[r.number] = n
	return n, false
}

// fits reports whether rows fall into at most mostCells cells.
func fits(rows []row, quarters int64, zone *time.Location) bool {
	o := newOpened(quarters, zone)
	for i := range rows {
		if o.of(&rows[i]); o.cells > mostCells {
			return false
		}
	}
	return true
}

// fold gathers rows into spans of some quarters of an hour that do not reach over the end of a day.
func (t *Table) fold(rows []row, quarters int64, zone *time.Location) []foldedCell {
	folded := make([]foldedCell, 0, min(len(rows), mostCells))
	kinds := len(t.kinds)
	var defects []float64 // room for those of some cells
	o := newOpened(quarters, zone)
	for i := range rows {
		t.pause(i)
		r := &rows[i]
		cell, is := o.of(r)
		if !is {
			if len(defects) < kinds {
				defects = make([]float64, 1000*kinds)
			}
			folded = append(folded, foldedCell{first: i, day: cell.day, defects: defects[:kinds:kinds]})
			defects = defects[kinds:]
		}
		f := &folded[cell.cell]
		f.rows++
		f.prints += r.prints
		for kind, n := range r.defects {
			f.defects[kind] += n
		}
		for c, x := range r.Conditions {
			if !math.IsNaN(x) {
				f.sums[c] += x * r.prints
				f.known[c] += r.prints
			}
		}
	}
	return folded
}

// dayNames names days, which come in the order of time.
type dayNames struct {
	zone     *time.Location
	from, to time.Time
	name     string
}

func (d *dayNames) of(at time.Time) string {
	if d.name == "" || at.Before(d.from) || !at.Before(d.to) {
		y, m, day := at.In(d.zone).Date()
		d.from, d.to = time.Date(y, m, day, 0, 0, 0, 0, d.zone), time.Date(y, m, day+1, 0, 0, 0, 0, d.zone)
		d.name = at.In(d.zone).Format(time.DateOnly)
	}
	return d.name
}
