package guide

import (
	"errors"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"potlifed/model/mix"
)

var larger = OtherCup{Kind: "larger", MaximumG: 180, EmptyG: 20}

func (p *person) move(to OtherCup) {
	p.t.Helper()
	next, err := p.m.Move(to, Confirm{WeightG: p.g, Settled: true})
	if err != nil {
		p.t.Fatal(err)
	}
	p.m = next
	p.at(PourOver)
}

func (p *person) notMoved(code string, c Confirm) {
	p.t.Helper()
	_, err := p.m.Move(larger, c)
	var r *StepError
	if !errors.As(err, &r) || r.Code != code {
		p.t.Fatalf("got %v, want a refusal %q", err, code)
	}
}

// 95 g of ink for 60 g: none is taken before the pour-over, none by it, and afterwards the whole is what the mix is
// made of.
func TestTooMuchInkIsPouredIntoALargerCup(t *testing.T) {
	p := begin(t, gloss())
	p.does(Cup, 0)
	p.g += 95
	p.refused(TooMuch, Confirm{Step: Ink})
	p.move(larger)
	if _, bar := p.m.Pouring(); bar || len(p.m.Corrections()) > 0 {
		t.Error("a bar while it is poured over")
	}
	p.refused(WrongStep, Confirm{Step: Ink})
	p.refused(CupAway, Confirm{Step: PourOver}) // the old cup still stands there
	p.g = 20 + 94                               // 1 g stays in the old cup
	if s, ok := p.m.Shifted(p.g); !ok || s != (Shifted{BeforeG: 95, AfterG: 94, LostG: 1}) {
		t.Errorf("shifted %+v, %v", s, ok)
	}
	if out := p.does(PourOver, 0); out.HasPour || !out.Advanced {
		t.Errorf("outcome %+v", out)
	}
	p.at(Ink)
	if len(p.m.Pours) != 0 || p.m.Over != nil || p.m.Recipe.CupMaximumG != 180 {
		t.Fatalf("poured over: %+v", p.m)
	}
	near(t, "not taken", p.m.Pan.PouredG(p.g), 94)
	if v, cures := p.m.Judge(94); v != Right || cures != nil {
		t.Errorf("94 g in the larger cup: %s, %v", v, cures)
	}
	p.does(Ink, 0)
	p.at(Hardener)
	near(t, "hardener's target", p.m.Targets().HardenerG, 23.5)
	if gross := p.m.GrossG(0); math.Abs(gross.G-114) > 1e-9 || !gross.Known() {
		t.Errorf("the new cup should weigh %+v", gross)
	}
}

// What stayed in the old cup is missing from each part in proportion, and from what is not taken; the ratio stays. A
// pour can still be undone by its own mass.
func TestWhatStaysInTheOldCupIsMissingFromEachPart(t *testing.T) {
	p := begin(t, gloss())
	p.does(Cup, 0)
	p.does(Ink, 60)
	p.does(Hardener, 20) // too much: the step stays
	p.at(Hardener)
	p.g += 10 // ink, to correct it; not taken
	p.move(larger)
	ratio := p.m.Poured().InkG / p.m.Poured().HardenerG
	p.g = 20 + 0.97*90
	p.does(PourOver, 0)
	p.at(Hardener)
	got := p.m.Poured()
	near(t, "ink", got.InkG, 0.97*60)
	near(t, "hardener", got.HardenerG, 0.97*20)
	near(t, "ratio", got.InkG/got.HardenerG, ratio)
	near(t, "not taken", p.m.Pan.PouredG(p.g), 9.7)
	n, ok := p.m.NotTaken(p.g)
	if !ok || n.Part != mix.Ink {
		t.Errorf("not taken: %+v", n)
	}
	p.does(Hardener, 0)
	undone, err := p.m.Correct(2, "", true, p.now)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "undone", undone.Pan.PouredG(p.g), 9.7)
}

func TestWhatIsNotPouredOver(t *testing.T) {
	p := begin(t, gloss())
	p.notMoved(WrongStep, Confirm{WeightG: 12, Settled: true})
	p.does(Cup, 0)
	p.notMoved(NothingPoured, Confirm{WeightG: 12, Settled: true})
	p.g += 95
	p.notMoved(Unsettled, Confirm{WeightG: p.g})
	p.notMoved(NotOnScale, Confirm{WeightG: p.g, Settled: true, Aside: true})
	small := larger
	small.MaximumG = 90
	if next, err := p.m.Move(small, Confirm{WeightG: p.g, Settled: true}); err == nil {
		t.Errorf("into a cup that is too small: %+v", next)
	}
	lifted := p.m
	lifted.Pan.State = "zeroed"
	p.m, lifted = lifted, p.m
	p.notMoved(NothingPoured, Confirm{WeightG: 0, Settled: true})
	p.m = lifted
	p.move(larger)
	for shows, code := range map[float64]string{
		0:   OtherContent, // nothing there
		107: LostOver,     // the old cup still stands there: it would be 8 g less
		95:  LostOver,     // tared with the new cup on it
		103: LostOver,     // tared with the empty old cup on it
		130: OtherContent, // something was poured in besides
		20:  OtherContent, // the new cup, empty
	} {
		p.g = shows
		p.refused(code, Confirm{Step: PourOver, Lifted: true})
	}
	_, err := p.m.Correct(0, "", true, p.now)
	if err == nil {
		t.Error("a pour is undone meanwhile")
	}
	p.g = 20 + 60 // a third was spilled
	if _, err := p.try(Confirm{Step: PourOver, Lifted: true, Override: "spilled"}); err != nil {
		t.Fatal(err)
	}
	near(t, "not taken", p.m.Pan.PouredG(p.g), 60)
	if len(p.m.Overrides) != 0 {
		t.Errorf("a requirement of the mix was set aside: %+v", p.m.Overrides)
	}
}

