package history

import (
	"context"
	"database/sql"
	"errors"
	"time"

	"potlifed/daemon/record"
)

// atOnce is how many records of the journal are taken at once.
const atOnce = 2000

// catchUp takes what is new in the journal into memory; more reports whether there is more.
func (h *History) catchUp(ctx context.Context) (more bool, err error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.open()
	if h.store == nil && h.settings.Bench != nil { // it is not known how far the file goes
		return false, nil
	}
	return h.follow(ctx)
}

// follow is catchUp for a caller who holds mu, or alone has the history. When it fails, what is
// waiting is as before.
func (h *History) follow(ctx context.Context) (more bool, err error) {
	var records []record.Record
	place := h.waiting.place
	n := 0
	err = h.settings.Journal.Since(ctx, place, atOnce, func(at int64, r record.Record) error {
		place = at
		n++
		records = append(records, r)
		return nil
	})
	if err != nil {
		return false, err
	}
	batches, err := h.ended(ctx, records)
	if err != nil {
		return false, err
	}
	for seq, b := range batches {
		h.waiting.batches[seq] = b
	}
	for _, r := range records {
		h.waiting.count(r)
	}
	h.waiting.place = place
	return n == atOnce, nil
}

// count takes air, prints and rejects of a record.
func (w *waiting) count(r record.Record) {
	if w.since.IsZero() {
		w.since = r.Stamp.At
	}
	if e, ok := r.Body.(record.AirStep); ok {
		w.quarters.addStep(seriesKey{Measured, kindZone, e.Zone}, e.Start, e.Step)
		return
	}
	if c, ok := checkOf(r); ok {
		w.checks = append(w.checks, c)
	}
	if k, t, ok := countOf(r); ok {
		w.tallied(k, t)
	}
}

// quarterOf returns the number of the quarter-hour of an instant.
func quarterOf(at time.Time) int64 { return floor(at.UnixMilli(), quarters.each) }

// ended returns the rows of the batches that ended or changed afterwards, by the number of the
// event that ended them; nil for an end that was undone.
func (h *History) ended(ctx context.Context, records []record.Record) (map[uint64]*Batch, error) {
	rows := map[uint64]*Batch{}
	again := func(r record.Record) error {
		whole, found, err := h.ends.Of(ctx, r)
		if err != nil || !found {
			rows[r.Seq] = nil
			return err
		}
		b := rowOf(whole, r.Seq)
		rows[r.Seq] = &b
		return nil
	}
	for _, r := range records {
		var err error
		switch e := r.Body.(type) {
		case record.Closed, record.Abandoned, record.ToppedUp:
			err = again(r)
		case record.Undone:
			rows[e.Undoes] = nil
			for _, id := range e.Batches {
				if err = h.changed(ctx, rows, id, again); err != nil {
					break
				}
			}
		}
		if err != nil {
			return nil, err
		}
	}
	return rows, nil
}

// changed makes the row of the newest end of a batch again, where there is one.
func (h *History) changed(ctx context.Context, rows map[uint64]*Batch, id string, again func(record.Record) error) error {
	newest := uint64(0)
	look := func(seq uint64, b *Batch) {
		if b != nil && b.ID == id {
			newest = max(newest, seq)
		}
	}
	for seq, b := range h.waiting.batches {
		if _, newer := rows[seq]; !newer {
			look(seq, b)
		}
	}
	for seq, b := range rows {
		look(seq, b)
	}
	if newest == 0 && h.store != nil {
		var seq int64
		err := h.store.read.QueryRowContext(ctx, `SELECT seq FROM batch WHERE id = ? AND source = ? ORDER BY seq DESC LIMIT 1`, id, string(Measured)).Scan(&seq)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		newest = uint64(seq)
	}
	if newest == 0 || h.removed(rows, newest) {
		return nil
	}
	r, err := h.settings.Journal.Event(ctx, newest)
	if err != nil {
		return err
	}
	return again(r)
}

// removed reports whether the end of a batch was undone.
func (h *History) removed(rows map[uint64]*Batch, seq uint64) bool {
	for _, list := range []map[uint64]*Batch{rows, h.waiting.batches} {
		if b, there := list[seq]; there {
			return b == nil
		}
	}
	return false
}

// Fresh takes what is new in the journal, so that an answer has it. A long way to follow is left to
// the recorder.
func (h *History) Fresh(ctx context.Context) error {
	_, err := h.catchUp(ctx)
	return err
}
