package history

import (
	"cmp"
	"context"
	"database/sql"
	"slices"
	"time"

	"potlifed/model/cure"
)

// span is a part of a zone's imported air, in ms since 1970, both ends included.
type span struct{ series, first, last int64 }

// longestPaperStep is how far apart two rows of air may be for the air between them to be known.
const longestPaperStep = 3 * time.Hour

// again makes the quarter-hours of the days of a span again, from all imported rows of the zone.
func (s span) again(tx *sql.Tx) error {
	reach := longestPaperStep.Milliseconds()
	firstDay, _ := quarters.row(s.first - reach)
	lastDay, _ := quarters.row(s.last + reach)
	if _, err := tx.Exec(`DELETE FROM quarters WHERE key BETWEEN ? AND ?`, s.series*quarters.series+firstDay, s.series*quarters.series+lastDay); err != nil {
		return err
	}
	rows, err := tx.Query(`SELECT at, celsius, percent FROM paper_air WHERE series = ? AND at >= ? AND at < ? ORDER BY at`,
		s.series, quarters.starts(firstDay, 0)-reach, quarters.starts(lastDay+1, 0)+reach)
	if err != nil {
		return err
	}
	defer rows.Close()
	waits, key := buckets{}, seriesKey{Paper, kindZone, ""}
	store := func(before int64) error {
		for row, list := range waits {
			if row.row >= before {
				continue
			}
			delete(waits, row)
			if row.row < firstDay || row.row > lastDay {
				continue
			}
			if err := quarters.merge(tx, s.series, row.row, list); err != nil {
				return err
			}
		}
		return nil
	}
	var last Reading
	for rows.Next() {
		var at int64
		var r Reading
		if err := rows.Scan(&at, &r.Air.TemperatureC, &r.Air.HumidityPct); err != nil {
			return err
		}
		r.At = time.UnixMilli(at)
		if d := r.At.Sub(last.At); !last.At.IsZero() && d <= longestPaperStep {
			waits.addStep(key, last.At, cure.Step{Duration: d, From: last.Air, To: r.Air, Kind: cure.Measured})
		}
		last = r
		if day, _ := quarters.row(at); len(waits) > 1 {
			if err := store(day); err != nil {
				return err
			}
		}
	}
	if err := rows.Err(); err != nil {
		return err
	}
	return store(lastDay + 2)
}

// days are the days whose counts are being imported. Few are open at once, so that the memory in use does not
// depend on the number of rows.
type days struct {
	tx     *sql.Tx
	number int64 // id of the import
	list   []*importDay
}

// mostDays is how many days are open: the files of several presses may be on different days.
const mostDays = 16

// importDay is a day (UTC) with what it has already, and what the import adds.
type importDay struct {
	day     int64
	others  []count
	taken   map[tallyKey][]tallyKey // what has counts already, by quarter-hour, press and kind
	own     map[tallyKey]tally
	changed bool
}

// open returns a day.
func (d *days) open(day int64) (*importDay, error) {
	at := slices.IndexFunc(d.list, func(o *importDay) bool { return o.day == day })
	if at >= 0 {
		open := d.list[at]
		if at > 0 { // the list is in the order of use
			d.list = slices.Insert(slices.Delete(d.list, at, at+1), 0, open)
		}
		return open, nil
	}
	if len(d.list) >= mostDays {
		if err := d.store(d.list[len(d.list)-1]); err != nil {
			return nil, err
		}
		d.list = d.list[:len(d.list)-1]
	}
	open := &importDay{day: day, taken: map[tallyKey][]tallyKey{}}
	own, err := countsOf(d.tx, day, d.number)
	if err != nil {
		return nil, err
	}
	open.own = own
	err = eachDay(context.Background(), d.tx, day, day, func(all []count) error {
		for _, c := range all {
			if _, mine := own[c.tallyKey]; mine {
				continue
			}
			open.others = append(open.others, c)
			slot := tallyKey{quarter: c.quarter, press: c.press, kind: c.kind}
			open.taken[slot] = append(open.taken[slot], c.tallyKey)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	d.list = slices.Insert(d.list, 0, open)
	return open, nil
}

// free reports an error where there are counts of a quarter-hour that a row would double.
func (d *importDay) free(k tallyKey) error {
	for _, c := range d.taken[tallyKey{quarter: k.quarter, press: k.press, kind: k.kind}] {
		if c.source == Measured {
			return ErrMeasured
		}
		if c.batch == k.batch {
			return ErrImported
		}
	}
	return nil
}

func (d *days) store(day *importDay) error {
	if !day.changed {
		return nil
	}
	return putCounts(d.tx, day.day, d.number, day.own)
}

// flush stores all days and closes them.
func (d *days) flush() error {
	var failed error
	for _, day := range d.list {
		failed = cmp.Or(failed, d.store(day))
	}
	d.list = nil
	return failed
}
