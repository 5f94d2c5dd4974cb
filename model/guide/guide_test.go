package guide

import (
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"potlifed/model/message"
	"potlifed/model/mix"
	"potlifed/model/weigh"
)

var start = time.Date(2026, 6, 12, 8, 0, 0, 0, time.UTC)

func gloss() Recipe {
	return Recipe{
		Ratio: 4, TolerancePct: 5, InkTargetG: 60, InkMinimumG: 60,
		ThinnerPct: 10, ThinnerMinPct: 10, ThinnerMaxPct: 20, CupMaximumG: 110, CupEmptyG: 12, DivisionG: 0.1,
	}
}

// person mixes at a scale that is not tared unless said.
type person struct {
	t   *testing.T
	m   Mix
	g   float64 // what the scale shows
	now time.Time
}

func begin(t *testing.T, r Recipe) *person {
	t.Helper()
	m, err := Start(r)
	if err != nil {
		t.Fatal(err)
	}
	return &person{t: t, m: m, now: start, g: 12}
}

func (p *person) try(c Confirm) (Outcome, error) {
	p.t.Helper()
	p.now = p.now.Add(time.Minute)
	c.WeightG, c.Settled = p.g, true
	next, out, err := p.m.Confirm(c, p.now)
	if err != nil && !reflect.DeepEqual(next, p.m) {
		p.t.Fatalf("refused, and changed: %+v", next)
	}
	p.m = next
	return out, err
}

func (p *person) does(s Step, adds float64) Outcome {
	p.t.Helper()
	p.g += adds
	out, err := p.try(Confirm{Step: s, Lifted: s == PourOver})
	if err != nil {
		p.t.Fatalf("%s: %v", s, err)
	}
	return out
}

func (p *person) at(s Step) {
	p.t.Helper()
	if p.m.Step != s {
		p.t.Fatalf("at step %q, want %q; %+v", p.m.Step, s, p.m)
	}
}

func (p *person) refused(code string, c Confirm) {
	p.t.Helper()
	_, err := p.try(c)
	var r *StepError
	if !errors.As(err, &r) || r.Code != code || r.Message.Key == "" {
		p.t.Fatalf("got %v, want a refusal %q", err, code)
	}
}

// said writes messages with their values in the order of their names.
func said(all []message.Message) string {
	var b strings.Builder
	for _, m := range all {
		b.WriteString(m.Key)
		for _, name := range slices.Sorted(maps.Keys(m.Values)) {
			format := " %s=%v"
			if _, is := m.Values[name].(float64); is {
				format = " %s=%.1f"
			}
			fmt.Fprintf(&b, format, name, m.Values[name])
		}
		b.WriteString("; ")
	}
	return b.String()
}

func near(t *testing.T, what string, got, want float64) {
	t.Helper()
	if math.Abs(got-want) > 1e-9 {
		t.Errorf("%s = %v, want %v", what, got, want)
	}
}

func TestAMixGoesThrough(t *testing.T) {
	r := gloss()
	r.Rest = 10 * time.Minute
	p := begin(t, r)
	near(t, "hardener before the ink", p.m.Targets().HardenerG, 15)
	p.does(Cup, 0)
	p.at(Ink)
	p.does(Ink, 64)
	p.at(Hardener)
	// Common practice, no source: 64 g poured where 60 was meant ask for 16 g.
	near(t, "hardener target", p.m.Targets().HardenerG, 16)
	p.does(Hardener, 16.4)
	p.at(StirHardener)
	near(t, "thinner target", p.m.Targets().ThinnerG, 8.04)
	p.does(StirHardener, -0.3) // what clings to the stick
	p.at(Thinner)
	p.does(Thinner, 9)
	p.at(StirThinner)
	near(t, "thinner", p.m.Poured().ThinnerG, 9)
	p.does(StirThinner, 0)
	p.at(Rest)
	p.refused(TooEarly, Confirm{Step: Rest})
	if p.m.Tick(p.now).Step != Rest || p.m.Tick(p.now.Add(10*time.Minute)).Step != Load {
		t.Error("a rest passes by time, and not before")
	}
	p.now = p.now.Add(10 * time.Minute)
	p.does(Rest, 0)
	p.at(Load)
	p.refused(NotConfirmed, Confirm{Step: Load})
	if p.m.FaultOpen() || len(p.m.Warnings()) > 0 || p.m.RatioReason() != "" {
		t.Errorf("a good mix has nothing against it: %v", p.m.Warnings())
	}
}

