package guide

import (
	"errors"
	"math"
	"testing"

	"potlifed/model/mix"
)

// gloss is a recipe of 60 g of ink at 4:1 with 10 % of thinner, in a cup for 110 g (common
// practice, no source): 80 g of ink would fill it.
func TestJudgeInk(t *testing.T) {
	r := gloss()
	r.CupMaximumG, r.DivisionG = 110, 0.1
	p := begin(t, r)
	p.does(Cup, 12)
	for _, c := range []struct {
		g    float64
		want Verdict
	}{{0, Below}, {59, Below}, {59.9, Below}, {60, Right}, {79.9, Right}, {80.2, FarOver}, {95, FarOver}} {
		if got, _ := p.m.Judge(c.g); got != c.want {
			t.Errorf("%v g: %s, want %s", c.g, got, c.want)
		}
	}
	_, cures := p.m.Judge(95)
	if len(cures) != 2 || cures[0].Kind != TakeOut || math.Abs(cures[0].G-15) > 1e-9 || !cures[0].Fits ||
		cures[1].Kind != LargerCup || math.Abs(cures[1].TotalG-130.625) > 1e-9 {
		t.Errorf("95 g for 60 g: %+v", cures)
	}
	coarse := r
	coarse.DivisionG = 1
	q := begin(t, coarse)
	q.does(Cup, 12)
	if got, _ := q.m.Judge(59); got != Below {
		t.Errorf("59 g on a scale that shows 60: %s", got)
	}
	if got, _ := q.m.Judge(60); got != Right {
		t.Errorf("60 g on a scale of 1 g: %s", got)
	}
	coarse.InkTargetG = 62.5
	q = begin(t, coarse)
	q.does(Cup, 12)
	if got, _ := q.m.Judge(62); got != Right {
		t.Errorf("62 g of 62.5 g on a scale of 1 g: %s, want the nearest reading to be right", got)
	}
}

// Hardener cannot be taken out again: ink is added.
func TestJudgeHardener(t *testing.T) {
	r := gloss()
	r.CupMaximumG, r.DivisionG = 110, 0.1
	p := begin(t, r)
	p.does(Cup, 12)
	p.does(Ink, 60)
	v, cures := p.m.Judge(18.9)
	if v != Over || len(cures) == 0 || cures[0].Kind != Add || cures[0].Part != mix.Ink || !cures[0].Fits {
		t.Fatalf("3.9 g too much: %s %+v", v, cures)
	}
	// To the exact ratio 4:1: 18.9*4 - 60 = 15.6 g; common practice, no source.
	if last := cures[len(cures)-1]; last.To != mix.ToExact || math.Abs(last.G-15.6) > 0.05 {
		t.Errorf("to the exact ratio: %+v", last)
	}
	// The least addition ends within the tolerance of 5 %, and says where: (60 + 12.1) g would take
	// 18.025 g, and 18.9 g are 4.9 % more.
	if first := cures[0]; first.To != mix.ToTolerance || first.OffPct <= 0 || first.OffPct > 5 ||
		math.Abs(first.OffPct-100*(18.9*4/(60+first.G)-1)) > 1e-9 {
		t.Errorf("to the tolerance: %+v", first)
	}
	if last := cures[len(cures)-1]; last.OffPct != 0 {
		t.Errorf("to the exact ratio, %v %% off", last.OffPct)
	}
	v, cures = p.m.Judge(30)
	if last := cures[len(cures)-1]; v != Over || cures[0].Fits || last.Kind != LargerCup || math.Abs(last.TotalG-cures[0].TotalG) > 1e-9 {
		t.Errorf("twice too much: %s %+v", v, cures)
	}
}

// What a cure promises is what the guide asks for once the pour is confirmed.
func TestCuresAreTheCorrections(t *testing.T) {
	for _, g := range []float64{16, 18, 20, 24} {
		r := gloss()
		r.CupMaximumG, r.DivisionG = 110, 0.1
		p := begin(t, r)
		p.does(Cup, 12)
		p.does(Ink, 60)
		_, cures := p.m.Judge(g)
		p.does(Hardener, g)
		var fitting []Cure
		for _, c := range cures {
			if c.Kind == Add && c.Fits {
				fitting = append(fitting, c)
			}
		}
		corrections := p.m.Corrections()
		if len(corrections) != len(fitting) {
			t.Errorf("%v g: cures %+v, corrections %+v", g, cures, corrections)
			continue
		}
		for i, c := range corrections {
			if fitting[i].Add != c.Add || fitting[i].TotalG != c.TotalG {
				t.Errorf("%v g: cure %+v, correction %+v", g, fitting[i], c)
			}
		}
	}
}

