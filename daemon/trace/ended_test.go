package trace

import (
	"context"
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"potlifed/daemon/record"
	"potlifed/model/air"
	"potlifed/model/cure"
	"potlifed/model/guide"
	"potlifed/model/lifecycle"
)

// always is a search for every batch that has ended.
var always = Search{From: noon.AddDate(-1, 0, 0), To: noon.AddDate(2, 0, 0)}

// tester is a test or a property.
type tester interface {
	Context() context.Context
	Fatal(args ...any)
	Fatalf(format string, args ...any)
}

// allClosed pages through the batches that a search finds.
func allClosed(t tester, j Journal, find Search, limit int) (found []Ended) {
	ends, before := NewEnds(j), uint64(0)
	for range 1000 {
		page, err := ends.List(t.Context(), find, before, limit)
		if err != nil {
			t.Fatal(err)
		}
		if len(page.Batches) > limit {
			t.Fatalf("%d batches on a page of %d", len(page.Batches), limit)
		}
		found = append(found, page.Batches...)
		if before = page.Next; before == 0 {
			return found
		}
	}
	t.Fatal("the pages do not end")
	return nil
}

// compareEnded checks that the journal tells of each closed batch how old it was and how much
// of its life was spent, as the state knew it at that moment.
func compareEnded(rt *rapid.T, j Journal, s record.State) {
	rows := map[string]Ended{}
	for _, row := range allClosed(rt, j, always, 2) {
		rows[row.ID] = row
	}
	ended := slices.DeleteFunc(slices.Clone(s.Closed), func(b *record.Batch) bool { return b.Outcome == lifecycle.Undone })
	if len(rows) != len(ended) {
		rt.Fatalf("%d batches ended, %d are told of", len(ended), len(rows))
	}
	for _, b := range ended {
		row, ok := rows[b.ID]
		if !ok || row.AgeS == nil || row.Spent == nil {
			rt.Fatalf("%s: %+v", b.ID, row)
		}
		if !row.ClosedAt.Equal(b.ClosedAt) || row.Outcome != b.Outcome || math.Abs(*row.AgeS-b.ClosedAt.Sub(b.MixedAt).Seconds()) > 0.06 {
			rt.Fatalf("%s is told as %+v, but was %+v", b.ID, row, b)
		}
		if math.Abs(*row.Spent-b.Spent) > 1e-6 {
			rt.Fatalf("%s had spent %v of its life, told are %v", b.ID, b.Spent, *row.Spent)
		}
	}
}

// aDay is a past with two zones of different air: at the bench always 20 °C and 50 %, in the
// hall 26 °C and 40 %.
type aDay struct {
	*past
	t *testing.T
}

func (d aDay) hours(h float64) {
	d.at = d.at.Add(time.Duration(h*float64(time.Hour)) - time.Minute) // each record took a minute
	d.air("bench", air.State{TemperatureC: 20, HumidityPct: 50}, cure.Measured)
	d.air("hall", air.State{TemperatureC: 26, HumidityPct: 40}, cure.Measured)
}

func newDay(t *testing.T) aDay {
	d := aDay{newPast(), t}
	d.add(record.Started{GapKnown: true})
	d.hours(0)
	return d
}

// mixed adds a batch that begins now, in the zone bench.
func (d aDay) mixed() string {
	id := d.mixes("a1", "a1", "h1")
	d.hours(0)
	return id
}

// TestMeanAirFollowsTheCup: the mean is over the air where the cup stood, a part has stood
// where the whole did, and ink that was filled up with older ink where the older one did.
func TestMeanAirFollowsTheCup(t *testing.T) {
	d := newDay(t)
	whole := d.mixed()
	d.hours(2) // at the bench
	d.add(record.Loaded{Batch: whole, Press: "press-1", Zone: "hall"})
	d.hours(2)
	part := whole + "b"
	d.add(record.Split{Batch: part, From: whole, G: 20, Zone: "bench"})
	d.hours(4)
	d.add(record.Closed{Batch: whole, Ink: "dial-satin", Outcome: lifecycle.WentOff, StillGood: lifecycle.GoodNo})
	young := d.mixed()
	d.add(record.ToppedUp{Batch: young, From: part, Ink: "dial-satin", G: 20, Older: true})
	d.hours(8)
	d.add(record.Abandoned{Batch: young, Ink: "dial-satin", WasteG: 3})

	got := map[string]Ended{}
	for _, row := range allClosed(t, d.journal(t), always, 10) {
		got[row.ID] = row
	}
	for _, want := range []struct {
		id         string
		hours      float64 // of its life
		inHall     float64 // of these
		outcome    lifecycle.Outcome
		pouredInto string
		presses    int
	}{
		{whole, 8, 6, lifecycle.WentOff, "", 1}, {part, 8, 2, lifecycle.UsedUp, young, 0}, {young, 16, 2, lifecycle.Abandoned, "", 0},
	} {
		row := got[want.id]
		if row.AgeS == nil || math.Abs(*row.AgeS/3600-want.hours) > 0.5 || row.Outcome != want.outcome || row.PouredInto != want.pouredInto || len(row.Presses) != want.presses {
			t.Errorf("%s: %+v, want %+v", want.id, row, want)
			continue
		}
		share := want.inHall / want.hours
		if wantT := 20 + 6*share; math.Abs(*row.MeanTemperatureC-wantT) > 0.25 {
			t.Errorf("%s: mean of %v °C, want %v", want.id, *row.MeanTemperatureC, wantT)
		}
		if wantH := 50 - 10*share; math.Abs(*row.MeanHumidityPct-wantH) > 0.4 {
			t.Errorf("%s: mean of %v %%, want %v", want.id, *row.MeanHumidityPct, wantH)
		}
	}
}

