package journal

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"potlifed/daemon/record"
)

// Ended returns the events by which batches ended in a span: they were closed, abandoned or
// poured into another. It returns at most limit events before the given number, newest
// first, and none that was undone.
func (j *Journal) Ended(ctx context.Context, from, to time.Time, before uint64, limit int) ([]record.Record, error) {
	return j.records(ctx, columnsOf+`WHERE kind IN ('closed', 'abandoned', 'topped-up') AND at >= ? AND at < ? AND seq < ?
		AND seq NOT IN (SELECT json_extract(CAST(body AS TEXT), '$.undoes') FROM record WHERE kind = 'undone') ORDER BY +seq DESC LIMIT ?`, // +: or it would walk through all events in their order
		from.UnixNano(), to.UnixNano(), integer(before), limit)
}

// mostBefore bounds how many records before the first event Replay begins. They last for a
// day and more. Where the clock was not set, a time alone could lead years back.
const mostBefore = 50_000

// Replay calls each for the events of the given numbers and, among them, the closed steps of
// the air of the given zones and the events that moved bench time, in the order in which they
// were recorded. It begins with the
// last step of each zone that ended before since, and ends with the last event. It stops at
// the first error of each and returns it.
func (j *Journal) Replay(ctx context.Context, events []uint64, zones []string, since time.Time, each func(record.Record) error) error {
	if len(events) == 0 {
		return nil
	}
	waiting := j.waitingRows()
	last, err := j.placeOf(ctx, waiting, slices.Max(events))
	if err != nil {
		return err
	}
	first, err := j.placeOf(ctx, waiting, slices.Min(events))
	if err == nil {
		first, err = j.before(ctx, waiting, first, zones, since)
	}
	if err != nil {
		return err
	}
	wanted, err := json.Marshal(events)
	if err != nil {
		return err
	}
	named, err := json.Marshal(zones)
	if err != nil {
		return err
	}
	rows, err := j.db().QueryContext(ctx, columnsOf+`WHERE place BETWEEN ? AND ?
		AND (+seq IN (SELECT value FROM json_each(?)) OR +zone IN (SELECT value FROM json_each(?)) OR +kind IN ('clock-changed', 'started')) ORDER BY place`, // +: or it would look at all air of the zones
		first, last, string(wanted), string(named))
	if err != nil {
		return fmt.Errorf("journal: read records: %w", err)
	}
	for rows.Next() {
		r, place, err := scan(rows)
		if err != nil {
			return errors.Join(fmt.Errorf("journal: record at place %d: %w", place, err), rows.Close())
		}
		if err := each(r); err != nil {
			return errors.Join(err, rows.Close())
		}
		first = place + 1
	}
	if err := errors.Join(rows.Err(), rows.Close()); err != nil {
		return fmt.Errorf("journal: read records: %w", err)
	}
	for _, w := range waiting {
		of := w.seq != nil && slices.Contains(events, uint64(*w.seq)) || w.zone != nil && slices.Contains(zones, *w.zone)
		if !of || w.place < first || w.place > last {
			continue
		}
		r, err := w.record()
		if err != nil {
			return fmt.Errorf("journal: record at place %d: %w", w.place, err)
		}
		if err := each(r); err != nil {
			return err
		}
	}
	return nil
}

// placeOf returns where an event is in the order of all records.
func (j *Journal) placeOf(ctx context.Context, waiting []row, event uint64) (place int64, err error) {
	for _, r := range waiting {
		if r.seq != nil && uint64(*r.seq) == event {
			return r.place, nil
		}
	}
	if err := j.db().QueryRowContext(ctx, `SELECT place FROM record WHERE seq = ?`, integer(event)).Scan(&place); err != nil {
		return 0, fmt.Errorf("journal: find event %d: %w", event, err)
	}
	return place, nil
}

// stepBefore finds the last step of a zone up to a time, or the first one after it. Each kind of
// thinned step is a part of the index by itself.
var stepBefore = func() string {
	var up, down []string
	for _, grain := range []time.Duration{0, toMinutes, toQuarters} {
		of := fmt.Sprintf(`SELECT * FROM (SELECT place, at FROM record WHERE seq IS NULL AND kind = '%s' AND grain = %d AND zone = ?1 AND place > ?3`, record.KindAirStep, grain)
		up = append(up, of+` AND at > ?2 ORDER BY at LIMIT 1)`)
		down = append(down, of+` AND at <= ?2 ORDER BY at DESC LIMIT 1)`)
	}
	return `SELECT coalesce(
		(SELECT place FROM (` + strings.Join(down, ` UNION ALL `) + `) ORDER BY at DESC LIMIT 1),
		(SELECT place FROM (` + strings.Join(up, ` UNION ALL `) + `) ORDER BY at LIMIT 1))`
}()

// before returns the earliest place among the last steps of the zones' air that ended before
// since, or first if that is earlier. Of a zone whose record begins later it is the first step.
func (j *Journal) before(ctx context.Context, waiting []row, first int64, zones []string, since time.Time) (int64, error) {
	earliest := first
	for _, zone := range zones {
		var place *int64
		if err := j.db().QueryRowContext(ctx, stepBefore, zone, since.UnixNano(), first-mostBefore).Scan(&place); err != nil {
			return 0, fmt.Errorf("journal: read air of zone %q: %w", zone, err)
		}
		for _, r := range waiting {
			if r.zone != nil && *r.zone == zone && (place == nil || r.at <= since.UnixNano()) {
				place = new(r.place)
			}
		}
		if place != nil {
			earliest = min(earliest, *place)
		}
	}
	return earliest, nil
}
