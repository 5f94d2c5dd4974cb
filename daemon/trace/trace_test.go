package trace

import (
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"potlifed/daemon/journal"
	"potlifed/daemon/record"
	"potlifed/daemon/view"
	"potlifed/daemon/words"
	"potlifed/model/air"
	"potlifed/model/airpath"
	"potlifed/model/can"
	"potlifed/model/cure"
	"potlifed/model/guide"
	"potlifed/model/lifecycle"
	"potlifed/model/mix"
)

var noon = time.Date(2026, 6, 12, 12, 0, 0, 0, time.UTC)

// past is what happened: in a state, and to be written into a real journal.
type past struct {
	records []record.Record
	seq     uint64
	at      time.Time
	state   record.State
	prints  map[string]uint64 // by batch
}

func newPast() *past {
	return &past{at: noon, state: record.NewState(""), prints: map[string]uint64{}}
}

func (p *past) add(b record.Body) {
	for _, zone := range slices.Sorted(maps.Keys(p.state.Zones)) { // as the bench does: the air before an event counts before it
		if z := p.state.Zones[zone]; z.Until.Before(p.at) {
			p.air(zone, z.Air, cure.Measured)
		}
	}
	p.seq++
	r := record.Record{Seq: p.seq, Stamp: record.Stamp{At: p.at, Boot: "b", Synced: true}, By: "tester", Body: b}
	p.records = append(p.records, r)
	p.state = record.Apply(p.state, r)
	if c, ok := b.(record.ClockChanged); ok {
		p.at = p.at.Add(c.Step)
	}
	if e, ok := b.(record.Printed); ok {
		p.prints[e.Batch] += e.Add
	}
	p.at = p.at.Add(time.Minute)
}

var sheet = func() cure.Ink {
	k, err := cure.Sheet{Shortest: 270 * time.Minute, Longest: 330 * time.Minute}.Calibrate()
	if err != nil {
		panic(err)
	}
	return k
}()

// air closes a step of a zone's air up to now.
func (p *past) air(zone string, to air.State, kind cure.StepKind) {
	closed := airpath.Closed{Until: p.at, Air: to}
	if z := p.state.Zones[zone]; z != nil {
		closed = *z
	}
	e := record.AirStep{
		Zone: zone, Start: closed.Until, After: to, ReadAt: p.at,
		Step: cure.Step{Duration: max(p.at.Sub(closed.Until), 0), From: closed.Air, To: to, Kind: kind, Worst: air.State{TemperatureC: 30, HumidityPct: 80}},
	}
	r := record.Record{Stamp: record.Stamp{At: p.at, Boot: "b", Synced: true}, By: "bench", Body: e}
	p.records = append(p.records, r)
	p.state = record.Apply(p.state, r)
}

// mixes records a mix whose ink came from two cans, and returns its id.
func (p *past) mixes(ink1, ink2, hardener string) string {
	m, err := guide.Recorded(guide.Recipe{Ratio: 5, TolerancePct: 5, InkTargetG: 85, ThinnerPct: 7, ThinnerMinPct: 6, ThinnerMaxPct: 14, DivisionG: 1},
		mix.Amounts{InkG: 85, HardenerG: 17}, p.at, p.at)
	if err != nil {
		panic(err)
	}
	m = m.FromCans([]guide.Drawn{{Part: mix.Ink, Can: ink1, G: 30}, {Part: mix.Ink, Can: ink2, G: 55}, {Part: mix.Hardener, Can: hardener, G: 17}})
	day := p.at.Format("20060102")
	id := p.state.NextID(day)
	p.add(record.Recorded{
		Batch: id, Day: day, Ink: "dial-satin", Zone: "bench", Cup: "cup-110", MixedAt: p.at.Add(-time.Minute), Mix: m,
		Basis: record.Basis{Life: sheet, Place: cure.Place{Exposure: 1, Lag: 25 * time.Minute}},
	})
	for _, c := range []guide.Drawn{{Part: mix.Ink, Can: ink1, G: 30}, {Part: mix.Ink, Can: ink2, G: 55}, {Part: mix.Hardener, Can: hardener, G: 17}} {
		p.add(record.PouredFrom{Batch: id, Can: c.Can, Part: c.Part, G: c.G, Lot: lotOf(c.Can), Material: "dial-satin"})
	}
	return id
}

