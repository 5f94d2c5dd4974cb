package rehearsal

import (
	"context"
	"time"
)

const (
	// stroke is how long a press takes for a print.
	stroke = 3 * time.Second
	// reportEvery is how often a press reports its counter.
	reportEvery = 2 * time.Minute
)

// counter is a press's print counter.
type counter struct {
	total    int
	batch    string        // the batch of the last report
	reported time.Duration // when, on the monotonic clock
}

// prints reports what a press has printed with the batch on it. A batch that was not there at
// the last report has printed nothing yet.
func (m *mixer) prints(ctx context.Context, p *post, batch string) error {
	now := m.clock.Now().Mono
	if p.counter.batch == batch {
		p.counter.total += int((now - p.counter.reported) / stroke)
	}
	p.counter.batch, p.counter.reported = batch, now
	_, err := m.api.change(ctx, map[string]any{"total": p.counter.total}, "presses", p.press, "prints")
	if r, is := asProblem(err); is {
		m.story.tell("%s cannot report its counter: %s", p.press, r.Detail)
		return nil
	}
	return err
}
