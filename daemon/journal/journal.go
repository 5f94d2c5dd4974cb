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
	"path/filepath"
	"time"

	_ "modernc.org/sqlite" // the driver named "sqlite"

	"potlifed/daemon/actor"
	"potlifed/daemon/record"
	"potlifed/daemon/view"
	"potlifed/model/cure"
)

// Journal is an open journal.
type Journal struct {
	write *sql.DB // one connection, used by Run and by SetCursor
	read  *sql.DB
	lock  *os.File
	id    string
	log   *slog.Logger

	groups  chan Group
	acks    chan error
	observe func(time.Duration)
}

// FileName is the journal's name inside the data directory.
const FileName = "journal.sqlite"

// Open opens the journal in dir. It creates the file if there is none, and brings its layout up
// to date. observe is called with the time that each commit took. The directory must exist. The
// error says why the file cannot be opened, for instance because another daemon has it.
func Open(dir string, log *slog.Logger, observe func(time.Duration)) (*Journal, error) {
	path := filepath.Join(dir, FileName)
	held, err := lock(dir)
	if err != nil {
		return nil, fmt.Errorf("open journal: %w", err)
	}
	j, err := open(path)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("open journal %s: %w", path, err), held.Close())
	}
	j.lock, j.log, j.observe = held, log, observe
	return j, nil
}

// OpenToRead opens the journal in dir for reading only, while a daemon writes it or without one.
// It returns an error when there is no journal, or when its layout is not that of this version.
// Nothing can be written through it.
func OpenToRead(ctx context.Context, dir string) (*Journal, error) {
	path := filepath.Join(dir, FileName)
	if _, err := os.Stat(path); err != nil {
		return nil, fmt.Errorf("open journal: %w", err)
	}
	read, err := sql.Open("sqlite", dsn(path, true))
	if err != nil {
		return nil, fmt.Errorf("open journal %s: %w", path, err)
	}
	j := &Journal{read: read, log: slog.New(slog.DiscardHandler)}
	var version int
	err = read.QueryRowContext(ctx, `PRAGMA user_version`).Scan(&version)
	if err == nil && version != len(migrations) {
		err = fmt.Errorf("its layout is %d, this program knows %d: let the service of this version open it once", version, len(migrations))
	}
	if err == nil {
		err = read.QueryRowContext(ctx, `SELECT value FROM meta WHERE name = 'journal'`).Scan(&j.id)
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("open journal %s: %w", path, err), read.Close())
	}
	return j, nil
}

func open(path string) (*Journal, error) {
	write, err := sql.Open("sqlite", dsn(path, false))
	if err != nil {
		return nil, err
	}
	write.SetMaxOpenConns(1) // one writer: SQLite would answer a second "database is locked"
	id, err := migrate(write)
	if err != nil {
		return nil, errors.Join(err, write.Close())
	}
	read, err := sql.Open("sqlite", dsn(path, true))
	if err != nil {
		return nil, errors.Join(err, write.Close())
	}
	read.SetMaxOpenConns(4)
	return &Journal{
		write: write, read: read, id: id,
		groups: make(chan Group, 1), acks: make(chan error, 1),
	}, nil
}