// lotOf: two cans are of each lot.
func lotOf(can string) string { return "lot " + can[:1] }

func (p *past) journal(t testing.TB) *journal.Journal {
	t.Helper()
	j, err := journal.Open(t.TempDir(), slog.New(slog.DiscardHandler), func(time.Duration) {})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { j.Close() })
	if err := j.Write(journal.Group{Records: p.records}); err != nil {
		t.Fatal(err)
	}
	return j
}

// TestHistoryIsWhatWas: whatever happened, the journal tells of each batch what the state
// knew of it, and of each lot all batches that it was in, however it came there.
func TestHistoryIsWhatWas(t *testing.T) {
	cans := []string{"a1", "a2", "b1", "b2", "h1"}
	rapid.Check(t, func(rt *rapid.T) {
		p := newPast()
		p.add(record.Started{GapKnown: true})
		for _, zone := range []string{"bench", "hall"} { // as the bench does at its start
			p.air(zone, air.State{TemperatureC: 20, HumidityPct: 50}, cure.Measured)
		}
		open := func() string {
			ids := slices.Sorted(maps.Keys(p.state.Batches))
			if len(ids) == 0 {
				return ""
			}
			return rapid.SampledFrom(ids).Draw(rt, "batch")
		}
		with := func(f func(id string)) func(*rapid.T) {
			return func(*rapid.T) {
				if id := open(); id != "" {
					f(id)
				}
			}
		}
		rt.Repeat(map[string]func(*rapid.T){
			"mix": func(rt *rapid.T) {
				can := func() string { return rapid.SampledFrom(cans).Draw(rt, "can") }
				p.mixes(can(), can(), can())
			},
			"split": with(func(id string) {
				if part := p.state.NextPart(id); part != "" {
					p.add(record.Split{Batch: part, From: id, G: p.state.Batches[id].Amounts().TotalG() / 3, Zone: "bench"})
				}
			}),
			"top-up": with(func(id string) {
				if from := open(); from != id {
					p.add(record.ToppedUp{Batch: id, From: from, Ink: "dial-satin"})
				}
			}),
			"thin": with(func(id string) {
				p.add(record.Thinned{Batch: id, G: 2, Can: "a2"})
				p.add(record.PouredFrom{Batch: id, Can: "a2", Part: mix.Thinner, G: 2, Lot: lotOf("a2"), Material: "dial-satin"})
			}),
			"load": with(func(id string) {
				press := rapid.SampledFrom([]string{"press-1", "press-2"}).Draw(rt, "press")
				if on := p.state.Presses[press].Batch; on != "" { // as the bench does: what stands there comes off first
					p.add(record.Unloaded{Batch: on, Press: press, Zone: "bench"})
				}
				p.add(record.Loaded{Batch: id, Press: press, Zone: "hall"})
			}),
			"unload": with(func(id string) {
				if on := p.state.Batches[id].Press; on != "" {
					p.add(record.Unloaded{Batch: id, Press: on, Zone: "bench"})
				}
			}),
			"print": with(func(id string) {
				if on := p.state.Batches[id].Press; on != "" {
					p.add(record.Printed{Press: on, Batch: id, Add: 7})
				}
			}),
			"test":  with(func(id string) { p.add(record.Tested{Batch: id, Test: "rub", Result: "pass"}) }),
			"good":  with(func(id string) { p.add(record.Good{Batch: id}) }),
			"close": with(func(id string) { p.add(record.Closed{Batch: id, Ink: "dial-satin", Outcome: "used-up"}) }),
			"undo": func(*rapid.T) {
				if len(p.state.Undoables) == 0 {
					return
				}
				d := p.state.Undoables[len(p.state.Undoables)-1]
				for _, z := range p.state.Zones {
					if z.Until.After(d.At) { // it is too late
						return
					}
				}
				p.at = d.At.Add(5 * time.Second)
				ids := slices.Sorted(maps.Keys(d.Batches))
				p.add(record.Undone{Batch: ids[0], Undoes: d.Seq, Of: d.Kind, Batches: ids})
			},
			"air": func(rt *rapid.T) {
				for _, zone := range []string{"bench", "hall"} {
					to := air.State{TemperatureC: rapid.Float64Range(15, 30).Draw(rt, "°C"), HumidityPct: rapid.Float64Range(30, 80).Draw(rt, "%")}
					p.air(zone, to, rapid.SampledFrom([]cure.StepKind{cure.Measured, cure.Bridged, cure.Stale}).Draw(rt, "kind"))
				}
			},
			"clock":   func(*rapid.T) { p.add(record.ClockChanged{Step: time.Hour, Synced: true}) },
			"restart": func(*rapid.T) { p.add(record.Started{GapKnown: true, Shift: time.Minute}) },
		})

		j := p.journal(t)
		compareEnded(rt, j, p.state)
		var all []*record.Batch
		for _, b := range p.state.Batches {
			all = append(all, b)
		}
		all = append(all, p.state.Closed...)
		inLot := map[string][]string{}
		for _, b := range all {
			h, err := Of(t.Context(), j, b.ID, 0, view.Source{Bench: "bench-1", Journal: "j"}, words.Locale{})
			if err != nil {
				rt.Fatalf("%s: %v", b.ID, err)
			}
			compare(rt, b, h, p.prints[b.ID])
			lots, _ := b.Lots()
			for _, l := range lots {
				if b.Outcome != "undone" && !slices.Contains(inLot[l.Lot], b.ID) {
					inLot[l.Lot] = append(inLot[l.Lot], b.ID)
				}
			}
		}
		for _, lot := range []string{"lot a", "lot b", "lot h"} {
			want := slices.Sorted(slices.Values(inLot[lot]))
			if got := intoAll(rt, j, Source{Lot: lot}); !slices.Equal(got, want) {
				rt.Fatalf("%s went into %v, want %v", lot, got, want)
			}
		}
	})
}

