package bench

import (
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/daemon/view"
	"potlifed/model/can"
	"potlifed/model/mix"
)

// The masses, ratios and lives of canShop are common practice, no source.
const canShop = `
bench: bench-1
data_dir: /nowhere
scales:
  - {id: scale-1, port: "tcp://127.0.0.1:1", division_g: 0.1, zone: bench}
sensors:
  - {id: bench-air, zone: bench, path: /nowhere, every: 5s}
  - {id: hall-air, zone: hall, path: /nowhere/else, every: 5s}
presses:
  - {id: press-1, zone: bench, cup: cup-90}
  - {id: press-2, zone: hall, cup: cup-90}
cups:
  - {id: cup-90, ink_minimum_g: 60, fill_maximum_g: 110}
hardeners:
  - {id: hardener-a, use_within_opened: 90d}
  - {id: hardener-b}
thinners:
  - {id: thinner-s, vapour_pressure_pa: 500, molar_mass_g: 98.14}
inks:
  - id: dial-satin
    hardener: hardener-a
    thinners: [thinner-s]
    hardener_ratio: "4:1"
    pot_life: {shortest: 6h, longest: 8h}
  - id: dial-flat
    hardener: hardener-b
    hardener_ratio: "10:1"
    pot_life: {about: 8h}
`

func openCanShop(t *testing.T) *shop {
	t.Helper()
	s := openShopOf(t, t.TempDir(), newClock(), canShop)
	t.Cleanup(func() { s.crash() })
	s.pass(20*time.Second, both(mild))
	return s
}

// makes registers a can and returns its id.
func (s *shop) makes(c request.MakeCan) string {
	s.t.Helper()
	body, refusal := s.asks(c)
	if refusal != nil {
		s.t.Fatalf("%+v: refused: %v", c, refusal)
	}
	var v view.Can
	if err := json.Unmarshal(body, &v); err != nil {
		s.t.Fatal(err)
	}
	return v.ID
}

func (s *shop) can(id string) view.Can {
	s.t.Helper()
	for _, c := range s.b.Snapshot().Cans {
		if c.ID == id {
			return c
		}
	}
	s.t.Fatalf("there is no can %s", id)
	return view.Can{}
}

// days lets days go by without a reading.
func (s *shop) days(n int) {
	s.clock.turn(time.Duration(n) * 24 * time.Hour)
	s.b.tick(s.b.clock.now())
	s.settle()
	s.pass(20*time.Second, both(mild))
}

// atStep starts a mix and brings it to a step, poured as it should be.
func (s *shop) atStep(step string) string {
	s.t.Helper()
	id := s.must(request.StartMix{Scale: "scale-1", Ink: "dial-satin", Press: "press-1"}).ID
	s.weighs(12, time.Second)
	s.must(request.ConfirmStep{Batch: id, Step: "cup"})
	if step == "ink" {
		return id
	}
	s.pours(12, 72, 6*time.Second)
	s.must(request.ConfirmStep{Batch: id, Step: "ink"})
	return id
}

func refused(t *testing.T, r *request.Refusal, kind request.RefusalKind, code string, says ...string) {
	t.Helper()
	if r == nil || r.Kind != kind || r.Code != code {
		t.Errorf("refusal %+v, want %q %q", r, kind, code)
		return
	}
	for _, words := range says {
		if !strings.Contains(r.Error(), words) {
			t.Errorf("refusal %q does not say %q", r.Error(), words)
		}
	}
}

// A shop that registers no cans is never asked for one, and may write what it likes.
func TestWithoutCans(t *testing.T) {
	s := openCanShop(t)
	id := s.atStep("ink")
	if v := s.batch(id); v.PourFrom != nil || len(v.Warnings) != 0 || v.Lots == nil {
		t.Errorf("asked for %v, warned of %v, lots %v", v.PourFrom, v.Warnings, v.Lots)
	}
	s.pours(12, 72, 6*time.Second)
	v := s.must(request.ConfirmStep{Batch: id, Step: "ink", Can: "the red one"})
	if d := cmp.Diff([]mix.Component{{Part: mix.Ink, Can: "the red one", G: 60}}, v.Components, sameGrams); d != "" {
		t.Errorf("components: %s", d)
	}
}

