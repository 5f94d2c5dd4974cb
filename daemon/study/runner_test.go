package study

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"potlifed/model/quality"
)

// slow is a source that takes a second of its time.
type slow struct {
	fills, at, most int // how often it was asked; how many at once, now and at most
	err             error
}

func (s *slow) Fill(ctx context.Context, t *Table, f Filter) error {
	s.fills++
	s.at++
	s.most = max(s.most, s.at)
	defer func() { s.at-- }()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-time.After(time.Second):
	}
	t.Add(prints(0, "a", 100, 20))
	return s.err
}

func TestAnswersAreKeptAndMadeOneAfterTheOther(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		source := &slow{}
		r := NewRunner(source, time.UTC, time.Now)
		ask := func(q Request) Answer {
			a, err := r.Study(t.Context(), q)
			if err != nil {
				t.Error(err)
			}
			return a
		}
		usual := Request{Relevant: 0.25}
		done := make(chan Answer)
		for range 3 {
			go func() { done <- ask(usual) }()
			go func() { done <- ask(Request{Filter: Filter{Press: "press-1"}, Relevant: 0.25}) }()
		}
		for range 6 {
			if a := <-done; a.Prints != 100 {
				t.Errorf("%v prints", a.Prints)
			}
		}
		if source.fills != 2 || source.most != 1 {
			t.Errorf("read %d times, %d at once", source.fills, source.most)
		}
		time.Sleep(keptFor)
		ask(usual)
		if source.fills != 3 {
			t.Errorf("after five minutes: read %d times", source.fills)
		}
		for i := range 2 * mostKept {
			ask(Request{Relevant: 0.01 * float64(1+i)})
		}
		if n := len(r.recent); n > mostKept {
			t.Errorf("%d answers are kept", n)
		}
	})
}

func TestStudyEndsWithItsContext(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := NewRunner(&slow{}, time.UTC, time.Now)
		ctx, cancel := context.WithTimeout(t.Context(), time.Millisecond)
		defer cancel()
		if _, err := r.Study(ctx, Request{}); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("%v", err)
		}
		// Who waits for another one's study ends too.
		go r.Study(t.Context(), Request{})
		synctest.Wait()
		ctx, stop := context.WithTimeout(t.Context(), time.Millisecond)
		defer stop()
		if _, err := r.Study(ctx, Request{Relevant: 1}); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("%v", err)
		}
		time.Sleep(2 * time.Second)
	})
}

func TestAnErrorIsNotKept(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		source := &slow{err: errors.New("no disk")}
		r := NewRunner(source, time.UTC, time.Now)
		for range 2 {
			if _, err := r.Study(t.Context(), Request{}); err == nil {
				t.Error("no error")
			}
		}
		if source.fills != 2 {
			t.Errorf("read %d times", source.fills)
		}
	})
}

func TestChart(t *testing.T) {
	table := NewTable(Filter{Press: "press-1"})
	for day := range 6 {
		for cell := range 8 { // a batch for each of two hours
			minute, batch := day*24*60+cell*15, []string{"a", "b"}[cell/4]
			table.Add(prints(minute, batch+string(rune('0'+day)), 200, 20))
			n := 2.0
			if day == 4 && cell >= 4 {
				n = 12 // a bad batch
			}
			table.Add(rejects(minute, batch+string(rune('0'+day)), "dust", n))
		}
	}
	c := table.Chart(ChartRequest{Press: "press-1"}, time.UTC)
	if c.By != ByHour || c.Type != quality.PChart || c.Kind != All || len(c.Points) != 12 {
		t.Fatalf("%+v", c)
	}
	for i, p := range c.Points {
		if bad := i == 9; p.Out != bad || p.Prints != 800 || p.To.Sub(p.From) != time.Hour || p.TemperatureC == nil || p.HumidityPct != nil {
			t.Errorf("point %d: %+v", i, p)
		}
	}
	if p := c.Points[9]; p.Batch != "b4" || p.Defects != 48 {
		t.Errorf("%+v", p)
	}
	if c := table.Chart(ChartRequest{Press: "press-1", By: ByDay}, time.UTC); len(c.Points) != 6 || c.Points[4].Batch != "" || c.Points[4].Defects != 56 {
		t.Errorf("by day: %+v", c)
	}
	if c := table.Chart(ChartRequest{Press: "press-1", By: ByBatch}, time.UTC); len(c.Points) != 12 {
		t.Errorf("by batch: %+v", c)
	}
	many := NewTable(Filter{})
	for i := range mostPoints + 1 { // an hour each, with enough rejects
		many.Add(prints(60*i, "a", 1000, 20))
		many.Add(rejects(60*i, "a", "dust", 9))
	}
	if c := many.Chart(ChartRequest{Press: "press-1"}, time.UTC); c.By != ByBatch || len(c.Points) != 1 {
		t.Errorf("more points than can be told apart: by %s, %d points", c.By, len(c.Points))
	}
	few := NewTable(Filter{})
	few.Add(prints(0, "a", 10, 20))
	few.Add(rejects(0, "a", "dust", 12))
	if c := few.Chart(ChartRequest{}, time.UTC); c.By != ByHour || c.Type != quality.UChart || len(c.Points) != 1 {
		t.Errorf("more rejects than prints: %+v", c)
	}
	if c := NewTable(Filter{}).Chart(ChartRequest{Kind: "dust"}, time.UTC); c.Points == nil || len(c.Points) != 0 || c.Kind != "dust" {
		t.Errorf("no prints: %+v", c)
	}
}

