package history

import (
	"context"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"time"

	_ "modernc.org/sqlite" // the driver named "sqlite"

	"potlifed/daemon/filemode"
)

// FileName is the file's name inside the data directory.
const FileName = "history.sqlite"

// store is the open file. A file of its own: a commit of the journal, for which a person waits,
// never waits for a rollup, and a file that is lost or damaged costs no event.
type store struct {
	write  *sql.DB // one connection; nil when the file was opened to read
	read   *sql.DB
	recent recentFile // not open when the file was opened to read
}

// seriesKey names whose air it is.
type seriesKey struct {
	source Source
	kind   string // sensor or zone
	name   string
}

const (
	kindSensor = "sensor"
	kindZone   = "zone"
)

func openStore(dir string) (*store, error) {
	path := filepath.Join(dir, FileName)
	if err := filemode.ForGroup(path); err != nil {
		return nil, fmt.Errorf("open history: %w", err)
	}
	write, err := sql.Open("sqlite", dsn(path, false))
	if err != nil {
		return nil, fmt.Errorf("open history %s: %w", path, err)
	}
	write.SetMaxOpenConns(1)
	err = migrate(write)
	if err == nil { // a file of an earlier version has no mark
		_, err = write.Exec(`INSERT OR IGNORE INTO meta (name, value) VALUES (?, ?)`, metaRecent, hex.EncodeToString([]byte(newMark())))
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("open history %s: %w", path, err), write.Close())
	}
	read, err := sql.Open("sqlite", dsn(path, true))
	if err != nil {
		return nil, errors.Join(fmt.Errorf("open history %s: %w", path, err), write.Close())
	}
	read.SetMaxOpenConns(3)
	read.SetConnMaxIdleTime(time.Minute) // each takes memory
	return &store{write: write, read: read}, nil
}

// openStoreToRead fails with fs.ErrNotExist where there is no file, and where its layout is not
// that of this version.
func openStoreToRead(ctx context.Context, dir string) (*store, error) {
	path := filepath.Join(dir, FileName)
	if _, err := os.Stat(path); err != nil {
		return nil, fmt.Errorf("open history: %w", err)
	}
	read, err := sql.Open("sqlite", dsn(path, true))
	if err != nil {
		return nil, fmt.Errorf("open history %s: %w", path, err)
	}
	var version int
	err = read.QueryRowContext(ctx, `PRAGMA user_version`).Scan(&version)
	if err == nil && version != len(migrations) {
		err = fmt.Errorf("its layout is %d, this program knows %d: let the service of this version open it once", version, len(migrations))
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("open history %s: %w", path, err), read.Close())
	}
	return &store{read: read}, nil
}

// dsn returns the data source name. FULL syncs each commit, one an hour but for imports: the readings that it gives rows of
// their own are then written over in the file for recent ones. Each
// connection keeps at most 512 kB of pages; what is read again is in the system's cache.
func dsn(path string, readOnly bool) string {
	q := url.Values{}
	for _, p := range []string{
		"busy_timeout(5000)", "journal_mode(WAL)", "synchronous(FULL)", "wal_autocheckpoint(512)", "journal_size_limit(4194304)", "cache_size(-512)",
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

func (s *store) close() error {
	if s.write == nil {
		return s.read.Close()
	}
	return errors.Join(s.read.Close(), s.write.Close(), s.recent.close())
}

// series returns the number of a series, which it makes if there is none.
func (s *store) series(tx *sql.Tx, k seriesKey) (int64, error) {
	if _, err := tx.Exec(`INSERT OR IGNORE INTO series (source, kind, name) VALUES (?, ?, ?)`, string(k.source), k.kind, k.name); err != nil {
		return 0, err
	}
	var id int64
	err := tx.QueryRow(`SELECT id FROM series WHERE source = ? AND kind = ? AND name = ?`, string(k.source), k.kind, k.name).Scan(&id)
	return id, err
}

// find returns the number of a series, 0 where there is none.
func (s *store) find(ctx context.Context, k seriesKey) (int64, error) {
	var id int64
	err := s.read.QueryRowContext(ctx, `SELECT id FROM series WHERE source = ? AND kind = ? AND name = ?`, string(k.source), k.kind, k.name).Scan(&id)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, nil
	}
	return id, err
}

// in runs f in one transaction: all of it is stored, or nothing.
func (s *store) in(ctx context.Context, f func(*sql.Tx) error) error {
	tx, err := s.write.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	if err := f(tx); err != nil {
		if undo := tx.Rollback(); undo != nil && !errors.Is(undo, sql.ErrTxDone) {
			err = errors.Join(err, undo)
		}
		return err
	}
	return tx.Commit()
}

// level is a table of buckets: how many a row has, and how long each is.
type level struct {
	table   string
	buckets int   // in a row
	each    int64 // length of a bucket in ms
	series  int64 // what the number of a series counts in a key
}

// Keys: 1e8 hours and 1e6 days are more than any calendar here has, before and after 1970.
var (
	minutes  = level{"minutes", 60, 60_000, 100_000_000}
	quarters = level{"quarters", 96, 900_000, 1_000_000}
)

// row returns the number of the row that holds a moment in ms since 1970, and the place in it.
func (l level) row(ms int64) (row int64, place int) {
	n := floor(ms, l.each)
	row = floor(n, int64(l.buckets))
	return row, int(n - row*int64(l.buckets))
}

// starts returns when the bucket at a place of a row begins, in ms since 1970.
func (l level) starts(row int64, place int) int64 {
	return (row*int64(l.buckets) + int64(place)) * l.each
}

// floor divides and rounds down, also before 1970.
func floor(a, b int64) int64 {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}

// merge adds buckets to a stored row.
func (l level) merge(tx *sql.Tx, series, row int64, add []Bucket) error {
	key := series*l.series + row
	var body []byte
	switch err := tx.QueryRow(`SELECT body FROM `+l.table+` WHERE key = ?`, key).Scan(&body); {
	case errors.Is(err, sql.ErrNoRows):
	case err != nil:
		return err
	default:
		stored, err := decodeBuckets(make([]Bucket, l.buckets), body)
		if err != nil {
			return fmt.Errorf("%s %d: %w", l.table, key, err)
		}
		for i, b := range add {
			stored[i].Merge(b)
		}
		add = stored
	}
	_, err := tx.Exec(`INSERT INTO `+l.table+` (key, body) VALUES (?, ?) ON CONFLICT (key) DO UPDATE SET body = excluded.body`, key, encodeBuckets(add))
	return err
}

// each calls f for the stored buckets of a series that begin in [from, to), both in ms since
// 1970, in the order of time.
func (l level) scan(ctx context.Context, db *sql.DB, series, from, to int64, f func(ms int64, b Bucket)) error {
	first, _ := l.row(from)
	last, _ := l.row(to - 1)
	rows, err := db.QueryContext(ctx, `SELECT key, body FROM `+l.table+` WHERE key BETWEEN ? AND ? ORDER BY key`, series*l.series+first, series*l.series+last)
	if err != nil {
		return err
	}
	defer rows.Close()
	room := make([]Bucket, l.buckets)
	for rows.Next() {
		var key int64
		var body sql.RawBytes
		if err := rows.Scan(&key, &body); err != nil {
			return err
		}
		stored, err := decodeBuckets(room, body)
		if err != nil {
			return fmt.Errorf("%s %d: %w", l.table, key, err)
		}
		for i, b := range stored {
			if ms := l.starts(key-series*l.series, i); b.Weight > 0 && ms >= from && ms < to {
				f(ms, b)
			}
		}
	}
	return rows.Err()
}
