package journal

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"sync"
	"time"
)

// cursors are those that readers have set and that are not on disk yet. A commit of their own would
// cost a card as much as the event that they are about. They are written with a group, at most once a
// minute, and at the end of [Journal.Run]; a group that waits in the head has them with it.
type cursors struct {
	mu      sync.Mutex // guards what follows
	waiting map[string]uint64
	stored  time.Time
}

// Cursor returns the number of the last event that the named reader has taken; 0 at first.
func (j *Journal) Cursor(ctx context.Context, name string) (uint64, error) {
	j.cursors.mu.Lock()
	waiting, ok := j.cursors.waiting[name]
	j.cursors.mu.Unlock()
	if ok {
		return waiting, nil
	}
	var seq int64
	err := j.db().QueryRowContext(ctx, `SELECT seq FROM cursor WHERE name = ?`, name).Scan(&seq)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return 0, fmt.Errorf("journal: read cursor %q: %w", name, err)
	}
	return uint64(seq), nil
}

// SetCursor notes the number of the last event that the named reader has taken. It is stored with a
// later group of records: after a crash a reader gets the events of the last minutes once more. The
// error says that the disk takes no writes.
func (j *Journal) SetCursor(_ context.Context, name string, seq uint64) error {
	if _, err := j.writer(); err != nil {
		return err
	}
	j.cursors.mu.Lock()
	defer j.cursors.mu.Unlock()
	if j.cursors.waiting == nil {
		j.cursors.waiting = map[string]uint64{}
	}
	j.cursors.waiting[name] = seq
	return nil
}

// store writes the waiting cursors in a group's transaction, if the last ones were stored a minute
// ago. What it returns is to be called once the transaction is committed.
func (c *cursors) store(tx *sql.Tx, now time.Time) (written func(), err error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if len(c.waiting) == 0 || now.Sub(c.stored) < time.Minute {
		return func() {}, nil
	}
	taken := maps.Clone(c.waiting)
	for name, seq := range taken {
		if err := storeCursor(tx, name, seq); err != nil {
			return nil, err
		}
	}
	return func() {
		c.mu.Lock()
		defer c.mu.Unlock()
		c.stored = now
		maps.DeleteFunc(c.waiting, func(name string, seq uint64) bool { return taken[name] == seq })
	}, nil
}

func storeCursor(tx *sql.Tx, name string, seq uint64) error {
	if _, err := tx.Exec(`
		INSERT INTO cursor (name, seq) VALUES (?, ?) ON CONFLICT (name) DO UPDATE SET seq = excluded.seq`, name, int64(seq)); err != nil {
		return fmt.Errorf("cursor %q: %w", name, err)
	}
	return nil
}

// all returns a copy of the cursors that are not in the file.
func (c *cursors) all() map[string]uint64 {
	c.mu.Lock()
	defer c.mu.Unlock()
	return maps.Clone(c.waiting)
}

// storeCursors stores what waits, at the end of Run.
func (j *Journal) storeCursors() {
	j.cursors.mu.Lock()
	j.cursors.stored = time.Time{}
	wait := len(j.cursors.waiting) > 0
	j.cursors.mu.Unlock()
	if !wait {
		return
	}
	if err := j.commit(Group{}); err != nil { // readers get some events once more
		j.log.Warn("how far readers of events have come is not stored", "err", err)
	}
}