var sameGrams = cmp.Comparer(func(a, b float64) bool { return math.Abs(a-b) < 1e-9 })

func TestMakeCan(t *testing.T) {
	s := openCanShop(t)
	for _, c := range []struct {
		make request.MakeCan
		kind request.RefusalKind
		says string
	}{
		{request.MakeCan{}, request.Invalid, "ink, hardener or thinner"},
		{request.MakeCan{Ink: "dial-satin", Hardener: "hardener-a"}, request.Invalid, "one thing"},
		{request.MakeCan{Ink: "gold"}, request.Invalid, "dial-satin, dial-flat"},
		{request.MakeCan{Hardener: "dial-satin"}, request.Invalid, "hardener-a, hardener-b"},
		{request.MakeCan{Ink: "dial-satin", UseBy: "2026-02-30"}, request.Invalid, "use_by"},
		{request.MakeCan{Ink: "dial-satin", OpenedOn: "2026-06-13"}, request.Invalid, "2026-06-12"},
		{request.MakeCan{Ink: "dial-satin", ID: "Ink 1"}, request.Invalid, "a-z"},
	} {
		if _, r := s.asks(c.make); r == nil || r.Kind != c.kind || !strings.Contains(r.Error(), c.says) {
			t.Errorf("%+v: %v, want %q with %q", c.make, r, c.kind, c.says)
		}
	}
	if n := len(s.b.state.Cans); n != 0 {
		t.Fatalf("%d cans of refused ones", n)
	}
	ids := []string{
		s.makes(request.MakeCan{Ink: "dial-satin", Lot: " A 17 ", Colour: "red"}), s.makes(request.MakeCan{Hardener: "hardener-a", OpenedOn: "2026-06-01"}),
		s.makes(request.MakeCan{Thinner: "thinner-s", ID: "thinner-4"}), s.makes(request.MakeCan{Thinner: "thinner-s"}),
	}
	if want := []string{"ink-1", "hardener-2", "thinner-4", "thinner-5"}; !slices.Equal(ids, want) {
		t.Errorf("ids %v, want %v", ids, want)
	}
	_, r := s.asks(request.MakeCan{Ink: "dial-flat", ID: "ink-1"})
	refused(t, r, request.NotNow, "", "dial-satin")
	ink, hardener := s.can("ink-1"), s.can("hardener-2")
	if ink.Lot != "A 17" || ink.State != "new" || ink.Stir == "" || ink.LastDay != "" {
		t.Errorf("ink can %+v", ink)
	}
	if hardener.State != "in-use" || hardener.LastDay != "2026-08-30" || hardener.Stir != "" {
		t.Errorf("hardener can %+v", hardener)
	}
	_, r = s.asks(request.StirCan{Can: "ink-9"})
	refused(t, r, request.NotFound, "", "ink-1")
}