func TestFarTooMuchInkNeedsAReason(t *testing.T) {
	for _, cup := range []float64{110, 0} {
		r := gloss()
		r.CupMaximumG = cup
		p := begin(t, r)
		p.does(Cup, 12)
		p.g += 95
		p.refused(TooMuch, Confirm{Step: Ink})
		if len(p.m.Pours) != 0 {
			t.Fatalf("refused, and taken: %+v", p.m.Pours)
		}
		if _, err := p.try(Confirm{Step: Ink, Override: "a larger cup"}); err != nil || p.m.Step != Hardener {
			t.Errorf("with a reason: at %s, %v", p.m.Step, err)
		}
	}
}

// At step thinner something came out of the hardener's can. As it went wrong: the confirmed
// ink became hardener.
func TestWrongCanBeforeItIsTaken(t *testing.T) {
	p := begin(t, gloss())
	p.does(Cup, 12)
	p.does(Ink, 60)
	p.does(Hardener, 15)
	p.does(StirHardener, 0)
	p.g += 9.3
	n, ok := p.m.NotTaken(p.g)
	if !ok || n.Part != mix.Thinner || math.Abs(n.G-9.3) > 1e-9 || n.MustName {
		t.Fatalf("not taken: %+v, %v", n, ok)
	}
	as := Confirm{WeightG: p.g, Settled: true}
	var r *StepError
	if _, err := p.m.Take(mix.Thinner, as, p.now); !errors.As(err, &r) || r.Code != AsExpected {
		t.Errorf("as expected: %v", err)
	}
	m, err := p.m.Take(mix.Hardener, as, p.now)
	if err != nil || m.Step != Hardener || !m.RatioOpen() {
		t.Fatalf("%+v, %v", m, err)
	}
	if in := m.Poured(); in.InkG != 60 || math.Abs(in.HardenerG-24.3) > 1e-9 || in.ThinnerG != 0 {
		t.Errorf("poured %+v", in)
	}
	if _, ok := m.NotTaken(p.g); ok {
		t.Error("taken, and not taken")
	}
	// The ink that puts it right, the stir, and the step's own pour goes on.
	p.m = m
	p.does(Hardener, 24.3*4-60)
	p.at(StirHardener)
	p.does(StirHardener, 0)
	p.at(Thinner)
}

// A little hardener, within tolerance, still leaves the thinner to be poured, also for an ink
// that may have none.
func TestTheStepsOwnPourContinues(t *testing.T) {
	r := gloss()
	r.ThinnerMinPct = 0
	p := begin(t, r)
	p.does(Cup, 12)
	p.does(Ink, 60)
	p.does(Hardener, 15)
	p.does(StirHardener, 0)
	p.g += 0.5
	m, err := p.m.Take(mix.Hardener, Confirm{WeightG: p.g, Settled: true}, p.now)
	if err != nil || m.Step != StirHardener {
		t.Fatalf("%+v, %v", m, err)
	}
	p.m = m
	p.does(StirHardener, 0)
	p.at(Thinner)
}

// Any pour can be undone. What it was is then in the cup and not in the record, and nothing is
// confirmed until it has a name.
func TestAnyPourIsUndone(t *testing.T) {
	p := begin(t, gloss())
	p.does(Cup, 12)
	p.does(Ink, 60)
	p.does(Hardener, 15)
	p.does(StirHardener, 0)
	m, err := p.m.Correct(0, "", true, p.now)
	if err != nil || m.Step != Ink || m.Poured() != (mix.Amounts{HardenerG: 15}) {
		t.Fatalf("%+v, %v", m, err)
	}
	n, ok := m.NotTaken(p.g)
	if !ok || math.Abs(n.G-60) > 1e-9 || n.Part != "" || !n.MustName {
		t.Fatalf("not taken: %+v, %v", n, ok)
	}
	if gross := m.GrossG(0); math.Abs(gross.G-p.m.GrossG(0).G) > 1e-9 {
		t.Errorf("the cup weighs %v g, and weighed %v g: the ink has not left it", gross.G, p.m.GrossG(0).G)
	}
	p.m = m
	p.refused(NotNamed, Confirm{Step: Ink})
	named, err := m.Take(mix.Ink, Confirm{WeightG: p.g, Settled: true}, p.now)
	if err != nil || named.Step != StirHardener || named.Poured() != (mix.Amounts{InkG: 60, HardenerG: 15}) || named.UndoneG != 0 {
		t.Errorf("%+v, %v", named, err)
	}
}
