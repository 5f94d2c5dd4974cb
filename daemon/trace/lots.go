package trace

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"

	"potlifed/daemon/record"
	"potlifed/daemon/words"
	"potlifed/model/can"
	"potlifed/model/lifecycle"
)

// Source is a can or a lot.
type Source struct{ Can, Lot string }

func (s Source) is(l can.Lot) bool {
	return s.Can != "" && l.Can == s.Can || s.Lot != "" && strings.EqualFold(l.Lot, s.Lot)
}

// Page is a part of a long list, newest first.
type Page struct {
	Batches []Past
	Next    uint64 // the value of before that gives the next page; 0 when there is none
}

// Into returns the batches that a can or a lot is in: those that were poured from it, and those
// that one of these was split or poured into. It looks at limit pours before the event of the
// given number; 0 means the newest. A batch is left out when every pour of it was undone or
// turned out to be something else. The error is that of the journal.
func Into(ctx context.Context, j Journal, from Source, before uint64, limit int, in words.Locale) (Page, error) {
	cut := before
	if cut == 0 {
		cut = math.MaxUint64
	}
	pours, err := from.pours(ctx, j, cut, limit)
	if err != nil {
		return Page{}, err
	}
	w := into{words: in, j: j, from: from, cut: before, seen: map[string]bool{}, page: Page{Batches: []Past{}}}
	for _, r := range pours {
		if e, ok := r.Body.(record.PouredFrom); ok {
			if err := w.visit(ctx, e.Batch, r.Seq, ""); err != nil {
				return Page{}, err
			}
		}
	}
	if len(pours) == limit {
		w.page.Next = pours[len(pours)-1].Seq
	}
	return w.page, nil
}

func (s Source) pours(ctx context.Context, j Journal, before uint64, limit int) ([]record.Record, error) {
	if s.Can != "" {
		return j.PouredFromCan(ctx, s.Can, before, limit)
	}
	return j.PouredFromLot(ctx, s.Lot, before, limit)
}

type into struct {
	words words.Locale
	j     Journal
	from  Source
	cut   uint64
	seen  map[string]bool // batches by id and first event
	page  Page
}

func (w *into) visit(ctx context.Context, id string, seq uint64, via string) error {
	l, err := follow(ctx, w.j, id, seq)
	if errors.Is(err, ErrUnknown) {
		return nil
	}
	if err != nil {
		return err
	}
	key := fmt.Sprintf("%s/%d", id, l.own[0].Seq)
	if w.seen[key] || len(w.seen) >= most*10 {
		return nil
	}
	w.seen[key] = true
	b := l.batch(w.words)
	b.Via = via
	for _, lot := range b.Lots {
		if b.Outcome == lifecycle.Undone { // a part that was split off by mistake
			break
		}
		if w.from.is(lot) && !w.toldBefore(l, via) {
			w.page.Batches = append(w.page.Batches, b)
			break
		}
	}
	for _, r := range l.own {
		switch e := r.Body.(type) {
		case record.Split:
			if e.From == id {
				err = w.visit(ctx, e.Batch, r.Seq, id)
			}
		case record.ToppedUp:
			if e.From == id {
				err = w.visit(ctx, e.Batch, r.Seq, id)
			}
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// toldBefore reports whether a later pour of the same batch was on a page before this one.
func (w *into) toldBefore(l life, via string) bool {
	if w.cut == 0 || via != "" {
		return false
	}
	for _, r := range l.own {
		if e, ok := r.Body.(record.PouredFrom); ok && r.Seq >= w.cut && w.from.is(can.Lot{Can: e.Can, Lot: e.Lot}) {
			return true
		}
	}
	return false
}