// The ink that has just been poured is gone half-way: the rest comes from another can.
// Both are named, with their lots, and the mix is as if it came from one.
func TestACanRunsOut(t *testing.T) {
	s := openCanShop(t)
	first := s.makes(request.MakeCan{Ink: "dial-satin", Lot: "A 17"})
	second := s.makes(request.MakeCan{Ink: "dial-satin", Lot: "A 18"})
	other := s.makes(request.MakeCan{Ink: "dial-flat"})
	hardener := s.makes(request.MakeCan{Hardener: "hardener-a", Lot: "H 3"})
	s.asks(request.StirCan{Can: first})

	id := s.atStep("ink")
	want := []view.CanChoice{
		{Can: first, Material: "dial-satin", Lot: "A 17", InUse: true}, {Can: second, Material: "dial-satin", Lot: "A 18", Stir: "it was never stirred"},
	}
	if d := cmp.Diff(want, s.batch(id).PourFrom); d != "" {
		t.Errorf("what it may be poured from: %s", d)
	}
	s.pours(12, 42, 3*time.Second)
	_, r := s.ask(request.ConfirmStep{Batch: id, Step: "ink", Can: "ink-77"})
	refused(t, r, request.Invalid, "", "ink-77", first, second)
	_, r = s.ask(request.ConfirmStep{Batch: id, Step: "ink", Can: other})
	refused(t, r, request.Invalid, "", "dial-flat")
	_, r = s.ask(request.ConfirmStep{Batch: id, Step: "ink", Can: hardener})
	refused(t, r, request.Invalid, "", "hardener-a")
	v := s.must(request.ConfirmStep{Batch: id, Step: "ink", Can: first})
	if len(v.Corrections) == 0 || *v.Step != "ink" {
		t.Fatalf("half of the ink: step %s, corrections %v", *v.Step, v.Corrections)
	}
	s.asks(request.EmptyCan{Can: first})
	_, r = s.ask(request.StirCan{Can: first})
	refused(t, r, request.NotNow, "")
	s.asks(request.StirCan{Can: second})
	s.pours(42, 72, 3*time.Second)
	_, r = s.ask(request.ConfirmStep{Batch: id, Step: "ink", Can: first})
	refused(t, r, request.NotNow, "", "emptied")
	v = s.must(request.ConfirmStep{Batch: id, Step: "ink"}) // nobody names it: the one left
	s.pours(72, 87, 3*time.Second)
	v = s.must(request.ConfirmStep{Batch: id, Step: "hardener", Can: hardener})
	if v.TargetsG.Hardener != 15 || *v.Step != "stir-hardener" {
		t.Errorf("hardener target %v at step %s", v.TargetsG.Hardener, *v.Step)
	}
	parts := []mix.Component{{Part: mix.Ink, Can: first, G: 30}, {Part: mix.Ink, Can: second, G: 30}, {Part: mix.Hardener, Can: hardener, G: 15}}
	if d := cmp.Diff(parts, v.Components, sameGrams); d != "" {
		t.Errorf("components: %s", d)
	}
	lots := []can.Lot{
		{Part: mix.Ink, Can: first, Material: "dial-satin", Lot: "A 17"}, {Part: mix.Ink, Can: second, Material: "dial-satin", Lot: "A 18", Assumed: true},
		{Part: mix.Hardener, Can: hardener, Material: "hardener-a", Lot: "H 3"},
	}
	if d := cmp.Diff(lots, v.Lots); d != "" {
		t.Errorf("lots: %s", d)
	}
	if len(v.Warnings) != 0 {
		t.Errorf("warnings %v", v.Warnings)
	}
	if opened := s.can(hardener).OpenedOn; opened != "2026-06-12" {
		t.Errorf("a can that was poured from is open since %q", opened)
	}
}

// What goes into other cups keeps its lots: split, topped up, thinned.
func TestLotsGoWithTheMix(t *testing.T) {
	s := openCanShop(t)
	ink := s.makes(request.MakeCan{Ink: "dial-satin", Lot: "A 17"})
	s.asks(request.StirCan{Can: ink})
	one := s.mixes()
	next := s.makes(request.MakeCan{Ink: "dial-satin", Lot: "A 18"})
	s.asks(request.EmptyCan{Can: ink})
	s.asks(request.StirCan{Can: next})
	two := s.mixes()
	part := s.must(request.SplitBatch{Batch: one, Grams: 16.5, To: request.Where{Zone: "bench"}}).ID
	v := s.must(request.TopUpBatch{Batch: two, From: part})
	if d := cmp.Diff([]mix.Component{{Part: mix.Ink, Can: next, G: 60}, {Part: mix.Ink, Can: ink, G: 12}, {Part: mix.Hardener, G: 18}, {Part: mix.Thinner, G: 9}}, v.Components, sameGrams); d != "" {
		t.Errorf("components: %s", d)
	}
	if len(v.Lots) != 2 || v.Lots[0].Lot != "A 18" || v.Lots[1].Lot != "A 17" {
		t.Errorf("lots %+v", v.Lots)
	}
	if left := s.batch(one).Components[0]; left.Can != ink || math.Abs(left.G-48) > 1e-9 {
		t.Errorf("what was left behind: %+v", left)
	}
	thinner := s.makes(request.MakeCan{Thinner: "thinner-s", Lot: "T 1"})
	v = s.must(request.ThinBatch{Batch: two, Grams: 1, Can: thinner})
	if last := v.Components[len(v.Components)-1]; last.Part != mix.Thinner || last.Can != thinner || last.G != 1 {
		t.Errorf("thinned: %+v", v.Components)
	}
	if v.Lots[len(v.Lots)-1].Lot != "T 1" {
		t.Errorf("thinned: %+v", v.Lots)
	}
}