func TestARunnerWaitsUnlessItIsAlone(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		for _, alone := range []bool{false, true} {
			r := NewRunner(&slow{}, time.UTC, time.Now)
			r.Alone = alone
			table, err := r.table(t.Context(), Filter{})
			if err != nil || (table.Pause == nil) != alone {
				t.Errorf("alone %v: waits %v, %v", alone, table.Pause != nil, err)
			}
		}
	})
}

// TestAReportReadsOnce: alone, the study and the charts of all presses are made from one table.
func TestAReportReadsOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		source := &slow{}
		r := NewRunner(source, time.UTC, time.Now)
		r.Alone = true
		if _, err := r.Study(t.Context(), Request{}); err != nil {
			t.Fatal(err)
		}
		for press, points := range map[string]int{"press-1": 1, "press-2": 0} {
			if c, err := r.Chart(t.Context(), ChartRequest{Press: press}); err != nil || len(c.Points) != points {
				t.Errorf("%s has %d points, %v", press, len(c.Points), err)
			}
		}
		if source.fills != 1 {
			t.Errorf("read %d times", source.fills)
		}
		if _, err := r.Chart(t.Context(), ChartRequest{Press: "press-1", From: start}); err != nil || source.fills != 2 {
			t.Errorf("another span: read %d times, %v", source.fills, err)
		}
	})
}

// TestAChartOfEverythingIsThatOfThePress: a chart from a table of all presses and kinds is that from a table of its
// own press and kind.
func TestAChartOfEverythingIsThatOfThePress(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := ChartRequest{Press: "press-1", Kind: rapid.SampledFrom([]string{"", "dust", "ghost"}).Draw(t, "kind"), By: rapid.SampledFrom([]Grouping{ByHour, ByBatch, ByDay, Automatic}).Draw(t, "by")}
		all, own := NewTable(Filter{}), NewTable(Filter{Press: q.Press, Kind: q.Kind})
		for range rapid.IntRange(0, 40).Draw(t, "counts") {
			c := prints(rapid.IntRange(0, 3000).Draw(t, "minute"), rapid.SampledFrom([]string{"", "a", "b"}).Draw(t, "batch"), float64(rapid.IntRange(1, 50).Draw(t, "pieces")), 20)
			c.Press, c.Kind = rapid.SampledFrom([]string{"press-1", "press-2"}).Draw(t, "press"), rapid.SampledFrom([]string{"", "", "dust", "pinholes"}).Draw(t, "of")
			all.Add(c)
			own.Add(c)
		}
		if d := cmp.Diff(own.Chart(q, time.UTC), all.Chart(q, time.UTC)); d != "" {
			t.Fatal(d)
		}
	})
}

// away is a process that has an answer, or none.
type away struct{ err error }

func (a away) Study(context.Context, Request) (Answer, error)     { return Answer{Prints: 7}, a.err }
func (a away) Chart(context.Context, ChartRequest) (Chart, error) { return Chart{Press: "away"}, a.err }

func TestWithoutAnAnswerFromElsewhereTheRunnerComputes(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		for _, c := range []struct {
			err    error
			prints float64
			press  string
		}{{nil, 7, "away"}, {errors.New("no memory"), 100, "a"}} {
			r := NewRunner(&slow{}, time.UTC, time.Now)
			r.Elsewhere = away{c.err}
			a, err := r.Study(t.Context(), Request{})
			if err != nil || a.Prints != c.prints {
				t.Errorf("%v: %v prints, %v", c.err, a.Prints, err)
			}
			chart, err := r.Chart(t.Context(), ChartRequest{Press: "a"})
			if err != nil || chart.Press != c.press {
				t.Errorf("%v: chart of %s, %v", c.err, chart.Press, err)
			}
		}
		ctx, cancel := context.WithCancel(t.Context())
		cancel()
		r := NewRunner(&slow{}, time.UTC, time.Now)
		r.Elsewhere = away{context.Canceled}
		if _, err := r.Study(ctx, Request{}); !errors.Is(err, context.Canceled) || r.source.(*slow).fills > 0 {
			t.Errorf("after the end of the context: %v", err)
		}
	})
}
