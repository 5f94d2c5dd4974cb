package study

import (
	"context"
	"sync"
	"time"

	"potlifed/daemon/pace"
	"potlifed/model/quality"
)

// Source is where the counts of a bench come from.
type Source interface {
	// Fill adds the prints, rejects and batches that the filter takes. It may be called by
	// several goroutines. The error is that of reading.
	Fill(ctx context.Context, t *Table, f Filter) error
}

// Request is what a study is asked.
type Request struct {
	Filter
	Relevant float64 // as [quality.Options.Relevant]
	Family   quality.Family
}

// Elsewhere computes in another process. Errors are that of the context, or say why there is no answer.
type Elsewhere interface {
	Study(ctx context.Context, q Request) (Answer, error)
	Chart(ctx context.Context, q ChartRequest) (Chart, error)
}

// Runner answers requests from a source. One study runs at a time, so that it takes one
// processor at most, and answers are kept for a while. Its methods may be called by several
// goroutines; none of them touches the bench's loop.
type Runner struct {
	// Alone lets the runner compute without waits, in a program that does nothing else. It is set before the
	// first request.
	Alone bool
	// Elsewhere, if not nil, computes. Where it has no answer, the runner computes itself. It is set before the first
	// request.
	Elsewhere Elsewhere
	source    Source
	zone      *time.Location
	now       func() time.Time
	turn      chan struct{} // one token: who has it, computes

	mu     sync.Mutex // guards what follows
	recent map[Request]kept
	read   *Table // with Alone, the newest table, which several answers are made from
}

type kept struct {
	answer Answer
	at     time.Time
}

const (
	// keptFor is how long an answer is given again.
	keptFor = 5 * time.Minute
	// mostKept bounds the answers that are kept.
	mostKept = 16
)

// NewRunner returns a runner. Days are those of the zone; now is used to see how old an answer
// is.
func NewRunner(source Source, zone *time.Location, now func() time.Time) *Runner {
	return &Runner{source: source, zone: zone, now: now, turn: make(chan struct{}, 1), recent: map[Request]kept{}}
}

// Study answers a request, without sentences. The same request within five minutes gets the same
// answer. The error is that of reading, or of the context.
func (r *Runner) Study(ctx context.Context, q Request) (Answer, error) {
	if a, ok := r.kept(q); ok {
		return a, nil
	}
	select {
	case r.turn <- struct{}{}:
		defer func() { <-r.turn }()
	case <-ctx.Done():
		return Answer{}, ctx.Err()
	}
	if a, ok := r.kept(q); ok { // computed for another one who waited
		return a, nil
	}
	a, err := r.compute(ctx, q)
	if err != nil {
		return Answer{}, err
	}
	at := r.now().UTC().Truncate(time.Second)
	a.ComputedAt = &at
	r.keep(q, a)
	return a, nil
}

func (r *Runner) compute(ctx context.Context, q Request) (Answer, error) {
	if r.Elsewhere != nil {
		if a, err := r.Elsewhere.Study(ctx, q); err == nil || ctx.Err() != nil {
			return a, err
		}
	}
	t, err := r.table(ctx, q.Filter)
	if err != nil {
		return Answer{}, err
	}
	return Make(ctx, t, quality.Options{Relevant: q.Relevant, Family: q.Family}, r.zone)
}

// Chart returns the control chart of a press, without keeping it.
func (r *Runner) Chart(ctx context.Context, q ChartRequest) (Chart, error) {
	if r.Elsewhere != nil {
		if c, err := r.Elsewhere.Chart(ctx, q); err == nil || ctx.Err() != nil {
			return c, err
		}
	}
	f := Filter{From: q.From, To: q.To, Press: q.Press, Kind: q.Kind}
	if r.Alone { // a report asks for all presses
		f.Press, f.Kind = "", ""
	}
	t, err := r.table(ctx, f)
	if err != nil {
		return Chart{}, err
	}
	return t.Chart(q, r.zone), nil
}

// table returns a table of what the source has. Alone, it is the one before where the filter is the same; else
// its computations wait between slices.
func (r *Runner) table(ctx context.Context, f Filter) (*Table, error) {
	r.mu.Lock()
	before := r.read
	r.mu.Unlock()
	if before != nil && before.filter == f {
		return before, nil
	}
	t := NewTable(f)
	if !r.Alone {
		t.Pause = pace.New(ctx).Pause
	}
	if err := r.source.Fill(ctx, t, f); err != nil {
		return nil, err
	}
	if r.Alone {
		r.mu.Lock()
		r.read = t
		r.mu.Unlock()
	}
	return t, nil
}

func (r *Runner) kept(q Request) (Answer, bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	k, ok := r.recent[q]
	return k.answer, ok && r.now().Sub(k.at).Abs() < keptFor
}

// keep keeps an answer in the place of what is too old, or of the oldest.
func (r *Runner) keep(q Request, a Answer) {
	r.mu.Lock()
	defer r.mu.Unlock()
	now := r.now()
	for old, k := range r.recent {
		if now.Sub(k.at).Abs() >= keptFor {
			delete(r.recent, old)
		}
	}
	for len(r.recent) >= mostKept {
		var oldest Request
		at := now.Add(time.Hour)
		for old, k := range r.recent {
			if k.at.Before(at) {
				oldest, at = old, k.at
			}
		}
		delete(r.recent, oldest)
	}
	r.recent[q] = kept{a, now}
}