// intoAll pages through the batches of a lot.
func intoAll(rt *rapid.T, j Journal, from Source) []string {
	found := map[string]bool{}
	before := uint64(0)
	for range 1000 {
		page, err := Into(rt.Context(), j, from, before, 3, words.Locale{})
		if err != nil {
			rt.Fatal(err)
		}
		for _, b := range page.Batches {
			found[b.ID] = true
		}
		if before = page.Next; before == 0 {
			return slices.Sorted(maps.Keys(found))
		}
	}
	rt.Fatal("the pages do not end")
	return nil
}

func compare(rt *rapid.T, b *record.Batch, h History, prints uint64) {
	lots, notes := b.Lots()
	want := Past{
		ID: b.ID, Seq: h.Seq, Ink: b.Ink, Cup: b.Cup, State: b.Phase, StartedAt: b.StartedAt, MixedAt: some(b.MixedAt), GoodAt: some(b.GoodAt),
		ClosedAt: some(b.ClosedAt), Outcome: b.Outcome, StillGood: b.StillGood, Parts: b.Components(), Lots: append([]can.Lot{}, lots...),
		Warnings: append(words.Locale{}.Warnings(b.Mix.Warnings()), words.Locale{}.CanNotes(notes)...), Presses: h.Presses, Prints: prints, Tests: append([]record.Test{}, b.Tests...),
	}
	for i := range want.Parts { // no scale is known here, so masses are told to 0.01 g
		want.Parts[i].G = math.Round(want.Parts[i].G*100) / 100
	}
	hundredths := func(x float64) float64 { return math.Round(x*100) / 100 }
	t, poured := b.Mix.Targets(), b.Mix.Poured()
	want.TargetsG = view.Targets{Ink: hundredths(t.InkG), Hardener: hundredths(t.HardenerG), Thinner: hundredths(t.ThinnerG)}
	if poured.InkG > 0 && poured.HardenerG > 0 {
		off := 100 * (poured.HardenerG*float64(b.Mix.Recipe.Ratio)/poured.InkG - 1)
		if h.Ratio == nil || math.Abs(h.Ratio.OffPct-off) > 0.006 || h.Ratio.TolerancePct != b.Mix.Recipe.TolerancePct {
			rt.Fatalf("%s: ratio %+v, want %v %% off", b.ID, h.Ratio, off)
		}
		want.Ratio = h.Ratio
	}
	about := cmp.Comparer(func(a, b float64) bool { return math.Abs(a-b) < 1e-9 })
	if d := cmp.Diff(want, h.Past, about); d != "" {
		rt.Fatalf("%s: %s", b.ID, d)
	}
	for i, s := range h.Presses {
		last := i == len(h.Presses)-1
		if (s.To == nil) != (last && b.Phase != lifecycle.Closed && b.Press == s.Press && b.Press != "") {
			rt.Fatalf("%s stands on %q (%s); its stays are %+v", b.ID, b.Press, b.Phase, h.Presses)
		}
		if s.To != nil && s.To.Before(s.From) {
			rt.Fatalf("%s: a stay ends before it begins: %+v", b.ID, s)
		}
	}
}