func TestAnotherStepIsRefused(t *testing.T) {
	p := begin(t, gloss())
	for _, at := range []struct {
		step Step
		adds float64
	}{{Cup, 0}, {Ink, 60}, {Hardener, 15}, {StirHardener, 0}, {Thinner, 8}, {StirThinner, 0}} {
		p.at(at.step)
		for _, s := range append(steps(), "no-such-step", "") {
			if s == at.step {
				continue
			}
			code := WrongStep
			if s == Thinner && (at.step == Ink || at.step == Hardener || at.step == StirHardener) {
				code = WrongOrder
			}
			p.refused(code, Confirm{Step: s})
		}
		p.does(at.step, at.adds)
	}
	p.at(Load)
}

func TestUnsettledIsRefused(t *testing.T) {
	p := begin(t, gloss())
	for _, c := range []Confirm{{Step: Cup, WeightG: 12}, {Step: Cup, WeightG: math.NaN(), Settled: true}, {Step: Cup, WeightG: 1e9, Settled: true}} {
		_, _, err := p.m.Confirm(c, start)
		var r *StepError
		if !errors.As(err, &r) || r.Code != Unsettled {
			t.Errorf("%+v: %v", c, err)
		}
	}
}

func TestThinnerBeforeTheHardenerIsStirredIn(t *testing.T) {
	p := begin(t, gloss())
	p.does(Cup, 0)
	p.does(Ink, 60)
	p.does(Hardener, 15)
	p.g += 7.5
	_, err := p.try(Confirm{Step: Thinner})
	if err == nil || !strings.Contains(err.Error(), "stir-first") {
		t.Fatalf("%v: want the reason in words of the trade", err)
	}
	p.refused(WrongOrder, Confirm{Step: StirHardener})
	out, err := p.try(Confirm{Step: StirHardener, Override: "the boss said so"})
	if err != nil || !out.HasPour || out.Pour.Part != mix.Thinner || !out.Overridden {
		t.Fatalf("%+v, %v", out, err)
	}
	near(t, "thinner", p.m.Poured().ThinnerG, 7.5)
	if !p.m.orderFault() || p.m.FaultOpen() || len(p.m.Warnings()) == 0 {
		t.Error("the fault stays, overridden, and is said")
	}
	p.at(Thinner)
	p.does(Thinner, 0) // it is in the range already
	p.at(Load)
}

func TestTooMuchHardenerIsMendedWithInk(t *testing.T) {
	p := begin(t, gloss())
	p.does(Cup, 0)
	p.does(Ink, 60)
	out := p.does(Hardener, 18)
	p.at(Hardener)
	if out.Advanced || len(out.Corrections) != 2 || p.m.Expect() != mix.Ink || !p.m.FaultOpen() {
		t.Fatalf("%+v, expecting %q", out, p.m.Expect())
	}
	bar, ok := p.m.Pouring()
	if !ok || bar.Part != mix.Ink || bar.TargetG != out.Corrections[0].Add.InkG || bar.LowG > bar.TargetG || bar.HighG < 12 {
		t.Errorf("bar %+v", bar)
	}
	p.refused(NothingPoured, Confirm{Step: Hardener})
	p.does(Hardener, 12)
	p.at(StirHardener)
	near(t, "ink", p.m.Poured().InkG, 72)
	if p.m.FaultOpen() {
		t.Error("mended")
	}
}

func TestTooLittleHardener(t *testing.T) {
	p := begin(t, gloss())
	p.does(Cup, 0)
	p.does(Ink, 60)
	out := p.does(Hardener, 10)
	if len(out.Corrections) == 0 || p.m.Expect() != mix.Hardener {
		t.Fatalf("%+v, expecting %q", out, p.m.Expect())
	}
	p.does(Hardener, 5)
	p.at(StirHardener)
	near(t, "hardener", p.m.Poured().HardenerG, 15)
}

