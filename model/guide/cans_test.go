package guide

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"potlifed/model/mix"
)

// A can that runs out half-way: two pours of one part, each from its own can. Ratio and
// steps know nothing of it.
func TestPartFromTwoCans(t *testing.T) {
	one, two := started(t), started(t)
	at := time.Date(2026, 6, 12, 8, 0, 0, 0, time.UTC)
	confirm := func(m Mix, step Step, grams float64, can string) Mix {
		t.Helper()
		next, _, err := m.Confirm(Confirm{Step: step, WeightG: grams, Settled: true, Can: can}, at)
		if err != nil {
			t.Fatal(err)
		}
		return next
	}
	one = confirm(confirm(one, Cup, 12, ""), Ink, 72, "i1")
	two = confirm(confirm(confirm(two, Cup, 12, ""), Ink, 42, "i1"), Ink, 72, "i2")
	if one.Step != Hardener || two.Step != Hardener || one.Targets() != two.Targets() {
		t.Errorf("from one can: step %s, targets %v; from two: step %s, targets %v", one.Step, one.Targets(), two.Step, two.Targets())
	}
	two = confirm(two, Hardener, 87, "h1")
	want := []Drawn{{mix.Ink, "i1", 30}, {mix.Ink, "i2", 30}, {mix.Hardener, "h1", 15}}
	if d := cmp.Diff(want, two.Drawn()); d != "" {
		t.Errorf("drawn: %s", d)
	}

	// What was another part came from another can.
	relabelled, err := two.Correct(len(two.Pours)-1, mix.Ink, false, at)
	if err != nil {
		t.Fatal(err)
	}
	want = []Drawn{{mix.Ink, "i1", 30}, {mix.Ink, "i2", 30}, {mix.Ink, "", 15}}
	if d := cmp.Diff(want, relabelled.Drawn()); d != "" {
		t.Errorf("after it was re-labelled: %s", d)
	}
	undone, err := two.Correct(len(two.Pours)-1, "", true, at)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(want[:2], undone.Drawn()); d != "" {
		t.Errorf("after it was undone: %s", d)
	}
}

func TestRecordedFromCans(t *testing.T) {
	at := time.Date(2026, 6, 12, 8, 0, 0, 0, time.UTC)
	m, err := Recorded(started(t).Recipe, mix.Amounts{InkG: 60, HardenerG: 15, ThinnerG: 7}, at, at)
	if err != nil {
		t.Fatal(err)
	}
	list := []Drawn{{mix.Ink, "i1", 20}, {mix.Ink, "i2", 40}, {mix.Hardener, "h1", 15}}
	got := m.FromCans(list)
	if d := cmp.Diff(append(list, Drawn{mix.Thinner, "", 7}), got.Drawn()); d != "" {
		t.Errorf("drawn: %s", d)
	}
	if got.Poured() != m.Poured() || got.Stirred != len(got.Pours) || got.Step != m.Step {
		t.Errorf("poured %v, %d of %d stirred, step %s", got.Poured(), got.Stirred, len(got.Pours), got.Step)
	}
}

func started(t *testing.T) Mix {
	t.Helper()
	m, err := Start(Recipe{
		Ratio: 4, TolerancePct: 5, InkTargetG: 60, InkMinimumG: 60, ThinnerPct: 10, ThinnerMinPct: 10, ThinnerMaxPct: 20,
		CupMaximumG: 110, DivisionG: 0.1,
	})
	if err != nil {
		t.Fatal(err)
	}
	return m
}