// An id is given again a year later; each is told by its own events.
func TestAnIDOfLastYear(t *testing.T) {
	p := newPast()
	p.add(record.Started{GapKnown: true})
	old := p.mixes("a1", "a1", "h1")
	p.add(record.Loaded{Batch: old, Press: "press-1"})
	p.add(record.Printed{Press: "press-1", Batch: old, Add: 100})
	p.add(record.Closed{Batch: old, Outcome: "went-off"})
	p.at = p.at.AddDate(1, 0, 0)
	if again := p.mixes("b1", "b1", "h1"); again != old {
		t.Fatalf("%s after a year, want %s", again, old)
	}
	p.add(record.Split{Batch: old + "b", From: old, G: 20.4, Zone: "bench"})
	j := p.journal(t)
	newest, err := Of(t.Context(), j, old, 0, view.Source{Bench: "bench-1", Journal: "j"}, words.Locale{})
	if err != nil || newest.State != lifecycle.Open || newest.Prints != 0 || newest.Lots[0].Lot != "lot b" {
		t.Errorf("the newest: %+v, %v", newest.Past, err)
	}
	first, err := Of(t.Context(), j, old, 5, view.Source{Bench: "bench-1", Journal: "j"}, words.Locale{})
	if err != nil || first.Outcome != "went-off" || first.Prints != 100 || first.Lots[0].Lot != "lot a" || len(first.Lots) != 2 {
		t.Errorf("last year's: %+v, %v", first.Past, err)
	}
	part, err := Of(t.Context(), j, old+"b", 0, view.Source{Bench: "bench-1", Journal: "j"}, words.Locale{})
	if err != nil || part.Lots[0].Lot != "lot b" || math.Abs(part.Parts[0].G-17) > 1e-9 {
		t.Errorf("the part: %+v, %v", part.Past, err)
	}
	if _, err := Of(t.Context(), j, "0612-99", 0, view.Source{Bench: "bench-1", Journal: "j"}, words.Locale{}); !errors.Is(err, ErrUnknown) {
		t.Errorf("an unknown one: %v", err)
	}
	page, err := Into(t.Context(), j, Source{Lot: "LOT A"}, 0, 10, words.Locale{})
	if err != nil || len(page.Batches) != 1 || page.Batches[0].Outcome != "went-off" || page.Next != 0 {
		t.Errorf("lot a: %+v, %v", page, err)
	}
}

// TestWhatWasTakenBackIsNotTold: a batch that was closed or poured away by mistake is open.
func TestWhatWasTakenBackIsNotTold(t *testing.T) {
	p := newPast()
	p.add(record.Started{GapKnown: true})
	into, from := p.mixes("a1", "a2", "h1"), p.mixes("a1", "a2", "h1")
	p.add(record.ToppedUp{Batch: into, From: from, Ink: "dial-satin", G: 10})
	p.at = p.at.Add(-time.Minute + 5*time.Second)
	p.add(record.Undone{Batch: into, Undoes: p.seq, Of: record.KindToppedUp, Batches: []string{into, from}})
	p.add(record.Closed{Batch: into, Outcome: "used-up"})
	p.at = p.at.Add(-time.Minute + 5*time.Second)
	p.add(record.Undone{Batch: into, Undoes: p.seq, Of: record.KindClosed, Batches: []string{into}})
	j := p.journal(t)
	for _, id := range []string{into, from} {
		h, err := Of(t.Context(), j, id, 0, view.Source{Bench: "bench-1", Journal: "j"}, words.Locale{})
		if err != nil {
			t.Fatal(err)
		}
		if h.State == lifecycle.Closed || h.Outcome != "" || h.ClosedAt != nil {
			t.Errorf("%s is %s as %q", id, h.State, h.Outcome)
		}
	}
}

