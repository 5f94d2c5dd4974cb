package learn

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"
)

// The derivatives of the prior of the lives, from differences.
func TestDerivativesOfThePriorOfLives(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.Float64Range(-15, 15), 1, 4).Draw(t, "x")
		n := len(x)
		at := make([]int, n)
		for i := range at {
			at[i] = i
		}
		evaluate := func(x []float64) (float64, []float64, *mat.SymDense) {
			gradient, hessian := make([]float64, n), mat.NewSymDense(n, nil)
			return addLives(at, x, gradient, hessian), gradient, hessian
		}
		_, gradient, hessian := evaluate(x)
		const h = 1e-4
		for i := range x {
			up, down := append([]float64(nil), x...), append([]float64(nil), x...)
			up[i] += h
			down[i] -= h
			a, slopeA, _ := evaluate(up)
			b, slopeB, _ := evaluate(down)
			if d := (a - b) / (2 * h); math.Abs(d-gradient[i]) > 1e-5*(1+math.Abs(d)) {
				t.Fatalf("gradient %v, by differences %v", gradient[i], d)
			}
			for j := range x {
				if d := (slopeA[j] - slopeB[j]) / (2 * h); math.Abs(d-hessian.At(i, j)) > 1e-5*(1+math.Abs(d)) {
					t.Fatalf("Hessian %v, by differences %v", hessian.At(i, j), d)
				}
			}
		}
	})
}

// Half of the deviation is common, and both halves are Student's t with 3 degrees of freedom: their
// sum has the tail of one of them, and its integral is that of the two densities.
func TestPriorOfOneLife(t *testing.T) {
	// ∫ (1+u²/3)^-2 du = π√3/2, so each half of scale 1/√2 integrates to π√3/2/√2.
	const half = math.Pi * 1.7320508075688772 / 2 / math.Sqrt2
	total, tail := 0.0, 0.0
	const step = 0.01
	for x := -40.0; x < 40; x += step {
		gradient, hessian := make([]float64, 1), mat.NewSymDense(1, nil)
		p := math.Exp(-addLives([]int{0}, []float64{x}, gradient, hessian)) * step / (half * half)
		total += p
		if math.Abs(x) > 7 {
			tail += p
		}
	}
	near(t, "integral", total, 1, 1e-4)
	// P(|t| > 7·√2) of one half is 0.00224 (tables of Student's t, 3 degrees of freedom); two halves
	// give about twice that. A normal distribution gives 3e-12.
	if tail < 0.004 || tail > 0.006 {
		t.Errorf("a life of half the sheet's or twice it has a prior probability of %v", tail)
	}
}

// A shop in which all inks live half as long has an ink that nobody has used yet.
func TestAShopWhoseInksAllDifferMovesANewInk(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 12))
	w := truthAt(usualInk(t), -7, 0, 0, 0)
	pairs := []Pair{{Ink: "few", Sheet: usualInk(t), Records: []Record{ended(3.9)}}}
	for _, ink := range []string{"a", "b", "c"} {
		pairs = append(pairs, Pair{Ink: ink, Sheet: usualInk(t), Records: w.batches(random, 40)})
	}
	for i, r := range FitShop(pairs) {
		if r.LifeRatio.Value > 0.6 || r.LifeRatio.Value < 0.42 {
			t.Errorf("%d: life ratio %v in a shop where it is 0.5", i, r.LifeRatio.Value)
		}
	}
}

// One ink that lives half as long says little of the others.
func TestOneOddInkMovesNoOther(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 13))
	odd, usual := truthAt(usualInk(t), -7, 0, 0, 0), truthAt(usualInk(t), 0, 0, 0, 0)
	pairs := []Pair{{Ink: "few", Sheet: usualInk(t), Records: []Record{ended(6.8)}}, {Ink: "odd", Sheet: usualInk(t), Records: odd.batches(random, 40)}}
	for _, ink := range []string{"a", "b"} {
		pairs = append(pairs, Pair{Ink: ink, Sheet: usualInk(t), Records: usual.batches(random, 40)})
	}
	got := FitShop(pairs)
	if r := got[1].LifeRatio.Value; math.Abs(r-0.5) > 0.05 {
		t.Errorf("the odd ink is put at %v, want 0.5", r)
	}
	for _, i := range []int{0, 2, 3} {
		if r := got[i].LifeRatio.Value; math.Abs(r-1) > 0.07 {
			t.Errorf("%s is put at %v by an odd ink", got[i].Ink, r)
		}
	}
}

