// Package journal stores the records on disk: one sequence of events and air steps in an SQLite
// file, with checkpoints of the state from which a start continues.
//
// One goroutine writes ([Journal.Run]); any goroutine may read. A group of records is committed
// as a whole with synchronous=FULL: what was reported as written is still there after a power
// cut.
package journal

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net/url"
	"os"
	"sync/atomic"
	"time"

	_ "modernc.org/sqlite" // the driver named "sqlite"

	"potlifed/daemon/actor"
	"potlifed/daemon/record"
	"potlifed/daemon/view"
	"potlifed/model/cure"
)

// Journal is an open journal.
type Journal struct {
	write atomic.Pointer[sql.DB] // one connection, used by Run; nil while nothing can be written
	read  atomic.Pointer[sql.DB]
	waits atomic.Pointer[[]row] // waiting, for readers
	lock  *os.File
	head  *headWriter
	dir   string
	id    string
	bench string // see PublishAs
	log   *slog.Logger

	end     end                          // the writer's
	waiting []row                        // the newest records, which are in the head only; the writer's
	settled time.Time                    // when something was last written to the file; the writer's
	direct  bool                         // the last write to the file failed; the writer's
	first   atomic.Pointer[record.State] // what Open has read, until something is written
	rebuilt *Rebuilt

	noWrites error  // why the disk takes nothing since the start, nil when it does; Run's
	copied   string // the folder with a copy in memory, empty for none
	hashes   bool   // the file's layout has them

	groups  chan Group
	acks    chan error
	observe func(time.Duration)
	cursors cursors
}

func newJournal(dir string, log *slog.Logger) *Journal {
	return &Journal{
		dir: dir, log: log, hashes: true, end: end{link: seed},
		groups: make(chan Group, 1), acks: make(chan error, 1),
	}
}

// db returns the file for reading.
func (j *Journal) db() *sql.DB { return j.read.Load() }

// cacheKB is how many kB of pages a connection keeps.
const cacheKB = 256

// FileName is the journal's name inside the data directory.
const FileName = "journal.sqlite"

// dsn returns the data source name with the pragmas, so that every new connection gets them, the
// time-out first. The driver runs the others by the alphabet, but the size of a page counts only before
// the log is chosen: it stands with the time-out. The size of the log is limited, since a memory card is small; it is folded into the
// file after as many bytes as SQLite's own limit of 1000 pages of 4096 gives. Each connection keeps at
// most 256 kB of pages: what is read again and again is a few pages, and the rest is in the system's cache.
func dsn(path string, readOnly bool) string {
	q := url.Values{}
	for _, p := range []string{
		fmt.Sprintf("busy_timeout(5000); PRAGMA page_size(%d)", pageBytes), "journal_mode(WAL)", "synchronous(FULL)",
		"wal_autocheckpoint(4000)", "journal_size_limit(8388608)", fmt.Sprintf("cache_size(-%d)", cacheKB), "foreign_keys(ON)",
	} {
		q.Add("_pragma", p)
	}
	if readOnly {
		q.Set("mode", "ro")
	} else {
		q.Set("_txlock", "immediate")
	}
	return (&url.URL{Scheme: "file", Opaque: (&url.URL{Path: path}).EscapedPath(), RawQuery: q.Encode()}).String()
}

// PublishAs sets the bench's name that [Journal.Events] gives. Call it before anything reads events.
func (j *Journal) PublishAs(bench string) { j.bench = bench }

// ID returns the journal's id. Each new file gets a new one.
func (j *Journal) ID() string { return j.id }

// Close closes the files. Run must have ended. It returns the joined errors of closing.
func (j *Journal) Close() error {
	var errs []error
	write := j.write.Load()
	if write != nil && !j.direct {
		errs = append(errs, j.settle())
	}
	errs = append(errs, j.db().Close())
	if write != nil { // the last one, since only it can fold the log into the file
		errs = append(errs, write.Close())
	}
	errs = append(errs, j.head.close())
	if j.lock != nil {
		errs = append(errs, j.lock.Close())
	}
	return errors.Join(append(errs, j.dropCopy())...)
}

