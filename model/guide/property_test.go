package guide

import (
	"encoding/json"
	"errors"
	"math"
	"reflect"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"potlifed/model/mix"
	"potlifed/model/weigh"
)

func recipe(t *rapid.T) Recipe {
	r := Recipe{
		Ratio:        mix.Ratio(rapid.SampledFrom([]float64{1, 3.5, 4, 10, 20}).Draw(t, "ratio")),
		TolerancePct: rapid.SampledFrom([]float64{2, 5, 10}).Draw(t, "tolerance"),
		InkTargetG:   rapid.Float64Range(20, 200).Draw(t, "ink"),
		InkMinimumG:  rapid.SampledFrom([]float64{0, 40, 100}).Draw(t, "minimum"),
		Rest:         rapid.SampledFrom([]time.Duration{0, 10 * time.Minute}).Draw(t, "rest"),
		DivisionG:    rapid.SampledFrom([]float64{0.01, 0.1, 1}).Draw(t, "division"),
		CupMaximumG:  rapid.SampledFrom([]float64{0, 110, 500}).Draw(t, "cup"),
	}
	if rapid.Bool().Draw(t, "thinned") {
		r.ThinnerMinPct = rapid.SampledFrom([]float64{0, 5, 10}).Draw(t, "min")
		r.ThinnerMaxPct = r.ThinnerMinPct + rapid.Float64Range(2, 15).Draw(t, "width")
		r.ThinnerPct = rapid.Float64Range(r.ThinnerMinPct, r.ThinnerMaxPct).Draw(t, "aim")
	}
	return r
}

func valid(t *rapid.T, m Mix) {
	poured := m.Poured()
	for _, p := range m.Pours {
		if !(p.G > 0) || !p.Part.Valid() || p.RoseAt.IsZero() {
			t.Fatalf("pour %+v", p)
		}
	}
	step := m.Step
	if m.Over != nil {
		step = m.Over.From
	}
	past := func(s Step) bool { return slices.Index(steps(), step) > slices.Index(steps(), s) }
	switch {
	case (m.Step == PourOver) != (m.Over != nil):
		t.Fatalf("step %q with %+v", m.Step, m.Over)
	case slices.Index(steps(), step) < 0:
		t.Fatalf("step %q", m.Step)
	case past(Ink) && poured.InkG <= 0, past(Hardener) && poured.HardenerG <= 0:
		t.Fatalf("at %s with %+v", m.Step, poured)
	case past(Hardener) && m.FaultOpen() && step != StirHardener:
		t.Fatalf("at %s with a fault that nobody has overridden: %+v", m.Step, m)
	case past(StirHardener) && m.unstirredHardener():
		t.Fatalf("at %s with hardener not stirred in", m.Step)
	case (m.Step == Rest || m.Step == Load) && m.Stirred != len(m.Pours):
		t.Fatalf("at %s with pours not stirred in", m.Step)
	case m.Step == Rest && m.RestUntil.IsZero():
		t.Fatal("a rest without an end")
	case m.Stirred > len(m.Pours):
		t.Fatal("more stirred than poured")
	}
	if bar, ok := m.Pouring(); ok && (bar.TargetG < 0 || bar.LowG > bar.HighG || math.IsNaN(bar.TargetG)) {
		t.Fatalf("bar %+v", bar)
	}
	for _, c := range m.Corrections() {
		if c.Add.TotalG() <= 0 || m.Recipe.CupMaximumG > 0 && c.TotalG > m.Recipe.CupMaximumG+1e-6 {
			t.Fatalf("correction %+v", c)
		}
	}
	m.Warnings()
}