// In a shop at half of its sheet no early end is set aside; the verdict and the result say so.
func TestEarlyEndsAreBelieved(t *testing.T) {
	for k, ratio := range []float64{0.3, 0.4, 0.5, 0.6} {
		random := rand.New(rand.NewPCG(3, uint64(20+k)))
		w := truthAt(usualInk(t), math.Log(ratio)*10, 0, 0, 0)
		r := fitOf(t, w.untilEnds(random, 8)...)
		if _, early := r.Impossible(); early != 0 || r.Ends != 8 {
			t.Errorf("ratio %v: %d of 8 ends are set aside: %+v", ratio, early, r.LeftOut)
		}
		if !r.LifeRatio.Learned || math.Abs(math.Log(r.LifeRatio.Value/ratio)) > 0.15 {
			t.Errorf("ratio %v: %+v, %s", ratio, r.LifeRatio, r.Verdict())
		}
	}
}

// A slip among many batches is named, and a caution names it.
func TestASlipAmongManyIsNamed(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 14))
	w := truthAt(usualInk(t), -3, 0, 0, 0)
	records := w.batches(random, 40)
	without := fitOf(t, records...)
	slip := Record{ID: "0612-3", Kind: Ended, To: steady(20, 50, 0.52)}
	with := fitOf(t, append([]Record{slip}, records...)...)
	if len(with.LeftOut) != 1 || with.LeftOut[0].ID != "0612-3" || !with.LeftOut[0].Early || !with.LeftOut[0].Impossible {
		t.Fatalf("left out: %+v", with.LeftOut)
	}
	near(t, "life", with.LRefH.Value, without.LRefH.Value, 0.02)
	near(t, "sigma", with.Sigma.Value, without.Sigma.Value, 0.01)
	if all := fmt.Sprint(with.Cautions()); !strings.Contains(all, "0612-3") || !strings.Contains(all, "Too early") {
		t.Error(all)
	}
}

// Two looks at a cup that was forgotten for months still have derivatives.
func TestFarOutBetweenTwoLooks(t *testing.T) {
	p := priorOf(usualInk(t))
	r := Record{Kind: Between, From: steady(20, 50, 2000), To: steady(20, 50, 4000)}
	got := r.logLikelihood(p.centre, &p.sheet)
	for q := range parameters {
		for s := 0; s <= q; s++ {
			if !isFinite(got.v) || !isFinite(got.d[q]) || !isFinite(got.h[q][s]) {
				t.Fatalf("%+v", got)
			}
		}
	}
	if both, right := mixed(got, p.wrongly(&r)); right > 1e-100 || !isFinite(both.v) {
		t.Errorf("%v, right with %v", both.v, right)
	}
}

// The mixture's derivatives, from differences, on both sides of where a record turns wrong.
func TestDerivativesOfTheMixture(t *testing.T) {
	p := priorOf(usualInk(t))
	for _, record := range []Record{ended(7), ended(3.9), ended(3.6), ended(12.5), ended(0.4), alive(9), alive(13), alive(60), {Kind: Between, To: steady(20, 50, 3.5)}} {
		at, broad := p.centre, p.wrongly(&record)
		evaluate := func(at point) jet {
			both, _ := mixed(record.logLikelihood(at, &p.sheet), broad)
			return both
		}
		here := evaluate(at)
		for q := range parameters {
			h := 1e-5 * max(1, math.Abs(at[q]))
			up, down := at, at
			up[q] += h
			down[q] -= h
			a, b := evaluate(up), evaluate(down)
			near(t, "gradient", here.d[q], (a.v-b.v)/(2*h), 1e-5*(1+math.Abs(here.d[q])))
			for r := 0; r <= q; r++ {
				near(t, "Hessian", here.h[q][r], (a.d[r]-b.d[r])/(2*h), 1e-4*(1+math.Abs(here.h[q][r])))
			}
		}
	}
}