// Without a reading there is no mean, and without hardener neither age nor spent life.
func TestWhatIsNotKnownOfAnEndIsAbsent(t *testing.T) {
	p := newPast()
	p.add(record.Started{GapKnown: true})
	id := p.mixes("a1", "a1", "h1")
	p.at = p.at.Add(3 * time.Hour)
	p.air("bench", air.State{TemperatureC: 20, HumidityPct: 50}, cure.Stale)
	p.add(record.Closed{Batch: id, Ink: "dial-satin", Outcome: lifecycle.NotKnown})
	p.add(record.MixStarted{Batch: "0612-7", Day: "20260612", Ink: "dial-satin", Scale: "scale-1", Zone: "bench", Cup: "cup-110", Mix: guide.Mix{Recipe: guide.Recipe{Ratio: 4}}})
	p.add(record.Abandoned{Batch: "0612-7", Ink: "dial-satin"})
	rows := allClosed(t, p.journal(t), always, 10)
	if len(rows) != 2 || rows[0].ID != "0612-7" || rows[0].AgeS != nil || rows[0].Spent != nil || rows[0].MixedAt != nil {
		t.Fatalf("%+v", rows)
	}
	if rows[1].AgeS == nil || rows[1].MeanTemperatureC != nil || rows[1].MeanHumidityPct != nil {
		t.Errorf("%+v", rows[1])
	}
}

func TestSearchForEnded(t *testing.T) {
	d := newDay(t)
	var ids []string
	for i, press := range []string{"press-1", "press-2", "press-1", ""} {
		can := []string{"a1", "b1", "a2", "b2"}[i]
		id := d.mixes(can, can, "h1")
		ids = append(ids, id)
		if press != "" {
			d.add(record.Loaded{Batch: id, Press: press, Zone: "hall"})
			d.add(record.Printed{Press: press, Batch: id, Add: 7})
			d.add(record.Unloaded{Batch: id, Press: press, Zone: "bench"})
		}
		d.hours(1)
	}
	ends := map[string]time.Time{}
	for i, id := range ids {
		ends[id] = d.at
		d.add(record.Closed{Batch: id, Ink: "dial-satin", Outcome: []lifecycle.Outcome{"used-up", "went-off", "discarded", "used-up"}[i]})
		d.hours(1)
	}
	undone := d.mixed()
	d.add(record.Closed{Batch: undone, Ink: "dial-satin", Outcome: "discarded"})
	d.at = d.at.Add(-time.Minute + 5*time.Second)
	d.add(record.Undone{Batch: undone, Undoes: d.seq, Of: record.KindClosed, Batches: []string{undone}})
	j := d.journal(t)
	for name, c := range map[string]struct {
		change func(s *Search)
		want   []int
	}{
		"all":                        {func(*Search) {}, []int{3, 2, 1, 0}},
		"a press":                    {func(s *Search) { s.Press = "press-1" }, []int{2, 0}},
		"another ink":                {func(s *Search) { s.Ink = "dial" }, nil},
		"an ink":                     {func(s *Search) { s.Ink = "dial-satin" }, []int{3, 2, 1, 0}},
		"an outcome":                 {func(s *Search) { s.Outcome = "used-up" }, []int{3, 0}},
		"a lot in capitals":          {func(s *Search) { s.Text = " LOT B " }, []int{3, 1}},
		"a press as text":            {func(s *Search) { s.Text = "ss-2" }, []int{1}},
		"an id":                      {func(s *Search) { s.Text = ids[2] }, []int{2}},
		"a cup":                      {func(s *Search) { s.Text = "cup-110" }, []int{3, 2, 1, 0}},
		"no such text":               {func(s *Search) { s.Text = "gold" }, nil},
		"a press and an outcome":     {func(s *Search) { s.Press, s.Outcome = "press-1", "discarded" }, []int{2}},
		"from the second end on":     {func(s *Search) { s.From = ends[ids[1]] }, []int{3, 2, 1}},
		"up to it, not included":     {func(s *Search) { s.To = ends[ids[1]] }, []int{0}},
		"a span in which none ended": {func(s *Search) { s.To = s.From.Add(time.Hour) }, nil},
	} {
		find := always
		c.change(&find)
		var want []string
		for _, i := range c.want {
			want = append(want, ids[i])
		}
		for _, limit := range []int{1, 3, 100} {
			var got []string
			for _, row := range allClosed(t, j, find, limit) {
				got = append(got, row.ID)
			}
			if d := cmp.Diff(want, got); d != "" {
				t.Errorf("%s, %d at once: %s", name, limit, d)
			}
		}
	}
	row := allClosed(t, j, always, 10)[2]
	if row.Prints != 7 || len(row.Presses) != 1 || row.Presses[0].Press != "press-2" || row.Presses[0].To == nil {
		t.Errorf("%+v", row)
	}
}

