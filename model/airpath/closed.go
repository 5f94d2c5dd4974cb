package airpath

import (
	"math"
	"slices"
	"time"

	"potlifed/model/air"
	"potlifed/model/cure"
)

// Air that nobody has measured: a batch recorded before a zone's first reading stands in
// an ordinary room, which may be as bad as a hot, humid one. An assumption.
var (
	Unmeasured      = air.State{TemperatureC: 20, HumidityPct: 50}
	unmeasuredWorst = air.State{TemperatureC: 30, HumidityPct: 80}
)

const (
	keptSteps   = 24 * time.Hour  // how far back closed steps are kept one by one
	mergedSteps = 5 * time.Minute // steps up to this length are merged if one straight line describes them
)

// Closed is the path of a zone up to the end of its last closed step. A Closed is a value:
// the methods leave it as it was.
type Closed struct {
	Until   time.Time       `json:"until"`            // end of the last closed step
	Air     air.State       `json:"air"`              // what the next step starts from
	ReadAt  time.Time       `json:"read_at,omitzero"` // of the newest reading; zero before the first
	Recent  []cure.PastStep `json:"recent"`           // a day of closed steps, oldest first
	Bridged bool            `json:"bridged"`          // nobody read since Until: the next step bridges that
	// Hours is what was measured at each whole hour of the last fortnight. The zone's habit
	// is learned from it.
	Hours air.History `json:"hours,omitzero"`
}

// Step is a step of a zone's air that is being closed.
type Step struct {
	Start time.Time
	cure.Step
	// After is the air that the next step starts from. It differs from the step's own end
	// when a sensor came back with another value.
	After air.State
	// ReadAt is the time of the newest reading, zero before the first.
	ReadAt time.Time
}

// End returns when the step ends.
func (s Step) End() time.Time { return s.Start.Add(s.Duration) }

// First returns the step that a zone's path begins with: it has no length, and nobody has
// measured the air after it.
func First(at time.Time) Step {
	return Step{Start: at, Step: cure.Step{Kind: cure.Measured, From: Unmeasured, To: Unmeasured}, After: Unmeasured}
}

// With returns the path with one more closed step at its end. The step begins where the
// path ends, whatever its Start says; only for the first step of a path that decides.
func (c Closed) With(s Step) Closed {
	start := c.Until
	if start.IsZero() {
		start = s.Start
	}
	c.Until = start.Add(s.Duration)
	c.Air, c.ReadAt, c.Bridged = s.After, s.ReadAt, false
	if s.Duration > 0 {
		c.Recent = appendStep(c.Recent, cure.PastStep{Start: start, Step: s.Step}, c.Until.Add(-keptSteps))
		if known := s.Kind == cure.Measured || s.Kind == cure.Held; known && !s.ReadAt.IsZero() {
			c.Hours = c.Hours.With(start, s.Duration, s.From, s.To)
		}
	}
	return c
}

// Shift returns the path with all its instants moved by d, as after a step of the clock.
func (c Closed) Shift(d time.Duration) Closed {
	c.Until = shifted(c.Until, d)
	c.ReadAt = shifted(c.ReadAt, d)
	c.Hours = c.Hours.Shift(d)
	c.Recent = slices.Clone(c.Recent)
	for i := range c.Recent {
		c.Recent[i].Start = shifted(c.Recent[i].Start, d)
	}
	return c
}

func shifted(t time.Time, d time.Duration) time.Time {
	if t.IsZero() {
		return t
	}
	return t.Add(d)
}

// appendStep appends a step and drops those that ended before horizon. A step is merged
// with the one before when both together are short and one straight line describes them,
// so that a day is a few hundred steps.
func appendStep(recent []cure.PastStep, p cure.PastStep, horizon time.Time) []cure.PastStep {
	if n := len(recent); n > 0 {
		last := recent[n-1]
		joined := last.Step.Duration + p.Step.Duration
		if joined <= mergedSteps && last.Step.Kind == cure.Measured && p.Step.Kind == cure.Measured &&
			last.Step.Uncertain == p.Step.Uncertain && last.End().Equal(p.Start) {
			at := air.Lerp(last.Step.From, p.Step.To, float64(last.Step.Duration)/float64(joined))
			if near(at, last.Step.To) && near(at, p.Step.From) {
				last.Step.Duration, last.Step.To = joined, p.Step.To
				recent = slices.Clone(recent)
				recent[n-1] = last
				return recent
			}
		}
	}
	first := 0
	for first < len(recent) && recent[first].End().Before(horizon) {
		first++
	}
	return append(slices.Clone(recent[first:]), p)
}

func near(a, b air.State) bool {
	return math.Abs(a.TemperatureC-b.TemperatureC) < air.SameWithinC && math.Abs(a.HumidityPct-b.HumidityPct) < air.SameWithinPct
}

// worst returns the warmest temperature and the highest humidity of the last 24 hours of
// the path, which a silent sensor may be hiding. It is the assumption for unmeasured air
// where there is no path yet.
func (c Closed) worst() air.State {
	if c.Until.IsZero() {
		return unmeasuredWorst
	}
	w := c.Air
	for _, p := range c.Recent {
		for _, a := range []air.State{p.Step.From, p.Step.To} {
			w.TemperatureC = max(w.TemperatureC, a.TemperatureC)
			w.HumidityPct = max(w.HumidityPct, a.HumidityPct)
		}
	}
	return w
}

// Since returns the steps from a moment in the past to the end of the path. Before the
// earliest step that is kept, the air is taken to have been as at its start; such steps
// are uncertain.
func (c Closed) Since(from time.Time) []cure.Step {
	var steps []cure.Step
	at := from
	fill := func(a air.State, end time.Time) {
		if end.After(at) {
			steps = append(steps, cure.Step{
				Duration: end.Sub(at), From: a, To: a, Kind: cure.Stale, Worst: c.worst(), Uncertain: true,
			})
			at = end
		}
	}
	for _, p := range c.Recent {
		if !p.End().After(at) {
			continue
		}
		fill(p.Step.From, p.Start)
		step := p.Step
		if cut := at.Sub(p.Start); cut > 0 {
			step.From = air.Lerp(step.From, step.To, float64(cut)/float64(step.Duration))
			step.Duration -= cut
			step.Held += cut
		}
		steps = append(steps, step)
		at = p.End()
	}
	fill(c.Air, c.Until)
	return steps
}
