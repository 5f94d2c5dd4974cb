package jars_test

import (
	"math"
	"math/rand/v2"
	"os"
	"testing"
	"time"

	"potlifed/model/air"
	"potlifed/model/cure"
	"potlifed/model/jars"
	"potlifed/model/verify"
)

// seed is that of the simulated tests, fixed before the first run.
const seed = 20261201

func sheetInk(t testing.TB) cure.Ink {
	t.Helper()
	ink, err := cure.Sheet{Shortest: 6 * time.Hour, Longest: 8 * time.Hour}.Calibrate()
	if err != nil {
		t.Fatal(err)
	}
	return ink
}

// fourJars are the four jars of one mix over two salts at 20 and 35 °C.
func fourJars(t testing.TB, dry, humid string) []jars.Jar {
	t.Helper()
	var all []jars.Jar
	for _, celsius := range []float64{20, 35} {
		for _, id := range []string{dry, humid} {
			salt, _ := verify.FindSalt(id)
			pct, _, err := salt.HumidityPct(celsius)
			if err != nil {
				t.Fatal(err)
			}
			all = append(all, jars.Jar{Mix: "1", Air: air.State{TemperatureC: celsius, HumidityPct: pct}})
		}
	}
	return all
}

// Four jars of one mix over MgCl2 and NaCl tell the activation energy to 3.3 kJ/mol and the moisture share to 0.06,
// which four batches do not; a wider range of humidities tells more.
func TestWhatFourJarsTell(t *testing.T) {
	plan, err := jars.Expect(sheetInk(t), fourJars(t, "magnesium-chloride", "sodium-chloride"), jars.DefaultNoise, 0)
	if err == nil {
		t.Error("jars that nobody looks at are taken")
	}
	if plan, err = jars.Expect(sheetInk(t), fourJars(t, "magnesium-chloride", "sodium-chloride"), jars.DefaultNoise, 5*time.Minute); err != nil {
		t.Fatal(err)
	}
	t.Logf("%+v", plan)
	if a := plan.After; !(a.ActivationKJPerMol <= 3.5 && a.MoistureShare <= 0.062) {
		t.Errorf("one mix: %+v, want 3.3 and 0.06", a)
	}
	if a := plan.Apart; !(a.ActivationKJPerMol > 5 && a.MoistureShare > 0.085) {
		t.Errorf("four mixes: %+v, want 6.8 and 0.10", a)
	}
	wide, err := jars.Expect(sheetInk(t), fourJars(t, "lithium-chloride", "potassium-chloride"), jars.DefaultNoise, 5*time.Minute)
	if err != nil || !(wide.After.MoistureShare < 0.7*plan.After.MoistureShare) {
		t.Errorf("LiCl and KCl: %+v, %v", wide.After, err)
	}
}

// Simulated tests of inks that are as the data sheet's spreads say: the fit is off by what it says.
func TestTheFitIsAsSureAsItSays(t *testing.T) {
	tests := 200
	if os.Getenv("POTLIFED_LONG") != "" {
		tests = 1500
	}
	ink := sheetInk(t)
	for _, row := range []struct {
		name string
		look time.Duration
		last float64 // h after which nobody looks any more
	}{{"every 5 minutes", 5 * time.Minute, 1000}, {"every half hour", 30 * time.Minute, 1000}, {"until the evening", 10 * time.Minute, 7}} {
		var heat, moisture counted
		for number := range tests {
			rng := rand.New(rand.NewPCG(seed, uint64(number)))
			truth := ink
			truth.MoistureShare = within(rng, ink.MoistureShare, ink.MoistureSpread, cure.MinMoistureShare, cure.MaxMoistureShare)
			truth.ActivationKJPerMol = within(rng, ink.ActivationKJPerMol, ink.ActivationSpread, cure.MinActivationKJPerMol, cure.MaxActivationKJPerMol)
			open := cure.Place{Exposure: 1}
			known := math.Log(cure.StillAir(ink, open, ink.KnownIn()).LifeH / cure.StillAir(truth, open, ink.KnownIn()).LifeH)
			common := known + ink.LifeLnSpread*rng.NormFloat64() + ink.Sigma*rng.NormFloat64()
			var results []jars.Result
			for _, j := range fourJars(t, "magnesium-chloride", "sodium-chloride") {
				end := math.Exp(math.Log(cure.StillAir(truth, open, j.Air).LifeH) + common + jars.DefaultNoise*rng.NormFloat64())
				look := row.look.Hours()
				good := max(math.Floor(end/look)*look, look/2)
				r := jars.Result{Jar: j, LastGoodH: good, EndedH: max(good+look, end)}
				if end > row.last {
					r.LastGoodH, r.EndedH = row.last, 0
				}
				results = append(results, r)
			}
			told, err := jars.Fit(ink, results, jars.DefaultNoise)
			if err != nil {
				t.Fatal(err)
			}
			heat.add(told.ActivationKJPerMol-truth.ActivationKJPerMol, told.After.ActivationKJPerMol)
			moisture.add(told.MoistureShare-truth.MoistureShare, told.After.MoistureShare)
		}
		n := float64(tests)
		t.Logf("%s: activation energy rms %.2f kJ/mol, %.1f %% in the 80 %% band; moisture share rms %.4f, %.1f %%",
			row.name, math.Sqrt(heat.square/n), 100*heat.inside/n, math.Sqrt(moisture.square/n), 100*moisture.inside/n)
		margin := 200 * math.Sqrt(0.8*0.2/n)
		for name, c := range map[string]counted{"activation energy": heat, "moisture share": moisture} {
			if in := 100 * c.inside / n; in < 77-margin || in > 83+margin {
				t.Errorf("%s, %s: %.1f %% in the band, want 77 to 83", row.name, name, in)
			}
		}
		slack := math.Sqrt(2 / n) // two standard errors of the ratio
		if off := math.Sqrt(heat.square / heat.said); off < 0.9-slack || off > 1.1+slack {
			t.Errorf("%s: the activation energy is off by %.2f of what is said", row.name, off)
		}
		if off := math.Sqrt(moisture.square / moisture.said); off < 0.9-slack || off > 1.1+slack {
			t.Errorf("%s: the moisture share is off by %.2f of what is said", row.name, off)
		}
	}
}

