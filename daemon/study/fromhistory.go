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
	PrintsIn(ctx context.Context, find history.Search, step history.Step, limit int) ([]history.Prints, error)
	DefectsIn(ctx context.Context, find history.Search, step history.Step, limit int) ([]history.Defects, error)
	Batches(ctx context.Context, find history.Search, limit int) ([]history.Batch, error)
}

// Stored is a [Source] that reads the history of a bench. It reads it month by month, so that
// nobody who writes waits for long.
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
	portion = 31 * 24 * time.Hour
	// mostRows is more than the quarters of an hour of a month on a bench with many presses.
	mostRows = 2_000_000
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
		t.Mixed(m)
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
	step, err := history.StepOf("", time.UTC)
	if err != nil {
		return err
	}
	prints, err := s.History.PrintsIn(ctx, find, step, mostRows)
	if err != nil {
		return err
	}
	for _, p := range prints {
		t.Add(Counts{Bench: s.Bench, Press: p.Press, Batch: p.Batch, Ink: p.Ink, At: p.Time, Pieces: float64(p.Prints), Conditions: conditionsOf(p.Conditions)})
	}
	defects, err := s.History.DefectsIn(ctx, find, step, mostRows)
	if err != nil {
		return err
	}
	for _, d := range defects {
		t.Add(Counts{Bench: s.Bench, Press: d.Press, Batch: d.Batch, Ink: d.Ink, At: d.Time, Kind: d.Kind, Pieces: float64(d.Defects), Conditions: Unknown()})
	}
	find.Press = "" // a batch may have ended on another press
	batches, err := s.History.Batches(ctx, find, mostRows)
	if err != nil {
		return err
	}
	for _, b := range batches {
		t.Mixed(Mix{Bench: s.Bench, Batch: b.ID, Ink: b.Ink, At: b.ClosedAt, ThinnerPct: orUnknown(b.ThinnerPct), RatioOffPct: orUnknown(b.RatioOffPct)})
	}
	return nil
}

func conditionsOf(h history.Conditions) quality.Conditions {
	c := Unknown()
	for f, x := range map[quality.Factor]*float64{
		quality.VapourDensity: h.VapourDensity, quality.RelativeHumidity: h.HumidityPct, quality.Temperature: h.TemperatureC, quality.SpentLife: h.Spent,
		quality.Thinner: h.ThinnerPct, quality.RatioError: h.RatioOffPct,
	} {
		c[f] = orUnknown(x)
	}
	return withVapour(c)
}

func orUnknown(x *float64) float64 {
	if x == nil {
		return math.NaN()
	}
	return *x
}
