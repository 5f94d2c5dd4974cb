package journal

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
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

// Run writes groups until ctx is done and the group that is being written is answered, or until
// the file turns out to be damaged, which is an [ErrDamaged]. It must be called once only.
func (j *Journal) Run(ctx context.Context) error {
	defer close(j.acks)
	for {
		select {
		case <-ctx.Done():
			j.storeCursors()
			return nil
		case g := <-j.groups:
			err := j.Write(g)
			j.acks <- err
			if isDamage(err) {
				return j.condemn(err)
			}
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

// commit brings a group to disk: into the head where it can wait there, or else into the file.
func (j *Journal) commit(g Group) (err error) {
	if err := j.writable(); err != nil {
		return fmt.Errorf("journal: %w", err)
	}
	if j.canWait(g) && j.wait(g) {
		j.first.Store(nil)
		return nil
	}
	defer func() { j.direct = err != nil }()
	write, err := j.writer()
	if err != nil {
		return err
	}
	var state []byte
	if g.Checkpoint != nil {
		if state, err = packed(g.Checkpoint); err != nil { // a failure loses the checkpoint, and no record
			j.log.Error("the state cannot be written out; no checkpoint is taken", "err", err)
		}
	}
	tx, err := write.Begin()
	if err != nil {
		return fmt.Errorf("journal: begin: %w", err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, ignoreDone(tx.Rollback()))
		}
	}()
	end := j.end // where the journal ends once the group is on disk
	if err := end.reserve(tx, int64(len(g.Records))); err != nil {
		return fmt.Errorf("journal: write: %w", err)
	}
	rows := slices.Clone(j.waiting)
	for _, r := range g.Records {
		row, err := rowOf(r)
		if err != nil {
			return err
		}
		end.add(&row)
		rows = append(rows, row)
	}
	if state != nil {
		if g.Thin != nil {
			rows = slices.DeleteFunc(rows, g.Thin.removes)
		}
		if err := checkpoint(tx, *g.Checkpoint, state, end); err != nil {
			return fmt.Errorf("journal: write checkpoint: %w", err)
		}
	}
	if err := insertRows(tx, rows); err != nil {
		return fmt.Errorf("journal: write %w", err)
	}
	stored, err := j.cursors.store(tx, time.Now())
	if err != nil {
		return fmt.Errorf("journal: write %w", err)
	}
	if err := tx.Commit(); err != nil {
		return fmt.Errorf("journal: commit: %w", err)
	}
	stored()
	j.end = end
	j.first.Store(nil)
	j.keepWaiting(nil)
	j.settled = time.Now()
	j.reached()
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

// insertRow takes the arguments that [row.args] returns.
const insertRow = `INSERT INTO record (place, seq, at, boot, mono, synced, kind, by_whom, body, answer, zone, starts, grain, hash)
	VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`

func (r row) args() []any {
	var answer, hash any
	if r.answer != nil {
		answer = r.answer
	}
	if r.hash != nil {
		hash = r.hash
	}
	return []any{r.place, r.seq, r.at, r.boot, r.mono, r.synced, r.kind, r.by, r.body, answer, r.zone, r.starts, r.grain, hash}
}

// rowOf returns the row of a record, without place and hash.
func rowOf(r record.Record) (row, error) {
	body, err := r.Stored()
	if err != nil {
		return row{}, fmt.Errorf("journal: write %s: %w", r.Body.Kind(), err)
	}
	out := row{
		at: r.Stamp.At.UnixNano(), boot: r.Stamp.Boot, mono: int64(r.Stamp.Mono),
		kind: string(r.Body.Kind()), by: string(r.By), body: body,
	}
	if r.Stamp.Synced {
		out.synced = 1
	}
	if step, ok := r.Body.(record.AirStep); ok {
		out.zone, out.starts = &step.Zone, new(step.Start.UnixNano())
	}
	if r.IsEvent() {
		out.seq = new(int64(r.Seq))
	}
	if r.Answer != nil {
		if out.answer, err = json.Marshal(r.Answer); err != nil {
			return row{}, fmt.Errorf("journal: write answer to %s: %w", r.Body.Kind(), err)
		}
	}
	return out, nil
}

// end is where the journal ends.
type end struct {
	place    int64  // of the newest record; no later record has it again
	seq      uint64 // of the newest event
	link     []byte // the hash of that event
	reserved int64  // up to here SQLite knows the places as used
}

// add gives a row the next place and its hash.
func (e *end) add(r *row) {
	e.place++
	r.place = e.place
	r.hash = r.hashed(e.link)
	if r.seq != nil {
		e.seq, e.link = uint64(*r.seq), r.hash
	}
}

// reserveAhead is how many places SQLite is told of at once. It keeps the greatest place of the
// table in a page of its own, which each commit would otherwise write.
const reserveAhead = 1000

func (e *end) reserve(tx *sql.Tx, n int64) error {
	if e.place+n <= e.reserved {
		return nil
	}
	e.reserved = e.place + n + reserveAhead
	done, err := tx.Exec(`UPDATE sqlite_sequence SET seq = ? WHERE name = 'record'`, e.reserved)
	if err != nil {
		return err
	}
	if changed, err := done.RowsAffected(); err != nil || changed > 0 {
		return err
	}
	_, err = tx.Exec(`INSERT INTO sqlite_sequence (name, seq) VALUES ('record', ?)`, e.reserved)
	return err
}

func checkpoint(tx *sql.Tx, s record.State, body []byte, end end) error {
	// Two checkpoints at one place are equal; the newer one is kept.
	at := s.Last.At.UnixNano()
	if _, err := tx.Exec(`
		INSERT INTO checkpoint (place, at, model, state, link, hash) VALUES (?, ?, ?, ?, ?, ?)
		ON CONFLICT (place) DO UPDATE SET at = excluded.at, model = excluded.model, state = excluded.state, link = excluded.link, hash = excluded.hash`,
		end.place, at, record.ModelVersion, body, end.link, checkpointHash(end.place, at, record.ModelVersion, end.link, body)); err != nil {
		return err
	}
	_, err := tx.Exec(`
		DELETE FROM checkpoint WHERE place NOT IN (SELECT place FROM checkpoint ORDER BY place DESC LIMIT ?)`, keptCheckpoints)
	return err
}