func TestTheRatioCanBeOverridden(t *testing.T) {
	p := begin(t, gloss())
	p.does(Cup, 0)
	p.does(Ink, 60)
	p.refused(NothingPoured, Confirm{Step: Hardener, Override: "no hardener at all"})
	p.does(Hardener, 18)
	out, err := p.try(Confirm{Step: Hardener, Override: "test print"})
	if err != nil || !out.Overridden || !out.Advanced {
		t.Fatalf("%+v, %v", out, err)
	}
	p.at(StirHardener)
	if p.m.FaultOpen() || !p.m.ratioFault() {
		t.Error("overridden, but still a fault")
	}
	if is := p.m.RatioReason(); is != "test print" {
		t.Errorf("used because %q", is)
	}
}

func TestACupWithoutRoomSaysSo(t *testing.T) {
	r := gloss()
	r.CupMaximumG = 90
	p := begin(t, r)
	p.does(Cup, 0)
	p.does(Ink, 60)
	out := p.does(Hardener, 20)
	if len(out.Corrections) != 0 || !p.m.Stuck() || p.m.Expect() != mix.Ink {
		t.Fatalf("%+v, stuck %v", out, p.m.Stuck())
	}
	if !strings.Contains(said(p.m.Warnings()), "no-room") {
		t.Errorf("%q", p.m.Warnings())
	}
	if bar, ok := p.m.Pouring(); ok {
		t.Errorf("nothing puts it right, and %.1f g of %s are asked for", bar.TargetG, bar.Part)
	}
	if _, err := p.try(Confirm{Step: Hardener, Override: "no room in the cup"}); err != nil || p.m.Stuck() {
		t.Errorf("used with a reason: %v, stuck %v", err, p.m.Stuck())
	}

	// Too much thinner leaves no room either.
	r.CupMaximumG = 95
	p = begin(t, r)
	p.does(Cup, 0)
	p.does(Ink, 60)
	p.does(Hardener, 15)
	p.does(StirHardener, 0)
	p.does(Thinner, 18)
	if bar, ok := p.m.Pouring(); !p.m.Stuck() || ok {
		t.Errorf("stuck %v, %.1f g of %s are asked for", p.m.Stuck(), bar.TargetG, bar.Part)
	}

	// Hardener that is still missing is poured on, into a mix that does not fit anyway.
	r.CupMaximumG = 80
	p = begin(t, r)
	p.does(Cup, 0)
	p.does(Ink, 60)
	p.does(Hardener, 10)
	if bar, ok := p.m.Pouring(); p.m.Stuck() || !ok || bar.TargetG < 4 || bar.TargetG > 5 {
		t.Errorf("stuck %v, target %.2f g", p.m.Stuck(), bar.TargetG)
	}
}

func TestInk(t *testing.T) {
	p := begin(t, gloss())
	p.does(Cup, 0)
	p.refused(NothingPoured, Confirm{Step: Ink, Override: "none"})
	p.refused(WrongOrder, Confirm{Step: Ink, Part: mix.Hardener, Override: "x"}.with(&p.g, 5))
	p.g -= 5
	out := p.does(Ink, 40)
	p.at(Ink)
	if len(out.Corrections) != 1 || math.Abs(out.Corrections[0].Add.InkG-20) > 1e-9 {
		t.Fatalf("%+v", out)
	}
	p.does(Ink, 19.9) // a division short is enough
	p.at(Hardener)

	p = begin(t, gloss())
	p.does(Cup, 0)
	p.g += 85
	p.refused(TooMuch, Confirm{Step: Ink})
	if _, err := p.try(Confirm{Step: Ink, Override: "a larger cup"}); err != nil {
		t.Fatal(err)
	}
	p.at(Hardener)
	if len(p.m.Corrections()) != 0 || !strings.Contains(said(p.m.Warnings()), "too-big-for-cup") {
		t.Errorf("%v, %q", p.m.Corrections(), p.m.Warnings())
	}

	p = begin(t, gloss())
	p.does(Cup, 0)
	p.does(Ink, 30)
	if _, err := p.try(Confirm{Step: Ink, Override: "the can is empty"}); err != nil {
		t.Fatal(err)
	}
	p.at(Hardener)
	near(t, "hardener", p.m.Targets().HardenerG, 7.5)
}

