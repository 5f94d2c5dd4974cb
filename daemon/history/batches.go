package history

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"slices"
	"time"
)

// Batches returns the batches that ended in [find.From, find.To), oldest first, with their prints
// and rejects. It returns ErrTooMany when there are more than limit.
func (h *History) Batches(ctx context.Context, find Search, limit int) ([]Batch, error) {
	all, err := h.batches(ctx, find, limit)
	if err != nil {
		return nil, err
	}
	slices.SortFunc(all, func(a, b Batch) int {
		return cmp.Or(a.ClosedAt.Compare(b.ClosedAt), cmp.Compare(a.Source, b.Source), cmp.Compare(a.Seq, b.Seq))
	})
	if err := h.countInto(ctx, all); err != nil {
		return nil, err
	}
	return all, nil
}

// batches returns the batches without their counts.
func (h *History) batches(ctx context.Context, find Search, limit int) ([]Batch, error) {
	all := []Batch{}
	err := h.EachBatch(ctx, find, func(b Batch) error {
		if len(all) == limit {
			return tooMany(limit)
		}
		all = append(all, b)
		return nil
	})
	return all, err
}

// EachBatch calls each for the batches that ended in [find.From, find.To), without their prints and rejects,
// in no particular order. It stops at the first error of each and returns it. What is recorded meanwhile waits for it.
func (h *History) EachBatch(ctx context.Context, find Search, each func(Batch) error) error {
	h.mu.RLock()
	defer h.mu.RUnlock()
	add := func(b Batch) error {
		if b.ClosedAt.Before(find.From) || !b.ClosedAt.Before(find.To) || find.Batch != "" && find.Batch != b.ID || find.Press != "" && find.Press != b.Press {
			return nil
		}
		return each(b)
	}
	if h.store != nil {
		if err := h.storedBatches(ctx, find, add); err != nil {
			return err
		}
	}
	for _, b := range h.waiting.batches {
		if b == nil {
			continue
		}
		if err := add(*b); err != nil {
			return err
		}
	}
	return nil
}

// storedBatches calls each for the batches in the file that no newer row in memory replaces. The caller holds mu.
func (h *History) storedBatches(ctx context.Context, find Search, each func(Batch) error) error {
	rows, err := h.store.read.QueryContext(ctx, `SELECT body FROM batch WHERE closed >= ? AND closed <= ? ORDER BY closed`, find.From.UnixMilli(), find.To.UnixMilli())
	if err != nil {
		return fmt.Errorf("history: read batches: %w", err)
	}
	defer rows.Close()
	for rows.Next() {
		var body sql.RawBytes
		var b Batch
		if err := rows.Scan(&body); err != nil {
			return fmt.Errorf("history: read batches: %w", err)
		}
		if err := json.Unmarshal(body, &b); err != nil {
			return fmt.Errorf("history: read batches: %w", err)
		}
		if _, newer := h.waiting.batches[b.Seq]; newer && b.Source == Measured {
			continue
		}
		if err := each(b); err != nil {
			return err
		}
	}
	if err := rows.Err(); err != nil {
		return fmt.Errorf("history: read batches: %w", err)
	}
	return nil
}

// slack is how long before its mixing and after its end prints are counted for a batch: an id is
// used again after a year, and counts may come late.
const slack = 7 * 24 * time.Hour

// countInto adds prints and rejects to batches.
func (h *History) countInto(ctx context.Context, batches []Batch) error {
	if len(batches) == 0 {
		return nil
	}
	from, to := batches[0].ClosedAt, batches[0].ClosedAt
	named := map[string][]int{}
	for i, b := range batches {
		named[b.ID] = append(named[b.ID], i)
		to = later(to, b.ClosedAt)
		if b.MixedAt != nil && b.MixedAt.Before(from) {
			from = *b.MixedAt
		}
	}
	first, last := quarterOf(from.Add(-slack)), quarterOf(to.Add(slack))
	return h.tallies(ctx, Search{}, everything, first, last, func(k tallyKey, t tally) error {
		at := time.UnixMilli(k.quarter * quarters.each)
		for _, i := range named[k.batch] {
			b := &batches[i]
			begun := b.ClosedAt
			if b.MixedAt != nil {
				begun = *b.MixedAt
			}
			if at.Before(begun.Add(-slack)) || at.After(b.ClosedAt.Add(slack)) {
				continue
			}
			if k.kind == "" {
				b.Prints += t.pieces
			} else {
				b.Defects += t.pieces
			}
		}
		return nil
	})
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}