func TestStirAfterStanding(t *testing.T) {
	s := openCanShop(t)
	ink := s.makes(request.MakeCan{Ink: "dial-satin"})
	id := s.atStep("hardener")
	if w := s.batch(id).Warnings; !slices.Contains(w, "ink can ink-1 had not been stirred since it came.") {
		t.Errorf("poured from a can that was never stirred: %v", w)
	}
	s.must(request.AbandonMix{Batch: id})
	s.asks(request.StirCan{Can: ink})
	if c := s.can(ink); c.Stir != "" || c.StirredAt == nil {
		t.Errorf("stirred: %+v", c)
	}
	s.days(2)
	id = s.atStep("hardener")
	if w := s.batch(id).Warnings; len(w) != 0 {
		t.Errorf("stirred two days ago: %v", w)
	}
	s.must(request.AbandonMix{Batch: id})
	s.days(2) // used two days ago
	if c := s.can(ink); c.Stir != "" {
		t.Errorf("used two days ago: %q", c.Stir)
	}
	s.days(2)
	if c := s.can(ink); c.Stir != "it has stood for 4 days" {
		t.Errorf("after four days: %q", c.Stir)
	}
	id = s.atStep("hardener")
	if w := s.batch(id).Warnings; !slices.Contains(w, "ink can ink-1 had stood for 4 days without a stir.") {
		t.Errorf("stood for four days: %v", w)
	}

	// A power cut of unknown length: nobody knows how long it stood.
	s.asks(request.StirCan{Can: ink})
	s.b.decide(s.b.clock.now(), "bench", record.Started{GapKnown: false})
	s.pass(time.Second, both(mild))
	if c := s.can(ink); c.Stir != "how long it has stood is not known" {
		t.Errorf("after a power cut: %q", c.Stir)
	}
	s.asks(request.StirCan{Can: ink})
	if c := s.can(ink); c.Stir != "" {
		t.Errorf("stirred after it: %q", c.Stir)
	}
}

