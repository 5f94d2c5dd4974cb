package history

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"time"
)

// save keeps the readings that wait in the file for recent ones; or, where whole, gives them rows of their own and
// stores the rest too. What cannot be stored stays in memory. The caller holds mu.
func (h *History) save(ctx context.Context, whole bool) {
	h.open()
	if h.store == nil {
		return
	}
	ready, later := h.waiting.ready(h.settings.Bench, whole)
	if !whole {
		err := h.store.recent.add(ready)
		if h.failed(err); err != nil {
			return
		}
		for _, c := range ready {
			c.kept = len(c.readings)
		}
		return
	}
	mark := newMark()
	err := h.store.in(ctx, func(tx *sql.Tx) error {
		if err := h.store.putReadings(tx, ready, mark); err != nil {
			return err
		}
		return h.store.putRest(tx, h.waiting.rolled(ready), h.settings.Journal.ID())
	})
	h.failed(err)
	if err != nil {
		return
	}
	h.store.recent.begin(mark)
	h.clear()
	h.waiting.chunks = later
	for _, c := range later {
		c.kept = 0
	}
}

// ready returns the readings to store now, and those that wait for the clock to be set.
func (w *waiting) ready(bench Bench, whole bool) (ready, later []*chunk) {
	for _, c := range w.chunks {
		if c.notSet && bench != nil && bench.Snapshot().Mono-c.began < notSetAtMost {
			later = append(later, c)
		} else {
			ready = append(ready, c)
		}
	}
	return ready, later
}

// rolled returns what waits, with readings added to their minutes and the minutes of sensors to
// their quarter-hours. What waits is not changed.
func (w *waiting) rolled(ready []*chunk) waiting {
	out := *w
	out.minutes, out.quarters = buckets{}, buckets{}
	for row, list := range w.minutes {
		out.minutes[row] = append([]Bucket(nil), list...)
	}
	for row, list := range w.quarters {
		out.quarters[row] = append([]Bucket(nil), list...)
	}
	for _, c := range ready {
		out.roll(c.sensor, c.readings)
	}
	for row, list := range out.minutes {
		for i, b := range list {
			if b.Weight > 0 {
				out.quarters.add(quarters, row.series, minutes.starts(row.row, i), b)
			}
		}
	}
	return out
}

// putReadings gives each chunk a row of its own. The table recent is empty then, and so is the file, whose next readings
// come with the mark.
func (s *store) putReadings(tx *sql.Tx, ready []*chunk, mark string) error {
	for _, c := range ready {
		if err := s.insertReadings(tx, "raw", c.sensor, c.readings); err != nil {
			return err
		}
	}
	if err := putMark(tx, mark); err != nil {
		return err
	}
	_, err := tx.Exec(`DELETE FROM recent WHERE id > 0`) // without a condition, SQLite would write the page of an empty table
	return err
}

func putMeta(tx *sql.Tx, name, value string) error {
	_, err := tx.Exec(`INSERT INTO meta (name, value) VALUES (?, ?) ON CONFLICT (name) DO UPDATE SET value = excluded.value`, name, value)
	return err
}

func (s *store) insertReadings(tx *sql.Tx, table, sensor string, readings []Reading) error {
	if len(readings) == 0 {
		return nil
	}
	id, err := s.series(tx, seriesKey{Measured, kindSensor, sensor})
	if err != nil {
		return err
	}
	_, err = tx.Exec(`INSERT INTO `+table+` (series, starts, body) VALUES (?, ?, ?)`, id, readings[0].At.UnixMilli(), encodeReadings(readings))
	return err
}

// putRest stores buckets, tallies and batches, and how far the journal was taken.
func (s *store) putRest(tx *sql.Tx, w waiting, journal string) error {
	for _, part := range []struct {
		of   level
		rows buckets
	}{{minutes, w.minutes}, {quarters, w.quarters}} {
		for row, list := range part.rows {
			id, err := s.series(tx, row.series)
			if err != nil {
				return err
			}
			if err := part.of.merge(tx, id, row.row, list); err != nil {
				return err
			}
		}
	}
	if err := addCounts(tx, w.tallies); err != nil {
		return err
	}
	for seq, b := range w.batches {
		if b == nil {
			if _, err := tx.Exec(`DELETE FROM batch WHERE source = ? AND seq = ?`, string(Measured), int64(seq)); err != nil {
				return err
			}
			continue
		}
		if err := putBatch(tx, *b); err != nil {
			return err
		}
	}
	for _, c := range w.checks {
		body, err := json.Marshal(c)
		if err != nil {
			return err
		}
		if _, err := tx.Exec(`INSERT OR REPLACE INTO verified (seq, at, body) VALUES (?, ?, ?)`, int64(c.Seq), c.Time.UnixMilli(), string(body)); err != nil {
			return err
		}
	}
	for name, value := range map[string]any{"journal": journal, "place": w.place} {
		if err := putMeta(tx, name, fmt.Sprint(value)); err != nil {
			return err
		}
	}
	return nil
}

