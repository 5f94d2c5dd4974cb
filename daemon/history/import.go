package history

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"potlifed/model/air"
	"potlifed/model/cure"
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
	climate map[string]*climate // by zone
	counts  map[string]*counted // by press
	rows    int64               // of batches
}

// climate is the air of a zone that is being imported.
type climate struct {
	series int64
	last   Reading
	row    int64 // of quarter-hours that waits
	waits  buckets
}

// counted is the quarter-hour of a press that is being imported.
type counted struct {
	quarter int64
	tallies map[tallyKey]tally
}

// longestPaperStep is how far apart two rows of air may be for the air between them to be known.
const longestPaperStep = 3 * time.Hour

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
		i := &Import{store: s, tx: tx, climate: map[string]*climate{}, counts: map[string]*counted{}}
		if i.air, err = tx.Prepare(`INSERT OR IGNORE INTO paper_air (series, at, celsius, percent) VALUES (?, ?, ?, ?)`); err != nil {
			return err
		}
		defer i.air.Close()
		if err := f(i); err != nil {
			return err
		}
		return i.finish()
	})
}

// File notes a file that is imported, by the hash of its bytes. The error is ErrImported when the
// same bytes were imported before, with the file and the time.
func (i *Import) File(what, file, sha256 string, rows int64, at time.Time) error {
	var before string
	var when int64
	err := i.tx.QueryRow(`SELECT file, at FROM import WHERE sha256 = ?`, sha256).Scan(&before, &when)
	if err == nil {
		return fmt.Errorf("%w, as %s on %s", ErrImported, before, time.UnixMilli(when).UTC().Format(time.RFC3339))
	}
	if !errors.Is(err, sql.ErrNoRows) {
		return err
	}
	done, err := i.tx.Exec(`INSERT INTO import (at, what, file, sha256, rows) VALUES (?, ?, ?, ?, ?)`, at.UnixMilli(), what, file, sha256, rows)
	if err != nil {
		return err
	}
	i.id, err = done.LastInsertId()
	i.rows = 0
	return err
}

// Air adds the air of a zone at an instant. The rows of a zone must come in the order of time.
// Between two rows that are at most three hours apart the air goes in a straight line. The
// error is ErrImported when there is imported air of that instant.
func (i *Import) Air(zone string, at time.Time, a air.State) error {
	key := seriesKey{Paper, kindZone, zone}
	c := i.climate[zone]
	if c == nil {
		id, err := i.store.series(i.tx, key)
		if err != nil {
			return err
		}
		c = &climate{series: id, waits: buckets{}}
		i.climate[zone] = c
	}
	done, err := i.air.Exec(c.series, at.UnixMilli(), a.TemperatureC, a.HumidityPct)
	if err != nil {
		return err
	}
	if n, err := done.RowsAffected(); err != nil || n == 0 {
		return errors.Join(ErrImported, err)
	}
	if d := at.Sub(c.last.At); !c.last.At.IsZero() && d <= longestPaperStep {
		c.waits.addStep(key, c.last.At, cure.Step{Duration: d, From: c.last.Air, To: a, Kind: cure.Measured})
	}
	c.last = Reading{at, a}
	if row, _ := quarters.row(at.UnixMilli()); row != c.row {
		c.row = row
		return i.store.putBuckets(i.tx, c)
	}
	return nil
}

// putBuckets stores the quarter-hours that wait.
func (s *store) putBuckets(tx *sql.Tx, c *climate) error {
	for row, list := range c.waits {
		if err := quarters.merge(tx, c.series, row.row, list); err != nil {
			return err
		}
	}
	clear(c.waits)
	return nil
}

// Pieces are prints, or rejects by a kind of defect, to be imported.
type Pieces struct {
	At                 time.Time
	Press, Kind, Batch string // Kind is empty for prints
	Number             int64
	Conditions
}

// Count adds prints or rejects. The rows of a press must come in the order of time. The error is
// ErrImported or ErrMeasured when there are such counts of that quarter-hour.
func (i *Import) Count(p Pieces) error {
	c := i.counts[p.Press]
	if c == nil {
		c = &counted{}
		i.counts[p.Press] = c
	}
	k := tallyKey{quarterOf(p.At), p.Press, p.Kind, p.Batch, Paper}
	if c.tallies == nil || k.quarter != c.quarter {
		if err := i.putCounts(c); err != nil {
			return err
		}
		c.quarter, c.tallies = k.quarter, map[tallyKey]tally{}
	}
	sum, again := c.tallies[k]
	if !again {
		if err := i.free(k); err != nil {
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
	c.tallies[k] = sum
	return nil
}

// free reports an error where there are counts of a quarter-hour that a row would double.
func (i *Import) free(k tallyKey) error {
	rows, err := i.tx.Query(`SELECT source, batch FROM tally WHERE quarter = ? AND press = ? AND kind = ?`, k.quarter, k.press, k.kind)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var source, batch string
		if err := rows.Scan(&source, &batch); err != nil {
			return err
		}
		if Source(source) == Measured {
			return ErrMeasured
		}
		if batch == k.batch {
			return ErrImported
		}
	}
	return rows.Err()
}

func (i *Import) putCounts(c *counted) error {
	for k, t := range c.tallies {
		if err := putTally(i.tx, k, t); err != nil {
			return err
		}
	}
	return nil
}

// Totals returns the prints and the rejects of a press in [from, to), what is being imported
// included.
func (i *Import) Totals(press string, from, to time.Time) (prints, defects int64, err error) {
	for _, c := range i.counts {
		if err := i.putCounts(c); err != nil {
			return 0, 0, err
		}
		c.tallies = nil
	}
	err = i.tx.QueryRow(`SELECT coalesce(sum(CASE kind WHEN '' THEN pieces END), 0), coalesce(sum(CASE kind WHEN '' THEN 0 ELSE pieces END), 0)
		FROM tally WHERE press = ? AND quarter >= ? AND quarter < ?`, press, quarterOf(from), quarterOf(to)).Scan(&prints, &defects)
	return prints, defects, err
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
	b.Source, b.Seq = Paper, uint64(i.id)<<32+uint64(i.rows)
	b.vapour()
	return putBatch(i.tx, b)
}

// finish stores what waits.
func (i *Import) finish() error {
	for _, c := range i.climate {
		if err := i.store.putBuckets(i.tx, c); err != nil {
			return err
		}
	}
	for _, c := range i.counts {
		if err := i.putCounts(c); err != nil {
			return err
		}
	}
	return nil
}
