package journal

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"

	"potlifed/daemon/record"
)

// reading is how far a file was read and found to be as it was written.
type reading struct {
	state record.State
	end   end
}

// loadFrom returns the state in a file: that of the newest good checkpoint with the records after
// it. It returns a [*damagedError] for a record that is not as it was written, that is missing, or
// that cannot be applied.
func (j *Journal) loadFrom(ctx context.Context) (reading, error) {
	var r reading
	hashed, err := j.number(ctx, `SELECT value FROM meta WHERE name = 'hashed'`)
	if err != nil {
		return r, err
	}
	lost, err := j.lost(ctx)
	if err != nil {
		return r, err
	}
	newest, err := j.number(ctx, `SELECT coalesce(max(place), 0) FROM checkpoint`)
	if err != nil {
		return r, err
	}
	state, from, link, err := j.newestCheckpoint(ctx, hashed)
	if err != nil {
		return r, err
	}
	r.state, r.end = state, end{place: from, seq: state.Seq, link: link}
	// Reports before a checkpoint are removed once it is there.
	dense := max(newest, hashed)
	err = j.rowsAfter(ctx, from, func(row row) error { return r.take(row, hashed, dense, lost) })
	r.end.place = max(r.end.place, newest)
	return r, err
}

// take applies a row to what was read before it. Rows from the place hashed on have hashes. After
// the place dense none is missing, unless it was thinned.
func (r *reading) take(row row, hashed, dense int64, lost map[uint64]uint64) error {
	what := fmt.Sprintf("record %d", row.place)
	if row.hash == nil && row.place >= hashed || !row.whole() {
		return &damagedError{what + " is not as it was written"}
	}
	last, missing := lost[r.end.seq+1] // what follows a loss has nothing to follow
	if row.seq != nil && uint64(*row.seq) != r.end.seq+1 && (!missing || uint64(*row.seq) != last+1) {
		return &damagedError{fmt.Sprintf("event %d follows event %d: the journal is rebuilt at the next start; or restore a backup", *row.seq, r.end.seq)}
	}
	if row.place != r.end.place+1 && row.place > dense && row.grain == 0 {
		return &damagedError{fmt.Sprintf("record %d follows record %d", row.place, r.end.place)}
	}
	if !missing && !row.follows(r.end.link) {
		return &damagedError{what + " does not follow the event before it"}
	}
	rec, err := row.record()
	if err != nil {
		return &damagedError{fmt.Sprintf("%s: %v", what, err)}
	}
	next, err := tried(r.state, rec)
	if err != nil {
		return &damagedError{fmt.Sprintf("%s: %v", what, err)}
	}
	r.state, r.end.place = next, row.place
	if row.seq != nil {
		r.end.seq, r.end.link = uint64(*row.seq), linkOf(row)
	}
	return nil
}

// linkOf returns what the next rows follow.
func linkOf(r row) []byte {
	if r.hash == nil {
		return seed
	}
	return r.hash
}

// tried applies a record, and returns an error where it means nothing to this state: the event
// that it builds on is missing, or its body is not one that this program has written.
func tried(s record.State, r record.Record) (next record.State, err error) {
	defer func() {
		if fault := recover(); fault != nil {
			next, err = s, fmt.Errorf("it cannot be applied: %v", fault)
		}
	}()
	return record.Apply(s, r), nil
}

// lost returns the numbers of lost events: first to last.
func (j *Journal) lost(ctx context.Context) (map[uint64]uint64, error) {
	rows, err := j.db().QueryContext(ctx, `SELECT first, last FROM lost`)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	spans := map[uint64]uint64{}
	for rows.Next() {
		var first, last int64
		if err := rows.Scan(&first, &last); err != nil {
			return nil, err
		}
		spans[uint64(first)] = uint64(last)
	}
	return spans, rows.Err()
}