// TestLivesAreReadOnce: what a batch had lived through is read from the journal once.
func TestLivesAreReadOnce(t *testing.T) {
	d := newDay(t)
	id := d.mixed()
	d.hours(1)
	d.add(record.Closed{Batch: id, Ink: "dial-satin", Outcome: "discarded"})
	j := &counted{Journal: d.journal(t)}
	ends := NewEnds(j)
	var told []EndedPage
	for range 2 {
		page, err := ends.List(t.Context(), always, 0, 10)
		if err != nil {
			t.Fatal(err)
		}
		told = append(told, page)
	}
	if d := cmp.Diff(told[0], told[1]); d != "" || len(told[0].Batches) != 1 {
		t.Errorf("%v, then %s", told[0], d)
	}
	if j.replays != 1 {
		t.Errorf("the air was read %d times", j.replays)
	}
}

// counted counts how often air is read.
type counted struct {
	Journal
	replays int
}

func (c *counted) Replay(ctx context.Context, events []uint64, zones []string, since time.Time, each func(record.Record) error) error {
	c.replays++
	return c.Journal.Replay(ctx, events, zones, since, each)
}

// TestAPageLooksAtABoundedNumberOfEnds: a search that finds nothing among very many ends goes
// on with the next page.
func TestAPageLooksAtABoundedNumberOfEnds(t *testing.T) {
	d := newDay(t)
	for range endsAPage + endsAtOnce {
		id := d.mixes("a1", "a1", "h1")
		d.add(record.Closed{Batch: id, Ink: "dial-satin", Outcome: "used-up"})
	}
	j := d.journal(t)
	find := always
	find.Outcome = lifecycle.WentOff
	ends := NewEnds(j)
	page, err := ends.List(t.Context(), find, 0, 10)
	if err != nil || len(page.Batches) != 0 || page.Next == 0 {
		t.Fatalf("%+v, %v", page, err)
	}
	if page, err = ends.List(t.Context(), find, page.Next, 10); err != nil || len(page.Batches) != 0 || page.Next != 0 {
		t.Fatalf("%+v, %v", page, err)
	}
}

// BenchmarkEnds tells, for the first time, a page of twenty batches, each six hours old with its air minute by
// minute. Budget on a Pi: 5 s.
func BenchmarkEnds(b *testing.B) {
	p := newPast()
	p.add(record.Started{GapKnown: true})
	for range 20 {
		var ids []string
		for range 4 {
			ids = append(ids, p.mixes("a1", "a2", "h1"))
		}
		for i := range 360 {
			p.at = p.at.Add(time.Minute)
			for _, zone := range []string{"bench", "hall"} {
				p.air(zone, air.State{TemperatureC: 20 + float64(i%7), HumidityPct: 50}, cure.Measured)
			}
		}
		for _, id := range ids {
			p.add(record.Closed{Batch: id, Ink: "dial-satin", Outcome: "used-up"})
		}
	}
	j := p.journal(b)
	for b.Loop() {
		page, err := NewEnds(j).List(b.Context(), always, 0, 20)
		if err != nil || len(page.Batches) != 20 || !slices.IsSortedFunc(page.Batches, func(a, b Ended) int { return b.ClosedAt.Compare(a.ClosedAt) }) {
			b.Fatal(fmt.Sprint(len(page.Batches), err))
		}
	}
}
