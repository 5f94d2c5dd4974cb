package journal

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"time"

	"potlifed/daemon/record"
)

// Answers calls each for the answers to changes with idempotency keys that were recorded since a
// time, oldest first and without their bodies; of more than most, for the newest. The error is
// that of reading; an [ErrDamaged] asks for a start that rebuilds the journal, since a start itself
// reads only what follows the newest checkpoint.
func (j *Journal) Answers(ctx context.Context, since time.Time, most int, each func(seq uint64, a record.Answer)) error {
	err := j.answers(ctx, since, most, each)
	if isDamage(err) {
		return j.condemn(err)
	}
	return err
}

func (j *Journal) answers(ctx context.Context, since time.Time, most int, each func(seq uint64, a record.Answer)) error {
	from, err := j.PlaceAt(ctx, since)
	if err != nil {
		return err
	}
	rows, err := j.db().QueryContext(ctx, `SELECT seq, answer FROM record WHERE place >= ? AND answer IS NOT NULL AND seq IS NOT NULL ORDER BY place DESC LIMIT ?`, from, most)
	if err != nil {
		return fmt.Errorf("journal: read answers: %w", err)
	}
	type found struct {
		seq uint64
		a   record.Answer
	}
	var all []found
	for rows.Next() {
		var f found
		var text []byte
		if err := rows.Scan(&f.seq, &text); err != nil {
			return errors.Join(fmt.Errorf("journal: read answer: %w", err), rows.Close())
		}
		if err := json.Unmarshal(text, &f.a); err != nil {
			return errors.Join(&damagedError{fmt.Sprintf("the answer of event %d: %v", f.seq, err)}, rows.Close())
		}
		f.a.Body = nil
		if !f.a.At.Before(since) {
			all = append(all, f)
		}
	}
	if err := errors.Join(rows.Err(), rows.Close()); err != nil {
		return fmt.Errorf("journal: read answers: %w", err)
	}
	for _, f := range slices.Backward(all) {
		each(f.seq, f.a)
	}
	return nil
}

// PlaceAt returns a place before which nothing was recorded since a time. Bench time hardly ever
// runs back, so halving finds it; where it did, the place may be a little late.
func (j *Journal) PlaceAt(ctx context.Context, since time.Time) (int64, error) {
	low, high := int64(0), int64(0)
	if err := j.db().QueryRowContext(ctx, `SELECT coalesce(max(place), 0) FROM record`).Scan(&high); err != nil {
		return 0, fmt.Errorf("journal: find a time: %w", err)
	}
	for low < high {
		middle := low + (high-low)/2
		var at int64
		if err := j.db().QueryRowContext(ctx, `SELECT at FROM record WHERE place >= ? ORDER BY place LIMIT 1`, middle).Scan(&at); err != nil {
			return 0, fmt.Errorf("journal: find a time: %w", err)
		}
		if at < since.UnixNano() {
			low = middle + 1
		} else {
			high = middle
		}
	}
	return low, nil
}