func TestExpiredHardener(t *testing.T) {
	for _, c := range []struct {
		name   string
		can    request.MakeCan
		days   int
		lastIn string
	}{
		{"opened too long", request.MakeCan{Hardener: "hardener-a", OpenedOn: "2026-06-12"}, 91, "2026-09-10"},
		{"shelf life", request.MakeCan{Hardener: "hardener-a", UseBy: "2026-06-20"}, 9, "2026-06-20"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := openCanShop(t)
			can := s.makes(c.can)
			s.days(c.days - 1)
			if v := s.can(can); v.State == "expired" || v.LastDay != c.lastIn {
				t.Fatalf("on its last day: %+v", v)
			}
			s.days(1)
			if v := s.can(can); v.State != "expired" {
				t.Fatalf("a day later: %+v", v)
			}
			id := s.atStep("hardener")
			v := s.batch(id)
			if len(v.PourFrom) != 1 || v.PourFrom[0].Expired == "" || !slices.Contains(v.Warnings, v.PourFrom[0].Expired) {
				t.Errorf("before the pour: %+v, warnings %v", v.PourFrom, v.Warnings)
			}
			s.pours(72, 87, 3*time.Second)
			seq := s.b.state.Seq
			_, r := s.ask(request.ConfirmStep{Batch: id, Step: "hardener"}) // not named, and yet refused
			day, err := time.Parse(time.DateOnly, c.lastIn)
			if err != nil {
				t.Fatal(err)
			}
			refused(t, r, request.NotNow, "can-expired", day.Format("2 Jan 2006"), "can_override")
			_, r = s.ask(request.ConfirmStep{Batch: id, Step: "hardener", Can: can, CanOverride: "  "})
			refused(t, r, request.NotNow, "can-expired")
			if s.b.state.Seq != seq {
				t.Error("a refused confirm left an event")
			}
			v = s.must(request.ConfirmStep{Batch: id, Step: "hardener", Can: can, CanOverride: "trial print"})
			want := "hardener can " + can + " was past its last day, " + day.Format("2 Jan 2006") + ". Used all the same: trial print"
			if !slices.Contains(v.Warnings, want) || *v.Step != "stir-hardener" {
				t.Errorf("step %s, warnings %v", *v.Step, v.Warnings)
			}
			// The reason was about the can. The ratio still wants its own.
			if len(s.b.state.Batches[id].Mix.Overrides) != 0 {
				t.Errorf("the ratio was overridden too: %v", s.b.state.Batches[id].Mix.Overrides)
			}
		})
	}
}

// With a better can at hand, that one is meant.
func TestFreshHardenerIsPreferred(t *testing.T) {
	s := openCanShop(t)
	s.makes(request.MakeCan{Hardener: "hardener-a", UseBy: "2026-06-01"})
	fresh := s.makes(request.MakeCan{Hardener: "hardener-a"})
	id := s.atStep("hardener")
	if from := s.batch(id).PourFrom; len(from) != 2 || from[0].Can != fresh || from[0].Expired != "" || from[1].Expired == "" {
		t.Errorf("%+v", from)
	}
}

// Without a clock nobody can tell: it asks, and goes on with a person's word.
func TestExpiryWithoutAClock(t *testing.T) {
	s := openCanShop(t)
	can := s.makes(request.MakeCan{Hardener: "hardener-a", UseBy: "2027-01-31"})
	s.clock.is.Synced = false
	s.pass(time.Second, both(mild))
	if v := s.can(can); v.State != "expiry-not-known" {
		t.Fatalf("%+v", v)
	}
	_, r := s.asks(request.OpenCan{Can: can})
	refused(t, r, request.NotNow, "clock-not-set", "on")
	if _, r = s.asks(request.OpenCan{Can: can, On: "2026-06-10"}); r != nil || s.can(can).OpenedOn != "2026-06-10" {
		t.Errorf("opened on a named day: %v, %+v", r, s.can(can))
	}
	id := s.atStep("hardener")
	s.pours(72, 87, 3*time.Second)
	_, r = s.ask(request.ConfirmStep{Batch: id, Step: "hardener", Can: can})
	refused(t, r, request.NotNow, "can-expiry-not-known", "clock is not set")
	v := s.must(request.ConfirmStep{Batch: id, Step: "hardener", Can: can, CanOverride: "looked at the calendar"})
	if !slices.ContainsFunc(v.Warnings, func(w string) bool {
		return strings.Contains(w, "clock was not set") && strings.HasSuffix(w, "looked at the calendar")
	}) {
		t.Errorf("warnings %v", v.Warnings)
	}
}