// A new cup of unknown weight is weighed first, from a scale that showed zero.
func TestTheNewCupIsWeighedFirst(t *testing.T) {
	p := begin(t, gloss())
	p.does(Cup, 0)
	p.g += 95
	p.move(OtherCup{Kind: "other"})
	p.refused(CupAway, Confirm{Step: PourOver})                              // the old cup, never lifted
	p.refused(CupAway, Confirm{Step: PourOver, SetDown: true, Lifted: true}) // put back
	p.g = 0
	p.refused(CupAway, Confirm{Step: PourOver, SetDown: true, Lifted: true}) // none
	p.g = 17
	p.refused(CupAway, Confirm{Step: PourOver, Lifted: true}) // from a scale that did not show zero
	if out, err := p.try(Confirm{Step: PourOver, SetDown: true, Lifted: true}); err != nil || out.Advanced {
		t.Fatalf("%+v, %v", out, err)
	}
	p.refused(OtherContent, Confirm{Step: PourOver, Lifted: true}) // a second tap
	p.g = 17 + 94.5
	p.does(PourOver, 0)
	near(t, "not taken", p.m.Pan.PouredG(p.g), 94.5)
	near(t, "the cup", p.m.CupG, 17)
}

func TestTheOldCupIsKept(t *testing.T) {
	p := begin(t, gloss())
	p.does(Cup, 0)
	p.does(Ink, 60)
	p.g += 9
	before := p.m
	p.move(larger)
	if _, err := p.m.KeepCup(Confirm{WeightG: 0, Settled: true}); err == nil {
		t.Error("kept without the cup")
	}
	next, err := p.m.KeepCup(Confirm{WeightG: p.g - 0.5, Settled: true})
	if err != nil || next.Step != before.Step || next.Over != nil {
		t.Fatalf("%+v, %v", next, err)
	}
	near(t, "not taken", next.Pan.PouredG(p.g-0.5), 9)
	if _, err := before.KeepCup(Confirm{WeightG: p.g, Settled: true}); err == nil {
		t.Error("kept without a pour-over")
	}
}

// Whatever was poured, taken or not: after the pour-over, the mix has what the new cup holds, no more and no less, and
// of each part the same share as before. What the scale has as its zero does not turn a cup into a pour.
func TestAPourOverTakesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, err := Start(recipe(t))
		if err != nil {
			t.Fatal(err)
		}
		d := m.Recipe.DivisionG
		now, oldG := start, rapid.Float64Range(8, 25).Draw(t, "old cup")
		content := 0.0
		for range rapid.IntRange(1, 6).Draw(t, "steps") {
			if bar, ok := m.Pouring(); ok {
				content += bar.TargetG * rapid.SampledFrom([]float64{1, 1, 0.6, 1.3, 2}).Draw(t, "share")
			}
			now = now.Add(time.Minute)
			m = confirm(t, m, Confirm{Step: m.Step, WeightG: oldG + content, Settled: true}, now)
		}
		content += rapid.Float64Range(0, 30).Draw(t, "not taken")
		to := OtherCup{Kind: "new", EmptyG: rapid.Float64Range(8, 40).Draw(t, "new cup"), Weighed: true}
		moved, err := m.Move(to, Confirm{WeightG: oldG + content, Settled: true})
		if err != nil {
			return
		}
		before := m.Poured()
		whole := moved.ContentG()
		after := content * (1 - rapid.Float64Range(0, 0.2).Draw(t, "lost"))
		tared := rapid.SampledFrom([]float64{0, 0, oldG, to.EmptyG, oldG + content}).Draw(t, "tared")
		shown := to.EmptyG + after - tared
		next, out, err := moved.Confirm(Confirm{Step: PourOver, WeightG: shown, Settled: true, Lifted: true}, now)
		if err != nil {
			if tared == 0 && after >= whole-min(stuckShare*whole, stuckOfCup*to.EmptyG, stuckOfCup*oldG) && after <= whole {
				t.Fatalf("%v with %v g of %v g in the new cup", err, after, whole)
			}
			return
		}
		if tared > 2*d && after > whole-min(tared, to.EmptyG)/2+2*d && tared < oldG+content {
			t.Fatalf("taken with %v g tared", tared)
		}
		got, loose := next.Poured(), next.Pan.PouredG(shown)
		if out.HasPour || len(next.Pours) != len(m.Pours) || next.Step != m.Step {
			t.Fatalf("poured by it: %+v", out)
		}
		if tared == 0 && math.Abs(got.TotalG()+loose-min(after, whole)) > 2*d+1e-6 {
			t.Fatalf("%v g in the mix and %v not taken, of %v g in the cup", got.TotalG(), loose, after)
		}
		kept := (got.TotalG() + loose) / whole
		for _, part := range []mix.Part{mix.Ink, mix.Hardener, mix.Thinner} {
			if math.Abs(got.Of(part)-kept*before.Of(part)) > 1e-6*(1+whole) {
				t.Fatalf("%s %v g of %v g, kept %v", part, got.Of(part), before.Of(part), kept)
			}
		}
	})
}
