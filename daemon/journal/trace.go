package journal

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"potlifed/daemon/record"
)

// What follows is answered by indexes, so that it takes no longer in a journal of many
// years. Each query repeats the words of its index's WHERE, or SQLite would not use it.

// columnsOf selects the columns of a row. Its hash is not needed.
const columnsOf = `SELECT ` + rowColumns + `, NULL FROM record `

// About returns the events of the given batch, the splits and top-ups by which it was poured
// into others, and the undos that affected it, oldest first.
func (j *Journal) About(ctx context.Context, batch string) ([]record.Record, error) {
	waiting, err := j.waitingEvents(func(r record.Record) bool {
		switch e := r.Body.(type) {
		case record.Printed:
			return e.Batch == batch
		case record.Defects:
			return e.Batch == batch
		}
		return false
	})
	if err != nil {
		return nil, err
	}
	own, err := j.records(ctx, columnsOf+`WHERE seq IS NOT NULL AND json_extract(CAST(body AS TEXT), '$.batch') = ? ORDER BY seq`, batch)
	if err != nil {
		return nil, err
	}
	from, err := j.records(ctx, columnsOf+`WHERE kind IN ('split', 'topped-up') AND json_extract(CAST(body AS TEXT), '$.from') = ? ORDER BY seq`, batch)
	if err != nil {
		return nil, err
	}
	undone, err := j.records(ctx, columnsOf+`WHERE kind = 'undone' AND EXISTS (SELECT 1 FROM json_each(CAST(body AS TEXT), '$.batches') WHERE value = ?) ORDER BY +seq`, batch) // +: or it would walk through all events in their order
	if err != nil {
		return nil, err
	}
	return merged(merged(merged(own, from), undone), waiting), nil
}

// merged merges two lists in the order of their numbers, each event once.
func merged(a, b []record.Record) []record.Record {
	out := make([]record.Record, 0, len(a)+len(b))
	for len(a) > 0 || len(b) > 0 {
		switch {
		case len(b) == 0 || len(a) > 0 && a[0].Seq < b[0].Seq:
			out, a = append(out, a[0]), a[1:]
		case len(a) > 0 && a[0].Seq == b[0].Seq:
			a = a[1:]
		default:
			out, b = append(out, b[0]), b[1:]
		}
	}
	return out
}

// Clock returns the events that moved bench time, with numbers from first to last.
func (j *Journal) Clock(ctx context.Context, first, last uint64) ([]record.Record, error) {
	return j.records(ctx, columnsOf+`WHERE kind IN ('clock-changed', 'started') AND seq BETWEEN ? AND ? ORDER BY seq`, integer(first), integer(last))
}

// integer returns a number, limited to what SQLite can hold.
func integer(n uint64) int64 { return int64(min(n, math.MaxInt64)) }

// PouredFromCan returns at most limit pours from a can before the event of the given number,
// newest first.
func (j *Journal) PouredFromCan(ctx context.Context, can string, before uint64, limit int) ([]record.Record, error) {
	return j.records(ctx, columnsOf+`WHERE kind = 'poured-from' AND json_extract(CAST(body AS TEXT), '$.can') = ? AND seq < ? ORDER BY seq DESC LIMIT ?`,
		can, integer(before), limit)
}

// PouredFromLot returns at most limit pours from a lot before the event of the given number,
// newest first. Letter case is ignored.
func (j *Journal) PouredFromLot(ctx context.Context, lot string, before uint64, limit int) ([]record.Record, error) {
	return j.records(ctx, columnsOf+`WHERE kind = 'poured-from' AND json_extract(CAST(body AS TEXT), '$.lot') = ? COLLATE NOCASE AND seq < ? ORDER BY seq DESC LIMIT ?`,
		lot, integer(before), limit)
}

// Over returns at most limit ends of batches in a span, closed or abandoned, oldest first. Ends
// that were undone are left out.
func (j *Journal) Over(ctx context.Context, from, to time.Time, limit int) ([]record.Record, error) {
	return j.records(ctx, columnsOf+`WHERE kind IN ('closed', 'abandoned') AND at >= ? AND at < ?
		AND seq NOT IN (SELECT json_extract(CAST(body AS TEXT), '$.undoes') FROM record WHERE kind = 'undone') ORDER BY at LIMIT ?`,
		from.UnixNano(), to.UnixNano(), limit)
}

func (j *Journal) records(ctx context.Context, query string, args ...any) ([]record.Record, error) {
	rows, err := j.db().QueryContext(ctx, query, args...)
	if err != nil {
		return nil, fmt.Errorf("journal: read events: %w", err)
	}
	var out []record.Record
	for rows.Next() {
		r, place, err := scan(rows)
		if err != nil {
			return nil, errors.Join(fmt.Errorf("journal: record at place %d: %w", place, err), rows.Close())
		}
		out = append(out, r)
	}
	if err := errors.Join(rows.Err(), rows.Close()); err != nil {
		return nil, fmt.Errorf("journal: read events: %w", err)
	}
	return out, nil
}