// number returns the one number that a query answers with.
func (j *Journal) number(ctx context.Context, query string) (int64, error) {
	var text string
	if err := j.db().QueryRowContext(ctx, query).Scan(&text); err != nil {
		if errors.Is(err, sql.ErrNoRows) {
			err = &damagedError{"a value of the journal's own is missing"}
		}
		return 0, err
	}
	n, err := strconv.ParseInt(text, 10, 64)
	if err != nil {
		return 0, &damagedError{fmt.Sprintf("a value of the journal's own is %q", text)}
	}
	return n, nil
}

// newestCheckpoint returns the state of the newest checkpoint that is as it was written, its place
// and the hash of the last event in it. Without one it is the empty state.
func (j *Journal) newestCheckpoint(ctx context.Context, hashed int64) (record.State, int64, []byte, error) {
	empty := record.NewState(j.id)
	rows, err := j.db().QueryContext(ctx, `SELECT place, at, model, state, link, hash FROM checkpoint ORDER BY place DESC`)
	if err != nil {
		return empty, 0, seed, fmt.Errorf("journal: read checkpoints: %w", err)
	}
	var all []savedCheckpoint
	for rows.Next() {
		var c savedCheckpoint
		if err := rows.Scan(&c.place, &c.at, &c.model, &c.state, &c.link, &c.hash); err != nil {
			return empty, 0, seed, errors.Join(fmt.Errorf("journal: read checkpoint: %w", err), rows.Close())
		}
		all = append(all, c)
	}
	if err := errors.Join(rows.Err(), rows.Close()); err != nil {
		return empty, 0, seed, fmt.Errorf("journal: read checkpoints: %w", err)
	}
	for _, c := range all {
		state, err := c.decode(j.id)
		if err == nil && c.hash == nil {
			err = j.plausible(ctx, c, state, hashed)
		}
		if err != nil {
			j.log.Warn("a checkpoint cannot be read, the one before is used", "place", c.place, "err", err)
			continue
		}
		link := c.link
		if link == nil {
			link = seed
		}
		return state, c.place, link, nil
	}
	return empty, 0, seed, nil
}

// decode returns the state of a checkpoint of the journal with the given id.
func (c savedCheckpoint) decode(id string) (record.State, error) {
	if c.hash != nil && !c.whole() {
		return record.State{}, &damagedError{"it is not as it was written"}
	}
	state := record.NewState(id)
	text, err := unpacked(c.state)
	if err != nil {
		return record.State{}, err
	}
	if err := json.Unmarshal(text, &state); err != nil {
		return record.State{}, err
	}
	return state, nil
}

// plausible returns why a checkpoint without a hash cannot be true.
func (j *Journal) plausible(ctx context.Context, c savedCheckpoint, s record.State, hashed int64) error {
	if c.place >= hashed {
		return &damagedError{"its hash is missing"}
	}
	var seq int64
	err := j.db().QueryRowContext(ctx, `SELECT seq FROM record WHERE seq IS NOT NULL AND place <= ? ORDER BY place DESC LIMIT 1`, c.place).Scan(&seq)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return err
	}
	if s.Seq != uint64(seq) || s.Journal != j.id {
		return &damagedError{fmt.Sprintf("it is of event %d, the last event before it is %d", s.Seq, seq)}
	}
	return nil
}

// agrees returns how a journal differs from what was known of it outside of the file, nil when it
// does not.
func (j *Journal) agrees(ctx context.Context, known head, e end) error {
	switch {
	case !j.Continues(known.id):
		return &damagedError{fmt.Sprintf("the journal was replaced: it is %s, known was %s with %d events", j.id, known.id, known.seq)}
	case e.seq < known.seq || e.place < known.place:
		return &damagedError{fmt.Sprintf("the journal was cut short: it ends with event %d, known were %d", e.seq, known.seq)}
	case known.seq == 0:
		return nil
	}
	var hash []byte
	err := j.db().QueryRowContext(ctx, `SELECT hash FROM record WHERE seq = ?`, int64(known.seq)).Scan(&hash)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return err
	}
	if hash != nil && string(hash) != string(known.link) {
		return &damagedError{fmt.Sprintf("the journal was replaced: its event %d is not the one that was written", known.seq)}
	}
	return nil
}
