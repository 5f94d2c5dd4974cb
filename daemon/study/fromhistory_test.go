package study

import (
	"context"
	"errors"
	"math"
	"slices"
	"testing"
	"time"

	"potlifed/daemon/history"
	"potlifed/model/quality"
)

// past is a history of given rows. It checks that the spans that it is asked for neither overlap
// nor leave anything out.
type past struct {
	t       *testing.T
	counts  []history.Count
	batches []history.Batch
	fresh   int
	spans   []history.Search
	err     error
}

func (p *past) Fresh(context.Context) error { p.fresh++; return p.err }

func inSpan[R any](rows []R, at func(R) time.Time, find history.Search) (list []R) {
	for _, r := range rows {
		if !at(r).Before(find.From) && at(r).Before(find.To) {
			list = append(list, r)
		}
	}
	return list
}

func (p *past) EachCount(_ context.Context, find history.Search, each func(history.Count) error) error {
	if n := len(p.spans); n > 0 && !p.spans[n-1].To.Equal(find.From) {
		p.t.Errorf("from %v after %v", find.From, p.spans[n-1].To)
	}
	p.spans = append(p.spans, find)
	for _, c := range inSpan(p.counts, func(r history.Count) time.Time { return r.Time }, find) {
		if err := each(c); err != nil {
			return err
		}
	}
	return nil
}

func (p *past) EachBatch(_ context.Context, find history.Search, each func(history.Batch) error) error {
	if find.Press != "" {
		p.t.Errorf("batches of %q only: a batch may have ended elsewhere", find.Press)
	}
	for _, b := range inSpan(p.batches, func(r history.Batch) time.Time { return r.ClosedAt }, find) {
		if err := each(b); err != nil {
			return err
		}
	}
	return nil
}

// unknown are prints whose conditions are not known.
func unknown(c history.Count) history.Count {
	for _, x := range []*float64{&c.Spent, &c.TemperatureC, &c.HumidityPct, &c.VapourDensity, &c.ThinnerPct, &c.RatioOffPct} {
		if *x == 0 {
			*x = math.NaN()
		}
	}
	return c
}

func TestStoredCounts(t *testing.T) {
	p := &past{t: t,
		counts: []history.Count{
			unknown(history.Count{Time: start, Press: "press-1", Batch: "a", Pieces: 200, TemperatureC: 20, HumidityPct: 50, VapourDensity: 8.64, Spent: 0.3}),
			unknown(history.Count{Time: start, Press: "press-1", Batch: "a", Kind: "dust", Pieces: 3}),
			unknown(history.Count{Time: start.Add(quarter), Press: "press-1", Batch: "a", Kind: "dust", Pieces: -1}),
			unknown(history.Count{Time: start.AddDate(0, 3, 0), Press: "press-1", Batch: "b", Ink: "matt-10", Pieces: 100, ThinnerPct: 15, RatioOffPct: -4}),
		},
		batches: []history.Batch{{ID: "a", Ink: "gloss-4", ClosedAt: start.Add(5 * time.Hour), ThinnerPct: ptr(12), RatioOffPct: ptr(-2)}},
	}
	now := start.AddDate(0, 4, 0)
	source := Stored{History: p, Bench: "north", Now: func() time.Time { return now }, Open: func() []Mix {
		return []Mix{{Batch: "b", Ink: "matt-10", At: now, ThinnerPct: math.NaN(), RatioOffPct: math.NaN()}}
	}}
	table := NewTable(Filter{})
	if err := source.Fill(t.Context(), table, Filter{}); err != nil {
		t.Fatal(err)
	}
	d, _ := table.data(time.UTC)
	if p.fresh != 1 || len(p.spans) < 20 || len(d.Cells) != 3 {
		t.Fatalf("fresh %d, %d spans, %d cells", p.fresh, len(p.spans), len(d.Cells))
	}
	a, b := d.Cells[0], d.Cells[2]
	want := quality.Conditions{quality.VapourDensity: 8.64, quality.RelativeHumidity: 50, quality.Temperature: 20, quality.SpentLife: 0.3, quality.Thinner: 12, quality.RatioError: 2}
	if a.Conditions != want || a.Place != "north/press-1/gloss-4" || a.Prints.Prints != 200 || !slices.Equal(a.Defects, []float64{2}) {
		t.Errorf("%+v", a)
	}
	if b.Place != "north/press-1/matt-10" || b.Prints.Prints != 100 || !math.IsNaN(b.Conditions[quality.VapourDensity]) || b.Conditions[quality.Thinner] != 15 || b.Conditions[quality.RatioError] != 4 {
		t.Errorf("%+v", b)
	}

	// A span is read as it is asked for.
	p.spans = nil
	now = start.AddDate(2, 0, 0)
	f := Filter{From: start.Add(-time.Hour), To: start.Add(500 * 24 * time.Hour), Press: "press-1"}
	table = NewTable(f)
	if err := source.Fill(t.Context(), table, f); err != nil {
		t.Fatal(err)
	}
	if n := len(p.spans); n != 6 || !p.spans[0].From.Equal(f.From) || !p.spans[n-1].To.Equal(f.To) || p.spans[0].Press != "press-1" {
		t.Errorf("%+v", p.spans)
	}
	for i := 1; i < len(p.spans); i++ {
		if !p.spans[i].From.Equal(p.spans[i-1].To) {
			t.Errorf("%+v does not follow %+v", p.spans[i], p.spans[i-1])
		}
	}
	p.err = errors.New("no disk")
	if err := source.Fill(t.Context(), table, f); !errors.Is(err, p.err) {
		t.Errorf("%v", err)
	}
}