// Load returns the state: that of the newest readable checkpoint, with the records after it
// applied by [record.Apply]. It returns an error when the file cannot be read, or when a record
// is missing or is not as it was written.
func (j *Journal) Load(ctx context.Context) (record.State, error) {
	if s := j.first.Load(); s != nil {
		return *s, nil
	}
	r, err := j.loadFrom(ctx)
	if err != nil {
		return r.state, fmt.Errorf("journal: %w", err)
	}
	return r.state, nil
}

// Each calls fn for every record, oldest first, and stops at the first error of fn, which it
// returns. Old air is given as it was thinned.
func (j *Journal) Each(ctx context.Context, each func(record.Record) error) error {
	return j.after(ctx, 0, each)
}

// portion is how many records one read returns at most: a long reader would let the log of a
// busy writer grow.
const portion = 5000

// after calls each for the records after a place.
func (j *Journal) after(ctx context.Context, place int64, each func(record.Record) error) error {
	return j.rowsAfter(ctx, place, func(r row) error {
		rec, err := r.record()
		if err != nil {
			return fmt.Errorf("journal: record at place %d: %w", r.place, err)
		}
		return each(rec)
	})
}

// rowsAfter calls each for the rows after a place, in portions.
func (j *Journal) rowsAfter(ctx context.Context, place int64, each func(row) error) error {
	waiting := j.waitingRows()
	for {
		n, last, err := j.some(ctx, place, portion, each)
		if err != nil {
			return err
		}
		place = last
		if n < portion {
			break
		}
	}
	for _, r := range waiting {
		if r.place > place {
			if err := each(r); err != nil {
				return err
			}
		}
	}
	return nil
}

// some calls each for at most limit rows after a place, and returns how many they were and the
// place of the last.
func (j *Journal) some(ctx context.Context, place int64, limit int, each func(row) error) (n int, last int64, err error) {
	hash := "hash"
	if !j.hashes {
		hash = "NULL"
	}
	rows, err := j.db().QueryContext(ctx, `SELECT `+rowColumns+`, `+hash+` FROM record WHERE place > ? ORDER BY place LIMIT ?`, place, limit)
	if err != nil {
		return 0, place, fmt.Errorf("journal: read records: %w", err)
	}
	for rows.Next() {
		var r row
		if err := rows.Scan(r.into()...); err != nil {
			fault := &damagedError{fmt.Sprintf("the record after record %d has a column of another type: %v", place, err)}
			return n, place, errors.Join(fault, rows.Close())
		}
		if err := each(r); err != nil {
			return n, place, errors.Join(err, rows.Close())
		}
		place = r.place
		n++
	}
	if err := errors.Join(rows.Err(), rows.Close()); err != nil {
		return n, place, fmt.Errorf("journal: read records: %w", err)
	}
	return n, place, nil
}

const rowColumns = `place, seq, at, boot, mono, synced, kind, by_whom, body, answer, zone, starts, grain`

// into returns where the columns of a row are scanned to: rowColumns and hash.
func (r *row) into() []any {
	return []any{&r.place, &r.seq, &r.at, &r.boot, &r.mono, &r.synced, &r.kind, &r.by, &r.body, &r.answer, &r.zone, &r.starts, &r.grain, &r.hash}
}

// rowAt returns the row at a place.
func rowAt(tx *sql.Tx, place int64) (r row, err error) {
	err = tx.QueryRow(`SELECT `+rowColumns+`, hash FROM record WHERE place = ?`, place).Scan(r.into()...)
	return r, err
}

