package history

import (
	"context"
	"database/sql"
	"errors"
	"log/slog"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"time"

	"potlifed/daemon/clock"
	"potlifed/daemon/instruments"
	"potlifed/daemon/record"
	"potlifed/daemon/trace"
	"potlifed/daemon/view"
	"potlifed/model/cure"
)

// Journal is what the history is made from. The errors are those of reading.
type Journal interface {
	// ID returns the journal's id. Each new journal has a new one.
	ID() string
	// Since calls each for at most limit records after a place, in their order, and stops at the
	// first error of each.
	Since(ctx context.Context, place int64, limit int, each func(place int64, r record.Record) error) error
	// History returns the closed air steps of a zone that were recorded in [from, to), oldest first.
	History(ctx context.Context, zone string, from, to time.Time) ([]cure.PastStep, error)
	// Event returns the event of a number.
	Event(ctx context.Context, seq uint64) (record.Record, error)
	// Continues reports whether the journal was made from a damaged one of this id, so that places have
	// the same meaning in both.
	Continues(id string) bool
	trace.Journal
}

// Bench tells bench time.
type Bench interface {
	// Snapshot returns the newest snapshot. It is never nil.
	Snapshot() *view.Snapshot
}

// Settings are what a history is made of.
type Settings struct {
	Dir     string
	Journal Journal
	Bench   Bench            // nil where nothing is recorded
	Sink    instruments.Sink // gets every reading first
	Clock   clock.Clock
	Log     *slog.Logger
	// RawFor and MinutesFor are how long readings and minutes are stored.
	RawFor, MinutesFor time.Duration
}

// History records and answers. Its methods may be called from any goroutine.
type History struct {
	instruments.Sink
	settings Settings
	ends     *trace.Ends
	in       chan taken
	dropped  atomic.Uint64          // readings for which the queue had no place
	told     atomic.Pointer[string] // why the file cannot be written, nil when it can

	// mu guards what follows, together with the file, so that a query finds each row once:
	// waiting, or stored. It is held while the file is read or written. Only queries and the
	// recorder's own goroutine wait for it; a reading and the bench's loop never do.
	mu      sync.RWMutex
	store   *store // nil while the file cannot be opened
	fault   error  // why the file cannot be written, nil when it can
	waiting waiting
	purged  time.Time
}

// waiting is what is not in the file yet.
type waiting struct {
	chunks   []*chunk
	minutes  buckets
	quarters buckets
	tallies  map[tallyKey]tally
	batches  map[uint64]*Batch // by the number of the event that ended it; nil for one to be removed
	checks   []Check
	place    int64         // of the journal's last record that was taken
	offset   time.Duration // of bench time to CLOCK_BOOTTIME, with the last reading
	since    time.Time     // of the oldest of them, in bench time
}

// taken is a reading on its way to the recorder.
type taken struct {
	sensor  string
	reading Reading
	mono    time.Duration
	notSet  bool
}

// New returns the history of a data directory. A file that cannot be opened is no error: it is
// tried again, and [History.State] says why.
func New(s Settings) *History {
	h := &History{Sink: s.Sink, settings: s, ends: trace.NewEnds(s.Journal), in: make(chan taken, 4096)}
	h.clear()
	h.open()
	return h
}

// OpenToRead returns the history of a data directory for reading only, beside a running daemon or
// without one. What the journal holds and the file does not is added in memory. Where there is
// no file, everything comes from the journal.
func OpenToRead(ctx context.Context, dir string, j Journal) (*History, error) {
	h := &History{settings: Settings{Dir: dir, Journal: j, Log: slog.New(slog.DiscardHandler)}, ends: trace.NewEnds(j)}
	h.clear()
	file, err := openStoreToRead(ctx, dir)
	if err == nil {
		h.store = file
		err = h.begin(ctx)
	} else if errors.Is(err, os.ErrNotExist) {
		err = nil
	}
	for err == nil {
		var more bool
		if more, err = h.follow(ctx); !more {
			break
		}
	}
	if err != nil {
		return nil, errors.Join(err, h.Close())
	}
	return h, nil
}