func (c Confirm) with(shown *float64, adds float64) Confirm { *shown += adds; return c }

func TestThinner(t *testing.T) {
	toThinner := func() *person {
		p := begin(t, gloss())
		p.does(Cup, 0)
		p.does(Ink, 60)
		p.does(Hardener, 15)
		p.does(StirHardener, 0)
		p.at(Thinner)
		return p
	}
	p := toThinner()
	p.refused(NothingPoured, Confirm{Step: Thinner})
	p.does(Thinner, 3)
	if p.m.Expect() != mix.Thinner {
		t.Fatalf("expecting %q", p.m.Expect())
	}
	p.does(Thinner, 4.5)
	p.at(StirThinner)

	p = toThinner()
	if _, err := p.try(Confirm{Step: Thinner, Override: "hot day, none"}); err != nil {
		t.Fatal(err)
	}
	p.at(Load)

	// Too much: ink and then hardener, in ratio, and another stir.
	p = toThinner()
	out := p.does(Thinner, 16)
	add := out.Corrections[0].Add
	if add.InkG <= 0 || add.HardenerG <= 0 || p.m.Expect() != mix.Ink {
		t.Fatalf("%+v", out)
	}
	p.does(Thinner, 10)
	p.at(Hardener)
	p.does(Hardener, 2.5)
	p.at(StirHardener)
	p.does(StirHardener, 0)
	p.at(Load)
	if p.m.FaultOpen() || p.m.Poured().ThinnerPct() > 20 {
		t.Errorf("%+v", p.m.Poured())
	}

	r := gloss()
	r.ThinnerPct, r.ThinnerMinPct, r.ThinnerMaxPct = 0, 0, 0
	p = begin(t, r)
	p.does(Cup, 0)
	p.does(Ink, 60)
	p.does(Hardener, 15)
	p.does(StirHardener, 0)
	p.at(Load)
}

func TestPoursAcrossATare(t *testing.T) {
	p := begin(t, gloss())
	p.does(Cup, 0)
	p.does(Ink, 60)
	tared := p.m.Pan
	tared.State, tared.HeldG, tared.ShiftG = weigh.PanZeroed, 72, -72
	p.m = p.m.Weighed(tared)
	p.g = 0
	p.refused(NothingPoured, Confirm{Step: Hardener})
	p.g = 15
	p.refused(AmbiguousTare, Confirm{Step: Hardener})
	yes, no := true, false
	p.refused(NothingPoured, Confirm{Step: Hardener, Tared: &no})
	if _, err := p.try(Confirm{Step: Hardener, Tared: &yes}); err != nil {
		t.Fatal(err)
	}
	near(t, "hardener", p.m.Poured().HardenerG, 15)
	near(t, "base of the ink, on the new zero", p.m.Pours[0].BaseG, 12-72)

	away := p.m.Pan
	away.State, away.AwayG = weigh.PanAway, -72
	p.m = p.m.Weighed(away)
	p.g = -72
	p.does(StirHardener, 0) // the cup may be anywhere while it is stirred
	p.refused(CupAway, Confirm{Step: Thinner})
}

