package learn

import (
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"potlifed/model/air"
	"potlifed/model/cure"
	"potlifed/model/jars"
)

// jarSeed is that of the simulated tests, fixed before the first run.
const jarSeed = 20261130

// fourAirs are those over magnesium and sodium chloride at 20 and 35 °C.
var fourAirs = []air.State{{TemperatureC: 20, HumidityPct: 33.1}, {TemperatureC: 20, HumidityPct: 75.5}, {TemperatureC: 35, HumidityPct: 32.1}, {TemperatureC: 35, HumidityPct: 74.9}}

// test draws a test of a mix that is looked at every 10 minutes until the last look. The fifth air is at the bench.
func (w *jarTruth) test(rng *rand.Rand, airs []air.State, lastH float64) JarTest {
	test := JarTest{ID: "1"}
	common := w.life + w.ink.Sigma*rng.NormFloat64()
	for i, a := range airs {
		place := cure.Place{Exposure: 1}
		still := i < 4
		if still {
			place.Exposure = math.Min(w.phi, 1)
		}
		end := math.Exp(math.Log(cure.StillAir(w.ink, place, a).LifeH) + common + jars.DefaultNoise*rng.NormFloat64())
		const look = 1.0 / 6
		good := math.Floor(end/look) * look
		gone := good + look
		if end > lastH {
			good, gone = lastH, 0
		}
		test.Jars = append(test.Jars, SteadyJar(a, good, gone, still))
	}
	return test
}

type jarTruth struct {
	ink       cure.Ink
	life, phi float64
}

// A test of four jars narrows what is known of activation energy and share, as far as the stillness of the air allows; what
// it tells holds the truth as often as it says, also where looking ended before the last jar did.
func TestJarsTellTheFit(t *testing.T) {
	shops := 24
	if os.Getenv("POTLIFED_LONG") != "" {
		shops = 1000
	}
	ink := usualInk(t)
	var heat, moisture, heatSE, shareSE float64
	for n := range shops {
		rng := rand.New(rand.NewPCG(jarSeed, uint64(n)))
		truth := jarTruth{ink: ink, life: ink.LifeLnSpread * rng.NormFloat64(), phi: math.Exp(-math.Abs(stillLnSpread * rng.NormFloat64()))}
		draw := func(centre, spread, low, high float64) float64 {
			return min(max(centre+spread*rng.NormFloat64(), low), high)
		}
		truth.ink.MoistureShare = draw(ink.MoistureShare, ink.MoistureSpread, 0.02, 0.7)
		truth.ink.ActivationKJPerMol = draw(ink.ActivationKJPerMol, ink.ActivationSpread, 27, 85)
		truth.life += math.Log(cure.StillAir(ink, cure.Place{Exposure: 1}, ink.KnownIn()).LifeH / cure.StillAir(truth.ink, cure.Place{Exposure: 1}, ink.KnownIn()).LifeH)
		last := math.Inf(1)
		if n%2 == 1 {
			last = 7
		}
		airs := append(append([]air.State{}, fourAirs...), air.State{TemperatureC: 21, HumidityPct: 45}) // the last at the bench
		r := fitOne(Pair{Sheet: ink, Jars: []JarTest{truth.test(rng, airs, last)}})
		if r.Fault != "" {
			t.Fatal(r.Fault)
		}
		if in := r.ActivationKJPerMol.Interval; in[0] <= truth.ink.ActivationKJPerMol && truth.ink.ActivationKJPerMol <= in[1] {
			heat++
		}
		if in := r.MoistureShare.Interval; in[0] <= truth.ink.MoistureShare && truth.ink.MoistureShare <= in[1] {
			moisture++
		}
		heatSE, shareSE = heatSE+*r.ActivationKJPerMol.SE, shareSE+*r.MoistureShare.SE
	}
	n := float64(shops)
	t.Logf("activation energy ± %.1f, %.1f %% in the 90 %% interval; share ± %.3f, %.1f %%", heatSE/n, 100*heat/n, shareSE/n, 100*moisture/n)
	if margin := 300 * math.Sqrt(0.09/n); math.Abs(100*heat/n-90) > 3+margin || math.Abs(100*moisture/n-90) > 3+margin {
		t.Errorf("in the 90 %% intervals: %.1f and %.1f %%", 100*heat/n, 100*moisture/n)
	}
	if heatSE/n > 5 || shareSE/n > 0.09 {
		t.Errorf("± %.1f kJ/mol, ± %.3f", heatSE/n, shareSE/n)
	}
}