// Close closes the file. Run must have ended.
func (h *History) Close() error {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.store == nil {
		return nil
	}
	err := h.store.close()
	h.store = nil
	return err
}

// clear forgets what is waiting.
func (h *History) clear() {
	h.waiting.chunks = nil
	h.waiting.minutes, h.waiting.quarters = buckets{}, buckets{}
	h.waiting.tallies, h.waiting.batches = map[tallyKey]tally{}, map[uint64]*Batch{}
	h.waiting.checks, h.waiting.since = nil, time.Time{}
}

// open opens the file where it is not open. The caller holds mu, or is New.
func (h *History) open() {
	if h.store != nil {
		return
	}
	file, err := openStore(h.settings.Dir)
	if err == nil {
		h.store = file
		if err = h.begin(context.Background()); err != nil {
			h.store = nil
			err = errors.Join(err, file.close())
		}
	}
	h.failed(err)
}

// failed notes whether the file can be written, and logs a change.
func (h *History) failed(err error) {
	if (err == nil) != (h.fault == nil) {
		if err != nil {
			h.settings.Log.Error("the history cannot be written; the bench goes on", "err", err)
		} else {
			h.settings.Log.Info("the history is written again")
		}
	}
	h.fault = err
	h.told.Store(nil)
	if err != nil {
		text := err.Error()
		h.told.Store(&text)
	}
}

// begin takes up where the file ends: the journal's place, and the recent readings.
func (h *History) begin(ctx context.Context) error {
	var journal, mark string
	var place int64
	rows, err := h.store.read.QueryContext(ctx, `SELECT name, value FROM meta`)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var name string
		var value sql.RawBytes
		if err := rows.Scan(&name, &value); err != nil {
			return err
		}
		switch name {
		case "journal":
			journal = string(value)
		case "place":
			place = number(value)
		case metaRecent:
			mark = markIn(string(value))
		}
	}
	if err := rows.Err(); err != nil {
		return err
	}
	if journal == h.settings.Journal.ID() || h.settings.Journal.Continues(journal) {
		h.waiting.place = place
	}
	if h.store.write != nil {
		if h.store.recent, err = openRecent(h.settings.Dir, mark); err != nil {
			return err
		}
	}
	return h.recent(ctx, mark)
}

// roll adds readings to the open minutes.
func (w *waiting) roll(sensor string, readings []Reading) {
	for _, r := range readings {
		var b Bucket
		b.addAir(r.Air, 1, false)
		w.minutes.add(minutes, seriesKey{Measured, kindSensor, sensor}, r.At.UnixNano()/perMilli, b)
	}
}

// State is how the file is.
type State struct {
	Bytes   int64  // on disk, the log included
	Detail  string // why it cannot be written; empty when it can
	Dropped uint64 // readings that were not recorded, since the start
}

// State returns how the file is. It does not wait.
func (h *History) State() State {
	s := State{Bytes: SizeOf(filepath.Join(h.settings.Dir, FileName)), Dropped: h.dropped.Load()}
	if fault := h.told.Load(); fault != nil {
		s.Detail = *fault
	}
	return s
}

// SizeOf returns how many bytes an SQLite file and its log take on disk.
func SizeOf(path string) int64 {
	var sum int64
	for _, name := range []string{path, path + "-wal", path + "-shm"} {
		if info, err := os.Stat(name); err == nil {
			sum += info.Size()
		}
	}
	return sum
}

// number reads a number of the table meta; 0 for anything else.
func number(text []byte) int64 {
	n := int64(0)
	for _, c := range text {
		if c < '0' || c > '9' || n > 1<<60/10 {
			return 0
		}
		n = 10*n + int64(c-'0')
	}
	return n
}

// tallied adds to the tallies that wait.
func (w *waiting) tallied(k tallyKey, t tally) {
	sum := w.tallies[k]
	sum.add(t)
	w.tallies[k] = sum
}
