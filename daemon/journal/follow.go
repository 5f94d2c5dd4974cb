package journal

import (
	"context"
	"errors"
	"fmt"

	"potlifed/daemon/record"
)

// Since calls each for at most limit records after a place, oldest first, with the place of each,
// and stops at the first error of each, which it returns. Places rise and are never used again.
func (j *Journal) Since(ctx context.Context, place int64, limit int, each func(place int64, r record.Record) error) error {
	waiting, n := j.waitingRows(), 0
	rows, err := j.db().QueryContext(ctx, columnsOf+`WHERE place > ? ORDER BY place LIMIT ?`, place, limit)
	if err != nil {
		return fmt.Errorf("journal: read records: %w", err)
	}
	for rows.Next() {
		r, at, err := scan(rows)
		if err != nil {
			return errors.Join(fmt.Errorf("journal: record at place %d: %w", at, err), rows.Close())
		}
		if err := each(at, r); err != nil {
			return errors.Join(err, rows.Close())
		}
		place = at
		n++
	}
	if err := errors.Join(rows.Err(), rows.Close()); err != nil {
		return fmt.Errorf("journal: read records: %w", err)
	}
	for _, w := range waiting {
		if w.place <= place || n == limit {
			continue
		}
		r, err := w.record()
		if err != nil {
			return fmt.Errorf("journal: record at place %d: %w", w.place, err)
		}
		if err := each(w.place, r); err != nil {
			return err
		}
		n++
	}
	return nil
}

// Event returns the event of a number, or an error where there is none.
func (j *Journal) Event(ctx context.Context, seq uint64) (record.Record, error) {
	waiting, err := j.waitingEvents(func(r record.Record) bool { return r.Seq == seq })
	if err != nil {
		return record.Record{}, err
	}
	found, err := j.records(ctx, columnsOf+`WHERE seq = ?`, integer(seq))
	found = append(found, waiting...)
	if err == nil && len(found) == 0 {
		err = fmt.Errorf("journal: there is no event %d", seq)
	}
	if err != nil {
		return record.Record{}, err
	}
	return found[0], nil
}

// Newest returns the place of the newest record, 0 where there is none.
func (j *Journal) Newest(ctx context.Context) (place int64, err error) {
	waiting := j.waitingRows()
	err = j.db().QueryRowContext(ctx, `SELECT coalesce(max(place), 0) FROM record`).Scan(&place)
	if err != nil {
		return 0, fmt.Errorf("journal: find the newest record: %w", err)
	}
	for _, r := range waiting {
		place = max(place, r.place)
	}
	return place, nil
}