// Any sequence of doings leaves a valid mix, skips no step, changes no older
// value, and survives JSON.
func TestAnySequence(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, err := Start(recipe(t))
		if err != nil {
			t.Fatal(err)
		}
		shown, now := 12.0, start
		for range rapid.IntRange(1, 40).Draw(t, "doings") {
			now = now.Add(time.Duration(rapid.IntRange(0, 900).Draw(t, "s")) * time.Second)
			before, err := json.Marshal(m)
			if err != nil {
				t.Fatal(err)
			}
			old := m
			switch rapid.SampledFrom([]string{"right", "right", "right", "any", "correct", "take", "pan", "tick", "move", "keep"}).Draw(t, "doing") {
			case "right": // about what is asked for
				if bar, ok := m.Pouring(); ok {
					shown += bar.TargetG * rapid.SampledFrom([]float64{1, 1, 1, 0.5, 1.3}).Draw(t, "share")
				}
				m = confirm(t, m, Confirm{Step: m.Step, WeightG: shown, Settled: true, SetDown: true, Lifted: true}, now)
			case "any":
				shown += rapid.Float64Range(-5, 40).Draw(t, "g")
				c := Confirm{
					Step:     rapid.SampledFrom(append(steps(), m.Step, m.Step, m.Step)).Draw(t, "step"),
					WeightG:  shown,
					Lifted:   true,
					Settled:  rapid.IntRange(0, 5).Draw(t, "settled") > 0,
					Override: rapid.SampledFrom([]string{"", "", " ", "a reason"}).Draw(t, "override"),
					Part:     rapid.SampledFrom([]mix.Part{"", "", mix.Ink, mix.Hardener, mix.Thinner, "glue"}).Draw(t, "part"),
				}
				if rapid.Bool().Draw(t, "answered") {
					key := rapid.Bool().Draw(t, "key")
					c.Tared = &key
				}
				m = confirm(t, m, c, now)
			case "correct":
				next, err := m.Correct(rapid.IntRange(-1, len(m.Pours)).Draw(t, "pour"), rapid.SampledFrom([]mix.Part{"", mix.Ink, mix.Hardener, mix.Thinner}).Draw(t, "part"),
					rapid.Bool().Draw(t, "undo"), now)
				refusal(t, m, next, err)
				m = next
			case "take":
				next, err := m.Take(rapid.SampledFrom([]mix.Part{"", mix.Ink, mix.Hardener, mix.Thinner}).Draw(t, "part"),
					Confirm{WeightG: shown, Settled: rapid.IntRange(0, 5).Draw(t, "settled") > 0}, now)
				refusal(t, m, next, err)
				m = next
			case "pan":
				p := m.Pan
				p.State = rapid.SampledFrom([]weigh.PanState{weigh.PanResting, weigh.PanZeroed, weigh.PanAsked, weigh.PanAway, weigh.PanRising}).Draw(t, "state")
				p.HeldG, p.ShiftG = shown, -shown
				m = m.Weighed(p)
			case "tick":
				m = m.Tick(now)
			case "move":
				to := OtherCup{Kind: "larger", MaximumG: rapid.SampledFrom([]float64{0, 110, 500}).Draw(t, "takes"), EmptyG: rapid.SampledFrom([]float64{0, 20}).Draw(t, "empty")}
				next, err := m.Move(to, Confirm{WeightG: shown, Settled: rapid.IntRange(0, 5).Draw(t, "settled") > 0})
				refusal(t, m, next, err)
				if m = next; m.Step == PourOver && m.Over.To.EmptyG > 0 && rapid.IntRange(0, 3).Draw(t, "poured over") > 0 {
					shown = m.Over.To.EmptyG + m.ContentG()*rapid.Float64Range(0.9, 1.05).Draw(t, "kept")
				}
			case "keep":
				next, err := m.KeepCup(Confirm{WeightG: shown, Settled: true})
				refusal(t, m, next, err)
				m = next
			}
			if after, _ := json.Marshal(old); string(after) != string(before) {
				t.Fatalf("an older value was changed:\n%s\n%s", before, after)
			}
			var back Mix
			text, err := json.Marshal(m)
			if err == nil {
				err = json.Unmarshal(text, &back)
			}
			if again, _ := json.Marshal(back); err != nil || string(again) != string(text) {
				t.Fatalf("JSON: %v\n%s\n%s", err, text, again)
			}
			valid(t, m)
		}
	})
}

// confirm checks what every confirm owes: refused and unchanged, or at most one
// pour more, and no step skipped that this recipe has.
func confirm(t *rapid.T, m Mix, c Confirm, now time.Time) Mix {
	next, out, err := m.Confirm(c, now)
	refusal(t, m, next, err)
	if err != nil {
		return m
	}
	if c.Step != m.Step {
		t.Fatalf("confirmed %q at %q", c.Step, m.Step)
	}
	if len(next.Pours)-len(m.Pours) > 1 || out.HasPour != (len(next.Pours) > len(m.Pours)) {
		t.Fatalf("%d pours more, outcome %+v", len(next.Pours)-len(m.Pours), out)
	}
	if out.Advanced != (next.Step != m.Step) || out.Advanced && len(out.Corrections) > 0 {
		t.Fatalf("outcome %+v from %s to %s", out, m.Step, next.Step)
	}
	followers := map[Step][]Step{
		Cup: {Ink}, Ink: {Ink, Hardener, StirHardener}, Hardener: {Hardener, StirHardener},
		StirHardener: {Thinner, Rest, Load}, Thinner: {Thinner, Hardener, StirHardener, StirThinner, Rest, Load},
		StirThinner: {Rest, Load}, Rest: {Load}, Load: {Load},
	}
	if m.Over != nil {
		followers[PourOver] = []Step{PourOver, m.Over.From}
	}
	if !slices.Contains(followers[m.Step], next.Step) {
		t.Fatalf("from %s to %s", m.Step, next.Step)
	}
	return next
}

func refusal(t *rapid.T, before, after Mix, err error) {
	if err == nil {
		return
	}
	var r *StepError
	if !errors.As(err, &r) || r.Code == "" || r.Message.Key == "" {
		t.Fatalf("%v is no refusal", err)
	}
	if !reflect.DeepEqual(before, after) {
		t.Fatalf("refused, and changed")
	}
}

// Whatever was poured first: who always pours the first correction gets to the
// end without an override, or is told that this cup has no room for it.
func TestTheFirstCorrectionLeadsOut(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, err := Start(recipe(t))
		if err != nil {
			t.Fatal(err)
		}
		now, shown := start, 0.0
		wrong := map[Step]bool{}
		for range 60 {
			if m.Step == Load {
				if m.FaultOpen() || !m.limitsKept(m.Poured()) {
					t.Fatalf("loaded with %+v", m.Poured())
				}
				return
			}
			if m.Stuck() {
				return
			}
			if bar, ok := m.Pouring(); ok {
				g := bar.TargetG
				if !wrong[m.Step] {
					wrong[m.Step] = true
					g *= rapid.SampledFrom([]float64{1, 0.6, 0.9, 1.2, 1.6}).Draw(t, "share")
				}
				if g = math.Max(g, m.Recipe.DivisionG); m.Step == Thinner && bar.TargetG == 0 {
					g = 0
				}
				shown += g
			}
			now = now.Add(10 * time.Minute)
			c := Confirm{Step: m.Step, WeightG: shown, Settled: true}
			if bar, ok := m.Pouring(); ok && m.tooMuch(bar.Part, m.Pan.PouredG(shown)) {
				c.Override = "it is a larger cup"
			}
			m = confirm(t, m, c, now)
		}
		t.Fatalf("still at %s: %+v", m.Step, m)
	})
}
