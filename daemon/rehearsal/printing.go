package rehearsal

import (
	"context"
	"math/rand/v2"
	"sync/atomic"
	"time"

	"potlifed/model/air"
)

const (
	// stroke is how long a press takes for a print.
	stroke = 3 * time.Second
	// reportEvery is how often a press reports what it printed.
	reportEvery = time.Minute
)

// machine is a press. It prints while a batch is on it and its light allows it, and reports its
// counter and the prints that a camera rejects, by the API.
type machine struct {
	press   string
	api     *api
	feed    *feed
	clock   *Paced
	story   *story
	air     func() air.State // at the press
	rejects rejects
	random  *rand.Rand

	total atomic.Int64 // prints since the demo began

	batch    string        // the batch of the last report
	reported time.Duration // when, on the monotonic clock
}

// run prints until the context ends.
func (m *machine) run(ctx context.Context) error {
	for {
		if err := m.clock.Wait(ctx, reportEvery); err != nil {
			return nil
		}
		if err := m.print(ctx); err != nil && ctx.Err() == nil {
			return err
		}
	}
}

// print prints what the press has time for since the last report. A batch that was not there at
// the last report, or whose light forbids printing, has printed nothing.
func (m *machine) print(ctx context.Context) error {
	is := m.clock.Now()
	now, at := is.Mono, is.Wall // a report says the time: it may arrive when the cup was taken off
	b, loaded := m.feed.find(func(b batch) bool { return b.on(m.press) })
	meaning, of := m.feed.light(m.press)
	was, since := m.batch, m.reported
	m.batch, m.reported = b.ID, now
	if !loaded || b.ID != was || of != b.ID || meaning != "in-order" && meaning != "soon" {
		return nil
	}
	prints := int((now - since) / stroke)
	rejected := map[string]int{}
	spent := 0.0
	if b.Spent != nil {
		spent = *b.Spent
	}
	density := m.air().VapourDensityGM3()
	for range prints {
		if kind := m.rejects.of(density, spent, m.random.Float64()); kind != "" {
			rejected[kind]++
		}
	}
	err := m.report(ctx, map[string]any{"total": m.total.Add(int64(prints)), "at": at}, "prints")
	for _, row := range m.rejects {
		if n := rejected[row.kind]; n > 0 && err == nil {
			err = m.report(ctx, map[string]any{"kind": row.kind, "add": n, "at": at}, "defects")
		}
	}
	return err
}

func (m *machine) report(ctx context.Context, body map[string]any, verb string) error {
	_, err := m.api.change(ctx, body, "presses", m.press, verb)
	if r, is := asProblem(err); is {
		m.story.tell("%s cannot report %s: %s", m.press, verb, r.Detail)
		return nil
	}
	return err
}