// record returns the record in a row.
func (r row) record() (record.Record, error) {
	out := record.Record{By: actor.Name(r.by), Stamp: record.Stamp{At: time.Unix(0, r.at).UTC(), Boot: r.boot, Mono: time.Duration(r.mono), Synced: r.synced != 0}}
	if r.seq != nil {
		out.Seq = uint64(*r.seq)
	}
	if r.answer != nil {
		out.Answer = new(record.Answer)
		if err := json.Unmarshal(r.answer, out.Answer); err != nil {
			return out, err
		}
	}
	var err error
	out.Body, err = record.DecodeBody(record.Kind(r.kind), r.body)
	return out, err
}

// scan returns the record in a row that [columnsOf] selects, and its place.
func scan(rows *sql.Rows) (rec record.Record, place int64, err error) {
	var r row
	if err := rows.Scan(r.into()...); err != nil {
		return rec, 0, err
	}
	rec, err = r.record()
	return rec, r.place, err
}

// Events returns the published form of at most limit events after the given one, oldest first.
func (j *Journal) Events(ctx context.Context, after uint64, limit int) ([]view.Event, error) {
	waiting := j.waitingRows()
	rows, err := j.db().QueryContext(ctx, `
		SELECT seq, at, kind, by_whom, body FROM record WHERE seq > ? ORDER BY seq LIMIT ?`, int64(after), limit)
	if err != nil {
		return nil, fmt.Errorf("journal: read events: %w", err)
	}
	defer rows.Close()
	var events []view.Event
	add := func(r row) error {
		after = uint64(*r.seq)
		e, err := view.WireEvent(view.Source{Bench: j.bench, Journal: j.id}, after, time.Unix(0, r.at).UTC(), r.kind, actor.Name(r.by), r.body)
		events = append(events, e)
		return err
	}
	for rows.Next() {
		r := row{seq: new(int64)}
		if err := rows.Scan(r.seq, &r.at, &r.kind, &r.by, &r.body); err != nil {
			return nil, fmt.Errorf("journal: read event: %w", err)
		}
		if err := add(r); err != nil {
			return nil, err
		}
	}
	if err := rows.Err(); err != nil {
		return nil, fmt.Errorf("journal: read events: %w", err)
	}
	for _, r := range waiting {
		if r.seq != nil && uint64(*r.seq) > after && len(events) < limit {
			if err := add(r); err != nil {
				return nil, err
			}
		}
	}
	return events, nil
}

// History returns the closed air steps of a zone that were recorded in the given span, oldest
// first.
func (j *Journal) History(ctx context.Context, zone string, from, to time.Time) ([]cure.PastStep, error) {
	waiting := j.waitingRows()
	rows, err := j.db().QueryContext(ctx, `
		SELECT place, starts, body FROM record WHERE `+airOf+` AND at >= ? AND at < ? AND zone = ? ORDER BY place`,
		from.UnixNano(), to.UnixNano(), zone)
	if err != nil {
		return nil, fmt.Errorf("journal: read air of zone %q: %w", zone, err)
	}
	defer rows.Close()
	var steps []cure.PastStep
	last := int64(0)
	add := func(starts int64, body []byte) error {
		s, err := stepIn(body)
		if err != nil {
			return fmt.Errorf("journal: read air of zone %q: %w", zone, err)
		}
		steps = append(steps, cure.PastStep{Start: time.Unix(0, starts).UTC(), Step: s.Step})
		return nil
	}
	for rows.Next() {
		var starts int64
		var body []byte
		if err := rows.Scan(&last, &starts, &body); err != nil {
			return nil, fmt.Errorf("journal: read air of zone %q: %w", zone, err)
		}
		if err := add(starts, body); err != nil {
			return nil, err
		}
	}
	for _, r := range waiting {
		if r.place > last && r.zone != nil && *r.zone == zone && r.at >= from.UnixNano() && r.at < to.UnixNano() {
			if err := add(*r.starts, r.body); err != nil {
				return nil, err
			}
		}
	}
	return steps, rows.Err()
}