func putBatch(tx *sql.Tx, b Batch) error {
	body, err := json.Marshal(b)
	if err != nil {
		return err
	}
	_, err = tx.Exec(`INSERT OR REPLACE INTO batch (source, seq, id, closed, body) VALUES (?, ?, ?, ?, ?)`,
		string(b.Source), int64(b.Seq), b.ID, b.ClosedAt.UnixMilli(), string(body))
	return err
}

// MostBytes bounds the file: beyond it the oldest readings, then the oldest minutes are removed
// before their time. What is kept for good is not removed.
const MostBytes = 512 << 20

// mostPurged is how much of the oldest a purge removes. One each day keeps up with what is added,
// and a wall clock that is set ten years ahead for an hour costs two days of the oldest readings
// rather than all of them.
const mostPurged = 48 * time.Hour

// purge removes what is older than it is stored for, and makes room where more than so many bytes
// are in use. Removed pages are used again, so the file does not shrink, and does not grow either.
func (h *History) purge(ctx context.Context, now time.Time, most int64) error {
	const day = 24 * time.Hour
	raw, minute, err := h.store.oldest(ctx, now)
	if err != nil {
		return err
	}
	lastRaw, lastMinute := earlier(raw.Add(mostPurged), now.Add(-day)), minute.Add(mostPurged)
	toRaw, toMinute := earlier(now.Add(-h.settings.RawFor), lastRaw), earlier(now.Add(-h.settings.MinutesFor), lastMinute)
	for {
		if err := h.store.purge(ctx, toRaw, toMinute); err != nil {
			return err
		}
		used, err := h.store.used(ctx)
		switch {
		case err != nil || used <= most:
			return err
		case toRaw.Before(lastRaw):
			toRaw = earlier(later(toRaw, raw).Add(day), lastRaw)
		case now.Sub(toRaw) <= day && toMinute.Before(lastMinute): // of the readings, no more than the last day is left
			toMinute = earlier(later(toMinute, minute).Add(day), lastMinute)
		default:
			return nil
		}
	}
}

func earlier(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}

// oldest returns when the oldest readings and the oldest minutes begin; without readings it is now, and
// without minutes 1970.
func (s *store) oldest(ctx context.Context, now time.Time) (raw, minute time.Time, err error) {
	var ms, row int64
	if err := s.read.QueryRowContext(ctx, `SELECT coalesce(min(starts), ?) FROM raw`, now.UnixMilli()).Scan(&ms); err != nil {
		return raw, minute, err
	}
	err = s.read.QueryRowContext(ctx, `SELECT coalesce(min((SELECT min(key) FROM minutes WHERE key >= series.id * ?1 AND key < (series.id + 1) * ?1) - series.id * ?1), 0) FROM series`,
		minutes.series).Scan(&row)
	return time.UnixMilli(ms), time.UnixMilli(minutes.starts(row, 0)), err
}

func (s *store) purge(ctx context.Context, raw, minute time.Time) error {
	return s.in(ctx, func(tx *sql.Tx) error {
		if _, err := tx.Exec(`DELETE FROM raw WHERE starts < ?`, raw.UnixMilli()); err != nil {
			return err
		}
		row, _ := minutes.row(minute.UnixMilli())
		_, err := tx.Exec(`DELETE FROM minutes WHERE key IN (SELECT key FROM series JOIN minutes ON key >= series.id * ?1 AND key < series.id * ?1 + ?2)`,
			minutes.series, row)
		return err
	})
}

// used returns how many bytes of the file are in use.
func (s *store) used(ctx context.Context) (int64, error) {
	var pages, free, size int64
	err := s.read.QueryRowContext(ctx, `SELECT (SELECT page_count FROM pragma_page_count), (SELECT freelist_count FROM pragma_freelist_count), (SELECT page_size FROM pragma_page_size)`).
		Scan(&pages, &free, &size)
	return (pages - free) * size, err
}

// Save stores everything that waits. Run does so by itself, at its end too.
func (h *History) Save(ctx context.Context) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.save(ctx, true)
	return h.fault
}