// TestASplitDoesNotChangeWhatWasPoured: what was poured is told as it was poured, also after a
// part of it was split off, and not for a split that was undone.
func TestASplitDoesNotChangeWhatWasPoured(t *testing.T) {
	p := newPast()
	p.add(record.Started{GapKnown: true})
	whole := p.mixes("a1", "a2", "h1")
	part := whole + "b"
	p.add(record.Split{Batch: part, From: whole, G: 25, Zone: "bench"})
	p.add(record.Split{Batch: whole + "c", From: whole, G: 10, Zone: "bench"})
	p.at = p.at.Add(-time.Minute + 5*time.Second)
	p.add(record.Undone{Batch: whole, Undoes: p.seq, Of: record.KindSplit, Batches: []string{whole, whole + "c"}})
	j := p.journal(t)
	// 25 g of 102 g: of each component 25/102 goes into the part.
	for id, want := range map[string]struct{ poured, left []float64 }{
		whole: {[]float64{30, 55, 17}, []float64{22.65, 41.52, 12.83}}, part: {[]float64{7.35, 13.48, 4.17}, []float64{7.35, 13.48, 4.17}},
	} {
		h, err := Of(t.Context(), j, id, 0, view.Source{Bench: "bench-1", Journal: "j"}, words.Locale{})
		if err != nil {
			t.Fatal(err)
		}
		for what, pair := range map[string]struct {
			got  []mix.Component
			want []float64
		}{"poured": {h.Poured, want.poured}, "in it": {h.Parts, want.left}} {
			for i, g := range pair.want {
				if len(pair.got) != len(pair.want) || math.Abs(pair.got[i].G-g) > 0.011 {
					t.Errorf("%s, %s: %+v, want %v g", id, what, pair.got, pair.want)
					break
				}
			}
		}
	}
}