// A pour that was something else came from another can; what is undone comes from none.
func TestCorrectedPours(t *testing.T) {
	s := openCanShop(t)
	s.makes(request.MakeCan{Ink: "dial-satin"})
	s.makes(request.MakeCan{Hardener: "hardener-a"})
	id := s.atStep("hardener")
	s.pours(72, 87, 3*time.Second)
	s.must(request.ConfirmStep{Batch: id, Step: "hardener"})
	v := s.must(request.CorrectPour{Batch: id, Part: "ink"})
	if d := cmp.Diff([]mix.Component{{Part: mix.Ink, Can: "ink-1", G: 75}}, v.Components, sameGrams); d != "" {
		t.Errorf("re-labelled: %s", d)
	}
	v = s.must(request.CorrectPour{Batch: id, Undo: true})
	if d := cmp.Diff([]mix.Component{{Part: mix.Ink, Can: "ink-1", G: 60}}, v.Components, sameGrams); d != "" {
		t.Errorf("undone: %s", d)
	}
	if len(v.Lots) != 1 {
		t.Errorf("lots of what is in the cup: %+v", v.Lots)
	}
}

func TestRecordedFromCans(t *testing.T) {
	s := openCanShop(t)
	ink := s.makes(request.MakeCan{Ink: "dial-satin", Lot: "A 17"})
	old := s.makes(request.MakeCan{Hardener: "hardener-a", UseBy: "2026-06-01", Lot: "H 1"})
	mixed := request.RecordMix{Ink: "dial-satin", MixedAt: s.b.clock.now().Add(-time.Hour), Components: []mix.Component{
		{Part: mix.Ink, G: 20, Can: ink}, {Part: mix.Ink, G: 40}, {Part: mix.Hardener, G: 15, Can: old},
	}}
	v := s.must(mixed)
	if d := cmp.Diff(mixed.Components, v.Components, sameGrams); d != "" {
		t.Errorf("components: %s", d)
	}
	if len(v.Lots) != 2 || v.Lots[1].Lot != "H 1" || !slices.ContainsFunc(v.Warnings, func(w string) bool { return strings.Contains(w, "past its last day") }) {
		t.Errorf("lots %+v, warnings %v", v.Lots, v.Warnings)
	}
	mixed.Components[0].Can = old
	_, r := s.ask(mixed)
	refused(t, r, request.Invalid, "", "holds hardener")
}

// A change of the clock moves what was noted, so that no can gets older by it.
func TestCansMoveWithTheClock(t *testing.T) {
	s := openCanShop(t)
	ink := s.makes(request.MakeCan{Ink: "dial-satin"})
	s.asks(request.StirCan{Can: ink})
	s.clock.is.Wall = s.clock.is.Wall.Add(30 * 24 * time.Hour)
	s.pass(2*time.Second, both(mild))
	if c := s.can(ink); c.Stir != "" || s.b.clock.now().Sub(*c.StirredAt) > time.Minute {
		t.Errorf("the clock went ahead by a month: %q, stirred %v ago", c.Stir, s.b.clock.now().Sub(*c.StirredAt))
	}
}

// TestDaysAreThoseOfTheShop: where the shop stands, a batch begins on the day after that of the machine's
// zone, so its number, the day of a can and today's counts agree.
func TestDaysAreThoseOfTheShop(t *testing.T) {
	s := openShopOf(t, t.TempDir(), newClock(), canShop+"time_zone: Pacific/Auckland\n") // 12:00 UTC is midnight there
	t.Cleanup(func() { s.crash() })
	s.pass(20*time.Second, both(mild))
	can := s.makes(request.MakeCan{ID: "h-1", Hardener: "hardener-a", UseBy: "2026-06-12"})
	if _, refusal := s.asks(request.OpenCan{Can: can}); refusal != nil {
		t.Fatal(refusal)
	}
	id := s.must(request.StartMix{Ink: "dial-satin"}).ID
	if on := s.can(can).OpenedOn; on != "2026-06-13" || id != "0613-1" {
		t.Errorf("the can was opened on %s and the batch is %s, want 2026-06-13 and 0613-1", on, id)
	}
	if c := s.can(can); c.State != "expired" {
		t.Errorf("the can's last day was yesterday, and it is %+v", c)
	}
}
