package journal

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"potlifed/daemon/record"
)

// Group is what is committed at once.
type Group struct {
	Records []record.Record
	// Checkpoint, if not nil, is the state with the group's records applied.
	Checkpoint *record.State
	// Thin, if not nil, thins old air steps.
	Thin *Thinning
}

// keptCheckpoints is how many checkpoints are stored: the newest, and the one before it.
const keptCheckpoints = 2

// Groups returns the channel that takes groups to write. The next group may be sent when
// [Journal.Acks] has answered the last one.
func (j *Journal) Groups() chan<- Group { return j.groups }

// Acks returns the channel that answers each group, in order: nil when it is on disk, otherwise
// the reason why nothing of it is. It is closed when [Journal.Run] has ended.
func (j *Journal) Acks() <-chan error { return j.acks }

// Run writes groups until ctx is done and the group that is being written is answered. It must
// be called once only.
func (j *Journal) Run(ctx context.Context) error {
	defer close(j.acks)
	for {
		select {
		case <-ctx.Done():
			return nil
		case g := <-j.groups:
			j.acks <- j.Write(g)
		}
	}
}

// Write commits a group. Only Run calls it, and a start before Run. It returns an error when
// nothing of the group is on disk.
func (j *Journal) Write(g Group) error {
	began := time.Now()
	err := j.commit(g)
	j.observe(time.Since(began))
	if err == nil && g.Thin != nil { // its failure wastes space, and loses no record
		if err := j.thin(*g.Thin); err != nil {
			j.log.Warn("old air is not thinned", "err", err)
		}
	}
	return err
}

func (j *Journal) commit(g Group) (err error) {
	tx, err := j.write.Begin()
	if err != nil {
		return fmt.Errorf("journal: begin: %w", err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, ignoreDone(tx.Rollback()))
		}
	}()
	insert, err := tx.Prepare(`
		INSERT INTO record (seq, at, boot, mono, synced, kind, by_whom, body, answer, zone, starts)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`)
	if err != nil {
		return fmt.Errorf("journal: write: %w", err)
	}
	defer insert.Close()
	for _, r := range g.Records {
		args, err := columns(r)
		if err != nil {
			return err
		}
		if _, err := insert.Exec(args...); err != nil {
			return fmt.Errorf("journal: write %s: %w", r.Body.Kind(), err)
		}
	}
	if g.Checkpoint != nil {
		state, err := json.Marshal(g.Checkpoint)
		if err != nil { // a failure loses the checkpoint, and no record
			j.log.Error("the state cannot be written out; no checkpoint is taken", "err", err)
		} else if err := checkpoint(tx, *g.Checkpoint, state); err != nil {
			return fmt.Errorf("journal: write checkpoint: %w", err)
		}
	}
	if err := tx.Commit(); err != nil {
		return fmt.Errorf("journal: commit: %w", err)
	}
	return nil
}

// ignoreDone returns nil for the error that a transaction is over which SQLite itself rolled
// back, as on a full disk.
func ignoreDone(err error) error {
	if errors.Is(err, sql.ErrTxDone) {
		return nil
	}
	return err
}

func columns(r record.Record) ([]any, error) {
	body, err := r.JSON()
	if err != nil {
		return nil, fmt.Errorf("journal: write %s: %w", r.Body.Kind(), err)
	}
	var seq, answer, zone, starts any
	if step, ok := r.Body.(record.AirStep); ok {
		zone, starts = step.Zone, step.Start.UnixNano()
	}
	if r.IsEvent() {
		seq = int64(r.Seq)
	}
	if r.Answer != nil {
		b, err := json.Marshal(r.Answer)
		if err != nil {
			return nil, fmt.Errorf("journal: write answer to %s: %w", r.Body.Kind(), err)
		}
		answer = b
	}
	return []any{
		seq, r.Stamp.At.UnixNano(), r.Stamp.Boot, int64(r.Stamp.Mono), r.Stamp.Synced,
		string(r.Body.Kind()), string(r.By), body, answer, zone, starts,
	}, nil
}

func checkpoint(tx *sql.Tx, s record.State, body []byte) error {
	// Two checkpoints at one place are equal; the newer one is kept.
	if _, err := tx.Exec(`
		INSERT INTO checkpoint (place, at, model, state)
		SELECT coalesce(max(place), 0), ?, ?, ? FROM record WHERE true
		ON CONFLICT (place) DO UPDATE SET at = excluded.at, model = excluded.model, state = excluded.state`,
		s.Last.At.UnixNano(), record.ModelVersion, body); err != nil {
		return err
	}
	_, err := tx.Exec(`
		DELETE FROM checkpoint WHERE place NOT IN (SELECT place FROM checkpoint ORDER BY place DESC LIMIT ?)`, keptCheckpoints)
	return err
}
