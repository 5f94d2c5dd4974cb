package history

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"time"

	"potlifed/model/air"
)

// The reasons for which a row or a file is not imported.
var (
	ErrImported = errors.New("it was imported before")
	ErrMeasured = errors.New("the bench recorded it itself")
	ErrNoFile   = errors.New("there is no history yet: let the service run with this configuration once")
)

// Import adds paper records to a history, all of them or none. The journal, and so the bench's
// state, is not touched.
type Import struct {
	store *store
	tx    *sql.Tx
	id    int64

	air     *sql.Stmt
	climate map[string]*span // the air that is new, by zone
	days    days
	rows    int64 // of batches
}

// ImportInto runs f, which adds rows, in one transaction: when f or the end of the import fails,
// nothing was imported. A daemon may be running; it waits with its own rows meanwhile.
func ImportInto(ctx context.Context, dir string, f func(*Import) error) (err error) {
	if _, err := os.Stat(filepath.Join(dir, FileName)); err != nil {
		if errors.Is(err, os.ErrNotExist) {
			return ErrNoFile
		}
		return err
	}
	s, err := openStore(dir)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, s.close()) }()
	return s.in(ctx, func(tx *sql.Tx) error {
		i := &Import{store: s, tx: tx, climate: map[string]*span{}, days: days{tx: tx}}
		if i.air, err = tx.Prepare(`INSERT OR IGNORE INTO paper_air (series, at, celsius, percent, import) VALUES (?, ?, ?, ?, ?)`); err != nil {
			return err
		}
		defer i.air.Close()
		if err := f(i); err != nil {
			return err
		}
		return i.finish()
	})
}

// File notes a file that is imported, by the hash of its bytes, and returns the id of the import. The error is
// ErrImported when the same bytes were imported before and not undone, with the file and the time.
func (i *Import) File(what, file, sha256 string, rows int64, at time.Time) (id int64, err error) {
	var before string
	var when int64
	err = i.tx.QueryRow(`SELECT file, at FROM imported WHERE sha256 = ? AND undone IS NULL`, sha256).Scan(&before, &when)
	if err == nil {
		return 0, fmt.Errorf("%w, as %s on %s", ErrImported, before, time.UnixMilli(when).UTC().Format(time.RFC3339))
	}
	if !errors.Is(err, sql.ErrNoRows) {
		return 0, err
	}
	if err := i.days.flush(); err != nil {
		return 0, err
	}
	done, err := i.tx.Exec(`INSERT INTO imported (at, what, file, sha256, rows, marked) VALUES (?, ?, ?, ?, ?, 1)`, at.UnixMilli(), what, file, sha256, rows)
	if err != nil {
		return 0, err
	}
	i.rows = 0
	i.id, err = done.LastInsertId()
	i.days.number = i.id
	return i.id, err
}

// Air adds the air of a zone at an instant. Between two rows that are at most three hours apart the air goes
// in a straight line. The error is ErrImported when there is imported air of that instant.
func (i *Import) Air(zone string, at time.Time, a air.State) error {
	c := i.climate[zone]
	if c == nil {
		id, err := i.store.series(i.tx, seriesKey{Paper, kindZone, zone})
		if err != nil {
			return err
		}
		c = &span{series: id, first: at.UnixMilli(), last: at.UnixMilli()}
		i.climate[zone] = c
	}
	done, err := i.air.Exec(c.series, at.UnixMilli(), a.TemperatureC, a.HumidityPct, i.id)
	if err != nil {
		return err
	}
	if n, err := done.RowsAffected(); err != nil || n == 0 {
		return errors.Join(ErrImported, err)
	}
	c.first, c.last = min(c.first, at.UnixMilli()), max(c.last, at.UnixMilli())
	return nil
}

// Pieces are prints, or rejects by a kind of defect, to be imported.
type Pieces struct {
	At                 time.Time
	Press, Kind, Batch string // Kind is empty for prints
	Number             int64
	Conditions
}

// Count adds prints or rejects. The error is ErrImported or ErrMeasured when another file, or the bench, has such
// counts of that quarter-hour.
func (i *Import) Count(p Pieces) error {
	k := tallyKey{quarterOf(p.At), p.Press, p.Kind, p.Batch, Paper}
	day, err := i.days.open(dayOf(k.quarter))
	if err != nil {
		return err
	}
	sum, again := day.own[k]
	if !again {
		if err := day.free(k); err != nil {
			return err
		}
	}
	t := tally{pieces: p.Number}
	n := float64(p.Number)
	if p.Spent != nil {
		t.lived, t.spent = p.Number, n**p.Spent
		if p.AgeS != nil {
			t.ageS = n * *p.AgeS
		}
	}
	if p.TemperatureC != nil && p.HumidityPct != nil {
		t.aired, t.celsius, t.percent = p.Number, n**p.TemperatureC, n**p.HumidityPct
	}
	sum.add(t)
	day.own[k] = sum
	day.changed = true
	return nil
}

// Totals returns the prints and the rejects of a press in [from, to), what is being imported
// included.
func (i *Import) Totals(press string, from, to time.Time) (prints, defects int64, err error) {
	first, end := quarterOf(from), quarterOf(to)
	add := func(k tallyKey, t tally) {
		switch {
		case k.press != press || k.quarter < first || k.quarter >= end:
		case k.kind == "":
			prints += t.pieces
		default:
			defects += t.pieces
		}
	}
	for n := dayOf(first); n <= dayOf(end-1); n++ {
		day, err := i.days.open(n)
		if err != nil {
			return 0, 0, err
		}
		for _, c := range day.others {
			add(c.tallyKey, c.tally)
		}
		for k, t := range day.own {
			add(k, t)
		}
	}
	return prints, defects, nil
}

// Batch adds a batch. Its Source and Seq are set here. The error is ErrImported or ErrMeasured
// when there is a batch of this id that ended at about that time: ids are used again after a year.
func (i *Import) Batch(b Batch) error {
	const about = 100 * 24 * time.Hour
	var source string
	err := i.tx.QueryRow(`SELECT source FROM batch WHERE id = ? AND closed BETWEEN ? AND ? ORDER BY source LIMIT 1`,
		b.ID, b.ClosedAt.Add(-about).UnixMilli(), b.ClosedAt.Add(about).UnixMilli()).Scan(&source)
	switch {
	case err == nil && Source(source) == Measured:
		return ErrMeasured
	case err == nil:
		return ErrImported
	case !errors.Is(err, sql.ErrNoRows):
		return err
	}
	i.rows++
	b.Source, b.Seq = Paper, uint64(i.id)<<batchRowBits+uint64(i.rows)
	b.vapour()
	return putBatch(i.tx, b)
}

// batchRowBits is how many bits of a paper batch's seq number its row; those above are the id of its import.
const batchRowBits = 32

// finish stores what waits.
func (i *Import) finish() error {
	for _, zone := range slices.Sorted(maps.Keys(i.climate)) {
		if err := i.climate[zone].again(i.tx); err != nil {
			return err
		}
	}
	return i.days.flush()
}
