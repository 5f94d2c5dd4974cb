package study

import (
	"context"
	"fmt"
	"math"
	"time"

	"potlifed/daemon/history"
	"potlifed/model/quality"
)

// History is what a bench has stored for years. Errors are those of reading.
type History interface {
	// Fresh brings the history up to date with the journal.
	Fresh(ctx context.Context) error
	// EachCount calls each for the prints and rejects of the quarter-hours that begin in [find.From, find.To).
	EachCount(ctx context.Context, find history.Search, each func(history.Count) error) error
	// EachBatch calls each for the batches that ended in [find.From, find.To), without their counts.
	EachBatch(ctx context.Context, find history.Search, each func(history.Batch) error) error
}

// Stored is a [Source] that reads the history of a bench. It reads a quarter of a year at a time,
// so that the recorder and other queries don't wait for long.
type Stored struct {
	History History
	Bench   string // name of the bench
	// Now returns bench time. Open returns the batches that have not ended.
	Now  func() time.Time
	Open func() []Mix
}

const (
	// oldest is how far back a study without a begin looks.
	oldest = 20 * 366 * 24 * time.Hour
	// portion is the span of one read.
	portion = 92 * 24 * time.Hour
)

// Fill adds the prints, rejects and batches that the filter takes.
func (s Stored) Fill(ctx context.Context, t *Table, f Filter) error {
	if err := s.History.Fresh(ctx); err != nil {
		return fmt.Errorf("study: %w", err)
	}
	to := s.Now().Add(24 * time.Hour) // what was counted before the clock was set may be ahead
	if !f.To.IsZero() && f.To.Before(to) {
		to = f.To
	}
	from := s.Now().Add(-oldest)
	if f.From.After(from) {
		from = f.From
	}
	for _, m := range s.Open() {
		m.Bench = s.Bench
		t.addMix(m)
	}
	for ; from.Before(to); from = from.Add(portion) {
		find := history.Search{From: from, To: from.Add(portion), Press: f.Press}
		if find.To.After(to) {
			find.To = to
		}
		if err := s.portion(ctx, t, find); err != nil {
			return fmt.Errorf("study: %w", err)
		}
	}
	return nil
}

func (s Stored) portion(ctx context.Context, t *Table, find history.Search) error {
	row := 0
	err := s.History.EachCount(ctx, find, func(c history.Count) error {
		t.pause(row)
		row++
		counts := Counts{Bench: s.Bench, Press: c.Press, Batch: c.Batch, Ink: c.Ink, At: c.Time, Kind: c.Kind, Pieces: float64(c.Pieces), Conditions: Unknown()}
		if c.Kind == "" {
			counts.Conditions = conditionsOf(c)
		}
		t.Add(counts)
		return nil
	})
	if err != nil {
		return err
	}
	find.Press = "" // a batch may have ended on another press
	return s.History.EachBatch(ctx, find, func(b history.Batch) error {
		t.addMix(Mix{Bench: s.Bench, Batch: b.ID, Ink: b.Ink, At: b.ClosedAt, ThinnerPct: orUnknown(b.ThinnerPct), RatioOffPct: orUnknown(b.RatioOffPct)})
		return nil
	})
}

func conditionsOf(c history.Count) quality.Conditions {
	return withVapour(quality.Conditions{
		quality.VapourDensity: c.VapourDensity, quality.RelativeHumidity: c.HumidityPct, quality.Temperature: c.TemperatureC, quality.SpentLife: c.Spent,
		quality.Thinner: c.ThinnerPct, quality.RatioError: c.RatioOffPct,
	})
}

func orUnknown(x *float64) float64 {
	if x == nil {
		return math.NaN()
	}
	return *x
}