func TestCorrect(t *testing.T) {
	p := begin(t, gloss())
	var r *StepError
	if _, err := p.m.Correct(len(p.m.Pours)-1, "", true, start); !errors.As(err, &r) || r.Code != NothingToUndo {
		t.Errorf("%v", err)
	}
	p.does(Cup, 0)
	p.does(Ink, 60)
	p.g += 15
	rose := p.now.Add(5 * time.Second)
	if _, err := p.try(Confirm{Step: Hardener, RoseAt: rose}); err != nil {
		t.Fatal(err)
	}
	for _, bad := range []struct {
		part mix.Part
		undo bool
	}{{"", false}, {"glue", false}, {mix.Ink, true}} {
		if _, err := p.m.Correct(len(p.m.Pours)-1, bad.part, bad.undo, p.now); !errors.As(err, &r) || r.Code != UnknownPart {
			t.Errorf("%+v: %v", bad, err)
		}
	}
	was := p.m

	undone, err := p.m.Correct(len(p.m.Pours)-1, "", true, p.now)
	if err != nil || undone.Step != Hardener || undone.Poured().HardenerG != 0 {
		t.Fatalf("%+v, %v", undone, err)
	}
	if _, _, err := undone.Confirm(Confirm{Step: Hardener, WeightG: p.g, Settled: true}, p.now); !errors.As(err, &r) || r.Code != NotNamed {
		t.Errorf("what was undone is confirmed without its name: %v", err)
	}
	again, _, err := undone.Confirm(Confirm{Step: Hardener, WeightG: p.g, Settled: true, Part: mix.Hardener}, p.now)
	if err != nil || again.Poured() != was.Poured() {
		t.Errorf("confirmed again: %+v, %v", again.Poured(), err)
	}

	ink, err := p.m.Correct(len(p.m.Pours)-1, mix.Ink, false, p.now)
	if err != nil || ink.Step != Hardener || ink.Poured().InkG != 75 {
		t.Fatalf("%+v, %v", ink, err)
	}
	if _, ok := ink.FirstHardener(); ok {
		t.Error("no hardener is in")
	}
	hardener, err := ink.Correct(len(ink.Pours)-1, mix.Hardener, false, p.now)
	if at, ok := hardener.FirstHardener(); err != nil || !ok || !at.Equal(rose) {
		t.Errorf("%v %v %v: the pour carries its first rise", at, ok, err)
	}

	thinner, err := p.m.Correct(len(p.m.Pours)-1, mix.Thinner, false, p.now)
	if err != nil || thinner.Step != Hardener || !thinner.FaultOpen() {
		t.Fatalf("%+v, %v: thinner before any hardener is an open fault", thinner, err)
	}
	p.m = thinner
	p.does(Hardener, 15)
	p.refused(WrongOrder, Confirm{Step: StirHardener})
	if _, err := p.try(Confirm{Step: StirHardener, Override: "goes to a test"}); err != nil || p.m.FaultOpen() {
		t.Errorf("%v, fault open %v", err, p.m.FaultOpen())
	}
	if !reflect.DeepEqual(was.Pours[1].Part, mix.Hardener) {
		t.Error("an older value was changed in place")
	}
}

func TestACorrectedPourTakesItsOverrideAlong(t *testing.T) {
	p := begin(t, gloss())
	p.does(Cup, 0)
	p.does(Ink, 60)
	p.g += 18
	if _, err := p.try(Confirm{Step: Hardener, Override: "test print"}); err != nil {
		t.Fatal(err)
	}
	m, err := p.m.Correct(len(p.m.Pours)-1, "", true, p.now)
	if err != nil {
		t.Fatal(err)
	}
	p.m = m
	out, err := p.try(Confirm{Step: Hardener, Part: mix.Hardener})
	if err != nil || out.Advanced || len(out.Corrections) == 0 || !p.m.FaultOpen() {
		t.Errorf("%+v, %v: the reason was given for a pour that was undone", out, err)
	}
}

// The second pour of hardener was thinner after all: it came before the stir.
func TestThinnerFoundOutAfterTheStir(t *testing.T) {
	p := begin(t, gloss())
	p.does(Cup, 0)
	p.does(Ink, 60)
	p.does(Hardener, 8)
	p.does(Hardener, 7)
	p.does(StirHardener, 0)
	p.at(Thinner)
	m, err := p.m.Correct(len(p.m.Pours)-1, mix.Thinner, false, p.now)
	if err != nil || !m.orderFault() {
		t.Fatalf("%+v, %v", m, err)
	}
	p.m = m
	p.at(Hardener)
	p.does(Hardener, 7)
	p.refused(WrongOrder, Confirm{Step: StirHardener})
}

func TestARiseInTheFutureIsNone(t *testing.T) {
	p := begin(t, gloss())
	p.does(Cup, 0)
	p.g += 60
	out, err := p.try(Confirm{Step: Ink, RoseAt: p.now.Add(time.Hour)})
	if err != nil || !out.Pour.RoseAt.Equal(p.now) {
		t.Errorf("%+v, %v", out, err)
	}
}

func TestARiseBeforeTheLastStirIsSaid(t *testing.T) {
	p := begin(t, gloss())
	p.does(Cup, 0)
	p.does(Ink, 60)
	p.does(Hardener, 15)
	p.does(StirHardener, 0)
	p.does(Thinner, 8)
	p.does(StirThinner, 4)
	p.at(Load)
	if w := said(p.m.Warnings()); !strings.Contains(w, "rose-before-stir rise_g=4.0") {
		t.Errorf("%q", w)
	}
}