// dsn returns the data source name with the pragmas, so that every new connection gets them, the
// time-out first. The size of the log is limited, since a memory card is small.
func dsn(path string, readOnly bool) string {
	q := url.Values{}
	for _, p := range []string{
		"busy_timeout(5000)", "journal_mode(WAL)", "synchronous(FULL)",
		"journal_size_limit(8388608)", "foreign_keys(ON)",
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

// ID returns the journal's id. Each new file gets a new one.
func (j *Journal) ID() string { return j.id }

// Close closes the files. Run must have ended. It returns the joined errors of closing.
func (j *Journal) Close() error {
	if j.write == nil { // opened to read
		return j.read.Close()
	}
	return errors.Join(j.read.Close(), j.write.Close(), j.lock.Close())
}

// Load returns the state: that of the newest readable checkpoint, with the records after it
// applied by [record.Apply]. It returns an error when the file cannot be read, or when the
// number of an event is missing.
func (j *Journal) Load(ctx context.Context) (record.State, error) {
	state, place, err := j.newestCheckpoint(ctx)
	if err != nil {
		return state, err
	}
	err = j.after(ctx, place, func(r record.Record) error {
		if r.IsEvent() && r.Seq != state.Seq+1 {
			return fmt.Errorf("journal: event %d follows event %d: the journal is damaged; restore a backup", r.Seq, state.Seq)
		}
		state = record.Apply(state, r)
		return nil
	})
	return state, err
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
	for {
		n := 0
		rows, err := j.read.QueryContext(ctx, `
			SELECT place, seq, at, boot, mono, synced, kind, by_whom, body, answer
			FROM record WHERE place > ? ORDER BY place LIMIT ?`, place, portion)
		if err != nil {
			return fmt.Errorf("journal: read records: %w", err)
		}
		for rows.Next() {
			r, at, err := scan(rows)
			if err != nil {
				return errors.Join(fmt.Errorf("journal: record at place %d: %w", at, err), rows.Close())
			}
			if err := each(r); err != nil {
				return errors.Join(err, rows.Close())
			}
			place = at
			n++
		}
		if err := errors.Join(rows.Err(), rows.Close()); err != nil {
			return fmt.Errorf("journal: read records: %w", err)
		}
		if n < portion {
			return nil
		}
	}
}

func (j *Journal) newestCheckpoint(ctx context.Context) (record.State, int64, error) {
	rows, err := j.read.QueryContext(ctx, `SELECT place, model, state FROM checkpoint ORDER BY place DESC`)
	if err != nil {
		return record.State{}, 0, fmt.Errorf("journal: read checkpoints: %w", err)
	}
	defer rows.Close()
	for rows.Next() {
		var place int64
		var model int
		var body []byte
		if err := rows.Scan(&place, &model, &body); err != nil {
			return record.State{}, 0, fmt.Errorf("journal: read checkpoint: %w", err)
		}
		state := record.NewState(j.id)
		if err := json.Unmarshal(body, &state); err != nil {
			j.log.Warn("a checkpoint cannot be read, the one before is used", "place", place, "err", err)
			continue
		}
		return state, place, rows.Err()
	}
	return record.NewState(j.id), 0, rows.Err()
}

func scan(rows *sql.Rows) (r record.Record, place int64, err error) {
	var seq sql.NullInt64
	var at, mono int64
	var kind string
	var body []byte
	var answer sql.Null[[]byte]
	if err := rows.Scan(&place, &seq, &at, &r.Stamp.Boot, &mono, &r.Stamp.Synced, &kind, &r.By, &body, &answer); err != nil {
		return r, place, err
	}
	r.Seq = uint64(seq.Int64)
	r.Stamp.At, r.Stamp.Mono = time.Unix(0, at).UTC(), time.Duration(mono)
	if answer.Valid {
		r.Answer = new(record.Answer)
		if err := json.Unmarshal(answer.V, r.Answer); err != nil {
			return r, place, err
		}
	}
	r.Body, err = record.DecodeBody(record.Kind(kind), body)
	return r, place, err
}

// Events returns the published form of at most limit events after the given one, oldest first.
func (j *Journal) Events(ctx context.Context, after uint64, limit int) ([]view.Event, error) {
	rows, err := j.read.QueryContext(ctx, `
		SELECT seq, at, kind, by_whom, body FROM record WHERE seq > ? ORDER BY seq LIMIT ?`, int64(after), limit)
	if err != nil {
		return nil, fmt.Errorf("journal: read events: %w", err)
	}
	defer rows.Close()
	var events []view.Event
	for rows.Next() {
		var seq, at int64
		var kind string
		var by actor.Name
		var body []byte
		if err := rows.Scan(&seq, &at, &kind, &by, &body); err != nil {
			return nil, fmt.Errorf("journal: read event: %w", err)
		}
		e, err := view.WireEvent(j.id, uint64(seq), time.Unix(0, at).UTC(), kind, by, body)
		if err != nil {
			return nil, err
		}
		events = append(events, e)
	}
	return events, rows.Err()
}

// History returns the closed air steps of a zone that were recorded in the given span, oldest
// first.
func (j *Journal) History(ctx context.Context, zone string, from, to time.Time) ([]cure.PastStep, error) {
	rows, err := j.read.QueryContext(ctx, `
		SELECT starts, body FROM record WHERE zone = ? AND at >= ? AND at < ? ORDER BY place`,
		zone, from.UnixNano(), to.UnixNano())
	if err != nil {
		return nil, fmt.Errorf("journal: read air of zone %q: %w", zone, err)
	}
	defer rows.Close()
	var steps []cure.PastStep
	for rows.Next() {
		var starts int64
		var body []byte
		if err := rows.Scan(&starts, &body); err != nil {
			return nil, fmt.Errorf("journal: read air of zone %q: %w", zone, err)
		}
		var s record.AirStep
		if err := json.Unmarshal(body, &s); err != nil {
			return nil, fmt.Errorf("journal: read air of zone %q: %w", zone, err)
		}
		steps = append(steps, cure.PastStep{Start: time.Unix(0, starts).UTC(), Step: s.Step})
	}
	return steps, rows.Err()
}

// Cursor returns the number of the last event that the named reader has taken; 0 at first.
func (j *Journal) Cursor(ctx context.Context, name string) (uint64, error) {
	var seq int64
	err := j.read.QueryRowContext(ctx, `SELECT seq FROM cursor WHERE name = ?`, name).Scan(&seq)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return 0, fmt.Errorf("journal: read cursor %q: %w", name, err)
	}
	return uint64(seq), nil
}

// SetCursor stores the number of the last event that the named reader has taken.
func (j *Journal) SetCursor(ctx context.Context, name string, seq uint64) error {
	_, err := j.write.ExecContext(ctx, `
		INSERT INTO cursor (name, seq) VALUES (?, ?) ON CONFLICT (name) DO UPDATE SET seq = excluded.seq`, name, int64(seq))
	if err != nil {
		return fmt.Errorf("journal: write cursor %q: %w", name, err)
	}
	return nil
}