func expectedTest(ink cure.Ink, airs []air.State, times float64) JarTest {
	test := JarTest{ID: "1"}
	for _, a := range airs {
		end := times * cure.StillAir(ink, cure.Place{Exposure: 1}, a).LifeH
		test.Jars = append(test.Jars, SteadyJar(a, end-0.05, end+0.05, true))
	}
	return test
}

// Jars of one mix say more than the same ends as batches, nothing of the life beyond one batch, and a jar that was mixed
// up moves little.
func TestJarsShareTheirMix(t *testing.T) {
	ink := usualInk(t)
	test := expectedTest(ink, fourAirs, 1.2)
	r := fitOne(Pair{Sheet: ink, Jars: []JarTest{test}})
	var records []Record
	for _, j := range test.Jars {
		records = append(records, Record{Kind: j.Kind, From: j.From, To: j.To})
	}
	apart := fitOne(Pair{Sheet: ink, Records: records})
	if r.Jars != 4 || r.Ends != 0 || !r.ActivationKJPerMol.Learned || r.LifeRatio.Learned || !(*r.ActivationKJPerMol.SE < 0.75**apart.ActivationKJPerMol.SE) {
		t.Errorf("together ± %.2f, learned %v; apart ± %.2f; life learned %v", *r.ActivationKJPerMol.SE, r.ActivationKJPerMol.Learned, *apart.ActivationKJPerMol.SE, r.LifeRatio.Learned)
	}
	if d := math.Abs(r.ActivationKJPerMol.Value - ink.ActivationKJPerMol); d > 1 {
		t.Errorf("an ink as its sheet: activation energy off by %.2f", d)
	}
	// One jar was found gone off at a tenth of its time.
	wrong := expectedTest(ink, append(append([]air.State{}, fourAirs...), fourAirs...), 1)
	wrong.Jars[2] = SteadyJar(fourAirs[2], 0.25, 0.3, true)
	with := fitOne(Pair{Sheet: ink, Jars: []JarTest{wrong}})
	if d := math.Abs(with.ActivationKJPerMol.Value - ink.ActivationKJPerMol); d > 2 {
		t.Errorf("a jar that was mixed up moves the activation energy by %.1f", d)
	}
	// Accepted without a test of prints, and nowhere longer than the sheet.
	a, err := r.Accept(nil)
	if err != nil || longerSomewhere(a.Life, ink) || a.Life.ActivationSpread >= ink.ActivationSpread {
		t.Errorf("%+v, %v", a.Life, err)
	}
}

// The derivatives agree with differences.
func TestTheLikelihoodOfJarsHasItsDerivatives(t *testing.T) {
	ink := usualInk(t)
	test := expectedTest(ink, fourAirs, 1.1)
	test.Jars[0] = SteadyJar(fourAirs[0], 6, 0, true)
	test.Jars[1] = SteadyJar(fourAirs[1], 0, 8, false)
	f := prepare(Pair{Sheet: ink, Jars: []JarTest{test}}, false)
	at := f.prior.centre
	at[pLife] += 0.05
	at[pShare] -= 0.03
	at[pActivation] += 3
	j := f.jarLikelihood(at)
	for p, h := range []float64{1e-4, 1e-4, 1e-2, 1e-4} {
		up, down := at, at
		up[p] += h
		down[p] -= h
		a, b := f.jarLikelihood(up), f.jarLikelihood(down)
		if d := (a.v - b.v) / (2 * h); math.Abs(d-j.d[p]) > 1e-5*(1+math.Abs(d)) {
			t.Errorf("slope %d: %g, want %g", p, j.d[p], d)
		}
		for q := range p + 1 {
			if d := (a.d[q] - b.d[q]) / (2 * h); math.Abs(d-j.h[p][q]) > 1e-4*(1+math.Abs(d)) {
				t.Errorf("curvature %d %d: %g, want %g", p, q, j.h[p][q], d)
			}
		}
	}
}