func TestRecorded(t *testing.T) {
	r := gloss()
	m, err := Recorded(r, mix.Amounts{InkG: 60, HardenerG: 15, ThinnerG: 8}, start, start)
	if err != nil || m.Step != Load || m.FaultOpen() || m.Poured().ThinnerG != 8 {
		t.Fatalf("%+v, %v", m, err)
	}
	if at, ok := m.FirstHardener(); !ok || !at.Equal(start) {
		t.Errorf("%v %v", at, ok)
	}
	m, err = Recorded(r, mix.Amounts{InkG: 60, HardenerG: 20}, start, start)
	if err != nil || !m.FaultOpen() {
		t.Fatalf("%+v, %v: a third too much is a fault", m, err)
	}
	m, _, err = m.Confirm(Confirm{Step: Load, Override: "known"}, start)
	if err != nil || m.FaultOpen() || m.Step != Load {
		t.Errorf("%+v, %v", m, err)
	}
	for _, a := range []mix.Amounts{{InkG: 60}, {HardenerG: 15}, {InkG: -60, HardenerG: 15}, {InkG: math.NaN(), HardenerG: 15}, {InkG: 60, HardenerG: math.Inf(1)}, {InkG: 60, HardenerG: 15, ThinnerG: -1}} {
		if _, err := Recorded(r, a, start, start); err == nil {
			t.Errorf("%+v was recorded", a)
		}
	}
	r.Rest = time.Hour
	if m, err = Recorded(r, mix.Amounts{InkG: 60, HardenerG: 15}, start, start.Add(time.Minute)); err != nil || m.Step != Rest {
		t.Errorf("%+v, %v: it still rests", m, err)
	}
}

func TestRecipeCheck(t *testing.T) {
	if err := gloss().check(); err != nil {
		t.Error(err)
	}
	for name, spoil := range map[string]func(*Recipe){
		"ratio": func(r *Recipe) { r.Ratio = 0 }, "tolerance": func(r *Recipe) { r.TolerancePct = 0 },
		"ink": func(r *Recipe) { r.InkTargetG = math.NaN() }, "minimum": func(r *Recipe) { r.InkMinimumG = -1 },
		"thinner range": func(r *Recipe) { r.ThinnerMinPct = 30 }, "thinner": func(r *Recipe) { r.ThinnerPct = 25 },
		"rest": func(r *Recipe) { r.Rest = -1 }, "cup": func(r *Recipe) { r.CupMaximumG = math.Inf(1) },
		"empty": func(r *Recipe) { r.CupEmptyG = -1 }, "division": func(r *Recipe) { r.DivisionG = 0 },
	} {
		r := gloss()
		spoil(&r)
		if _, err := Start(r); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
}

func TestWarningsBeforeThePour(t *testing.T) {
	r := gloss()
	r.Ratio, r.DivisionG = 10, 1
	p := begin(t, r)
	if w := said(p.m.Warnings()); !strings.Contains(w, "uncertainty_pct=13.7") || !strings.Contains(w, "enough_g=83") {
		t.Errorf("%q: a whole-gram scale knows 10:1 on 60 g to 6.8 %% (k = 1)", w)
	}
	p.g = 40
	p.does(Cup, 0)
	if w := said(p.m.Warnings()); !strings.Contains(w, "cup_g=40.0") {
		t.Errorf("%q", w)
	}
}

func TestJSON(t *testing.T) {
	p := begin(t, gloss())
	p.does(Cup, 0)
	p.does(Ink, 60)
	p.does(Hardener, 18)
	if _, err := p.try(Confirm{Step: Hardener, Override: "test"}); err != nil {
		t.Fatal(err)
	}
	text, err := json.Marshal(p.m)
	if err != nil {
		t.Fatal(err)
	}
	var back Mix
	if err := json.Unmarshal(text, &back); err != nil || !reflect.DeepEqual(back, p.m) {
		t.Errorf("%v\n%+v\n%+v", err, back, p.m)
	}
}