func TestWasteByMonthAndKind(t *testing.T) {
	p, zone := newPast(), time.FixedZone("shop", 13*60*60) // no zone of the machine that tests
	g := func(v float64) *float64 { return &v }
	p.at = time.Date(2026, 5, 20, 12, 0, 0, 0, zone)
	p.add(record.Closed{Batch: "x", Outcome: "used-up", LeftG: g(3)})
	p.add(record.Closed{Batch: "x", Outcome: "used-up"})
	p.add(record.Closed{Batch: "x", Outcome: "used-up", LeftG: g(4.5)})
	p.add(record.Abandoned{Batch: "x", WasteG: 62})
	p.add(record.Abandoned{Batch: "x"})
	p.at = time.Date(2026, 6, 1, 0, 0, 0, 0, zone)
	p.add(record.Closed{Batch: "x", Outcome: "went-off", LeftG: g(40)})
	p.add(record.Closed{Batch: "x", Outcome: "discarded", LeftG: g(1)})
	p.add(record.Closed{Batch: "x", Outcome: "discarded", LeftG: g(99)})
	p.add(record.Undone{Batch: "x", Undoes: p.seq, Of: record.KindClosed, Batches: []string{"x"}})
	p.add(record.ToppedUp{Batch: "x", From: "y"}) // poured into another: nothing is wasted
	p.add(record.Closed{Batch: "x", Outcome: "discarded", LeftG: g(7)})
	p.add(record.Undone{Batch: "x", Undoes: p.seq, Of: record.KindClosed, Batches: []string{"x"}}) // it was not thrown away
	j := p.journal(t)
	got, err := Wasted(t.Context(), j, noon.AddDate(0, -2, 0), noon.AddDate(0, 1, 0), zone)
	if err != nil {
		t.Fatal(err)
	}
	want := []Waste{
		{"2026-05", "left-over", 7.5, 3, 1}, {"2026-05", "abandoned", 62, 1, 0},
		{"2026-06", "went-off", 40, 1, 0}, {"2026-06", "discarded", 1, 1, 0},
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
	if got, err := Wasted(t.Context(), j, noon.AddDate(1, 0, 0), noon.AddDate(2, 0, 0), zone); err != nil || len(got) != 0 {
		t.Errorf("of next year: %v, %v", got, err)
	}
}

// The warnings of an old batch are in the shop's language. The journal holds figures, not sentences.
func TestWarningsInTheShopsLanguage(t *testing.T) {
	p := newPast()
	stood := 5 * 24 * time.Hour.Seconds()
	m, err := guide.Recorded(guide.Recipe{Ratio: 4, TolerancePct: 5, InkTargetG: 60, ThinnerMaxPct: 20, DivisionG: 0.1}, mix.Amounts{InkG: 60, HardenerG: 20}, p.at, p.at)
	if err != nil {
		t.Fatal(err)
	}
	m = m.FromCans([]guide.Drawn{{Part: mix.Ink, Can: "a1", G: 60}, {Part: mix.Hardener, Can: "h1", G: 20}})
	p.add(record.Recorded{
		Batch: "0612-1", Day: p.at.Format("20060102"), Ink: "dial-satin", Zone: "bench", MixedAt: p.at.Add(-time.Minute), Mix: m,
		Basis: record.Basis{Life: sheet, Place: cure.Place{Exposure: 1, Lag: 25 * time.Minute}},
	})
	for _, e := range []record.PouredFrom{
		{Can: "a1", Part: mix.Ink, G: 60, Lot: "A", StoodS: &stood},
		{Can: "h1", Part: mix.Hardener, G: 20, ExpiredOn: "2026-03-31", Override: "a trial"},
	} {
		e.Batch = "0612-1"
		p.add(e)
	}
	j := p.journal(t)
	h, err := Of(t.Context(), j, "0612-1", 0, view.Source{Bench: "bench-1", Journal: "j"}, words.Locale{})
	if err != nil {
		t.Fatal(err)
	}
	want := []string{
		"33 % too much hardener.",
		"ink can a1 (lot A) had stood for 5 days without a stir.",
		"hardener can h1 was past its last day, 31 Mar 2026. Used all the same: a trial",
	}
	for i := range h.Warnings {
		h.Warnings[i] = strings.ReplaceAll(h.Warnings[i], "\u00a0", " ")
	}
	if d := cmp.Diff(want, h.Warnings); d != "" {
		t.Error(d)
	}
	other, err := Of(t.Context(), j, "0612-1", 0, view.Source{Bench: "bench-1", Journal: "j"}, words.Locale{Language: words.Pseudo(words.English())})
	if err != nil || len(other.Warnings) != len(want) {
		t.Fatal(other.Warnings, err)
	}
	for _, w := range other.Warnings {
		if !strings.HasPrefix(w, "[") || !strings.HasSuffix(w, "]") {
			t.Errorf("%q is in another language", w)
		}
	}
}

// BenchmarkLot tells the first page of a lot that went into a thousand batches. Budget on
// a Pi: 2 s.
func BenchmarkLot(b *testing.B) {
	p := newPast()
	p.add(record.Started{GapKnown: true})
	for range 1000 {
		id := p.mixes("a1", "a2", "h1")
		p.add(record.Loaded{Batch: id, Press: "press-1"})
		for range 20 {
			p.add(record.Printed{Press: "press-1", Batch: id, Add: 10})
		}
		p.add(record.Closed{Batch: id, Outcome: "used-up"})
	}
	j := p.journal(b)
	for b.Loop() {
		page, err := Into(b.Context(), j, Source{Lot: "lot a"}, 0, 40, words.Locale{})
		if err != nil || len(page.Batches) != 20 {
			b.Fatal(fmt.Sprint(len(page.Batches), err))
		}
	}
}