// A jar that was still good at the last look tells as little or as much as it should: much later than expected moves the
// result, earlier than expected next to nothing, and the fit stays as sure as it says.
func TestJarsWhoseEndNobodySaw(t *testing.T) {
	ink, four := sheetInk(t), fourJars(t, "magnesium-chloride", "sodium-chloride")
	expected, err := jars.Expect(ink, four, jars.DefaultNoise, 10*time.Minute)
	if err != nil {
		t.Fatal(err)
	}
	// All jars end as expected; of the dry one at 20 °C, the last to end, there is only a look.
	results := func(good, gone float64) []jars.Result {
		var all []jars.Result
		for _, j := range expected.Jars {
			all = append(all, jars.Result{Jar: j.Jar, LastGoodH: j.ExpectedH - 0.05, EndedH: j.ExpectedH + 0.05})
		}
		all[0].LastGoodH, all[0].EndedH = good, gone
		return all
	}
	fit := func(good, gone float64) jars.Told {
		told, err := jars.Fit(ink, results(good, gone), jars.DefaultNoise)
		if err != nil {
			t.Fatal(err)
		}
		return told
	}
	at := expected.Jars[0].ExpectedH
	seen, early, late := fit(at-0.05, at+0.05), fit(at*0.6, 0), fit(at*1.3, 0)
	if d := early.MoistureShare - ink.MoistureShare; math.Abs(d) > 0.02 {
		t.Errorf("a jar left while it was good moves the share by %.3f", d)
	}
	if !(early.After.MoistureShare > 1.05*seen.After.MoistureShare && early.After.MoistureShare <= seen.Before.MoistureShare) {
		t.Errorf("share ± %.3f with a jar whose end nobody saw, ± %.3f where it was seen", early.After.MoistureShare, seen.After.MoistureShare)
	}
	if !(late.MoistureShare > ink.MoistureShare+0.05) || late.Residuals[0] <= 0 || early.Residuals[0] != 0 {
		t.Errorf("good long after its expected end: %+v", late)
	}
	gone := fit(0, at*0.7)
	if !(gone.MoistureShare < ink.MoistureShare-0.05) || gone.Residuals[0] >= 0 {
		t.Errorf("gone off long before its expected end: %+v", gone)
	}
	// A look far beyond every tail still gives a result.
	if told := fit(999, 0); math.IsNaN(told.MoistureShare) || math.IsNaN(told.ActivationKJPerMol) {
		t.Errorf("%+v", told)
	}
}

type counted struct{ square, said, inside float64 }

func (c *counted) add(off, spread float64) {
	c.square += off * off
	c.said += spread * spread
	if math.Abs(off) <= 1.2816*spread {
		c.inside++
	}
}

func within(rng *rand.Rand, centre, spread, least, most float64) float64 {
	for {
		if v := centre + spread*rng.NormFloat64(); v >= least && v <= most {
			return v
		}
	}
}

func TestJarsThatTellNothingAreRefused(t *testing.T) {
	ink, jar := sheetInk(t), jars.Jar{Mix: "1", Air: air.State{TemperatureC: 20, HumidityPct: 33}}
	for name, results := range map[string][]jars.Result{
		"one jar": {{jar, 5, 6}}, "ended before it was good": {{jar, 5, 4}, {jar, 5, 6}}, "never looked at": {{jar, 0, 0}, {jar, 5, 6}},
		"not a number": {{jar, math.NaN(), 4}, {jar, 5, 6}}, "no air": {{jars.Jar{Air: air.State{HumidityPct: 120}}, 3, 4}, {jar, 5, 6}},
	} {
		if _, err := jars.Fit(ink, results, jars.DefaultNoise); err == nil {
			t.Errorf("%s: taken", name)
		}
	}
}
