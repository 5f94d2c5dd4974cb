package learn

import (
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"potlifed/model/air"
	"potlifed/model/cure"
	"potlifed/model/lifecycle"
)

func ended(hours float64) Record { return Record{Kind: Ended, To: steady(20, 50, hours)} }
func alive(hours float64) Record { return Record{Kind: Alive, To: steady(20, 50, hours)} }

func fitOf(t *testing.T, records ...Record) Result {
	t.Helper()
	r := fitOne(Pair{Ink: "dial-satin", Sheet: usualInk(t), Records: records})
	if r.Fault != "" {
		t.Fatal(r.Fault)
	}
	return r
}

func TestNoDataGivesTheDataSheetBack(t *testing.T) {
	r := fitOf(t)
	if r.Posterior != r.Sheet {
		t.Errorf("posterior %+v, sheet %+v", r.Posterior, r.Sheet)
	}
	if _, assumed := r.Learned(); len(assumed) != 4 {
		t.Errorf("assumed: %v", assumed)
	}
	if _, err := r.Accept(nil); !errors.Is(err, ErrNothingLearned) {
		t.Errorf("accepted: %v", err)
	}
	if !strings.Contains(r.Verdict(), "data sheet stands") {
		t.Error(r.Verdict())
	}
}

func TestFewDataGiveTheDataSheetBackNotNoise(t *testing.T) {
	// One end a fifth too early, one batch that was used up in time.
	r := fitOf(t, ended(5.6), alive(5))
	if ratio := r.LifeRatio.Value; ratio < 0.9 || ratio > 1 {
		t.Errorf("two batches moved the life to %v of the sheet's", ratio)
	}
	near(t, "share", r.MoistureShare.Value, r.Sheet.MoistureShare, 0.01)
	near(t, "activation energy", r.ActivationKJPerMol.Value, 50, 0.5)
	near(t, "sigma", r.Sigma.Value, 0.15, 0.03)
	if learned, _ := r.Learned(); len(learned) != 0 {
		t.Errorf("learned from two batches: %v", learned)
	}
}

func TestManyBatchesOverrideTheSheet(t *testing.T) {
	w := truthAt(usualInk(t), -2, 0, 0, 0)
	r := fitOf(t, w.batches(rand.New(rand.NewPCG(3, 4)), 150)...)
	near(t, "life ratio", r.LifeRatio.Value, math.Exp(-0.2), 0.03)
	if !r.LifeRatio.Learned || r.LongerThanSheet {
		t.Errorf("%+v", r.LifeRatio)
	}
	accepted, err := r.Accept(nil)
	if err != nil {
		t.Fatal(err)
	}
	if accepted.Life.Valid() != nil || accepted.Life.LifeLnSpread > 0.03 {
		t.Errorf("%+v", accepted.Life)
	}
	if !strings.Contains(accepted.Verdict, "% less than its data sheet says, 90 % interval") {
		t.Error(accepted.Verdict)
	}
	text, err := json.Marshal(accepted)
	if err != nil {
		t.Fatal(err)
	}
	var back Accepted
	if err := json.Unmarshal(text, &back); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(accepted, back); diff != "" {
		t.Error(diff)
	}
}

// A cup from Friday that somebody calls good on Monday, among forty.
func TestOneForgottenCupChangesNothing(t *testing.T) {
	w := truthAt(usualInk(t), 0, 0, 0, 0)
	records := w.batches(rand.New(rand.NewPCG(3, 5)), 40)
	without := fitOf(t, records...)
	with := fitOf(t, append([]Record{{ID: "0612-9", Kind: Alive, To: steady(20, 50, 65)}}, records...)...)
	if with.LRefH.Value != without.LRefH.Value || with.Posterior != without.Posterior || with.LogLikelihood != without.LogLikelihood {
		t.Errorf("life %v with the forgotten cup, %v without", with.LRefH.Value, without.LRefH.Value)
	}
	if len(with.LeftOut) != 1 || with.LeftOut[0].ID != "0612-9" || !with.LeftOut[0].Impossible {
		t.Errorf("left out: %+v", with.LeftOut)
	}
	// The likelihood alone would take it at its word.
	plain := fitOne(Pair{Sheet: usualInk(t), Records: append([]Record{alive(65)}, records...)}, PriorNone())
	if plain.LRefH.Value < 1.1*without.LRefH.Value {
		t.Errorf("without a prior %v h: then this test shows nothing", plain.LRefH.Value)
	}
}

func TestImpossibleEndsAreListed(t *testing.T) {
	r := fitOf(t, Record{ID: "early", Kind: Ended, To: steady(20, 50, 0.5)}, Record{ID: "late", Kind: Ended, To: steady(20, 50, 40)},
		Record{ID: "between", Kind: Between, From: steady(20, 50, 40), To: steady(20, 50, 48)}, Record{ID: "nothing", Kind: Ended},
		ended(7), ended(6.5), ended(7.7))
	if r.Ends != 3 || len(r.LeftOut) != 4 || impossible(r) != 3 {
		t.Fatalf("%d ends, left out %+v", r.Ends, r.LeftOut)
	}
	if len(r.Cautions()) == 0 || !strings.Contains(r.Cautions()[0], "check them") {
		t.Errorf("%v", r.Cautions())
	}
	// A cup found dead on Monday ended at some time before: that says little, but it can be.
	if r := fitOf(t, Record{Kind: Between, To: steady(20, 50, 65)}); r.Ends != 1 {
		t.Errorf("%+v", r)
	}
}

func TestALongerLifeNeedsATest(t *testing.T) {
	w := truthAt(usualInk(t), 1.5, 0, 0, 0)
	r := fitOf(t, w.batches(rand.New(rand.NewPCG(3, 6)), 150)...)
	if !r.LongerThanSheet || !strings.Contains(r.Verdict(), "not used without") {
		t.Fatal(r.Verdict())
	}
	for _, c := range []struct {
		tests []Test
		ok    bool
	}{
		{nil, false},
		{[]Test{{Kind: "colour", Passed: true}}, false},
		{[]Test{{Kind: TestRub, Passed: false}}, false},
		{[]Test{{Kind: TestAdhesion, Passed: true}, {Kind: TestRub, Passed: false}}, false},
		{[]Test{{Kind: TestAdhesion, Passed: true}}, true},
		{[]Test{{Kind: TestRub, Passed: true}, {Kind: "colour", Passed: false}}, true},
	} {
		if _, err := r.Accept(c.tests); (err == nil) != c.ok || err != nil && !errors.Is(err, ErrNeedsTest) {
			t.Errorf("%+v: %v", c.tests, err)
		}
	}
}

// As long at 50 %, but longer in humid air than the data sheet says there.
func TestLongerInHumidAirAloneIsLonger(t *testing.T) {
	sheet := usualInk(t)
	learned := sheet
	learned.LRefH *= 0.99
	if longerSomewhere(learned, sheet) {
		t.Error("shorter everywhere")
	}
	learned.MoistureShare = 0.1
	if !longerSomewhere(learned, sheet) {
		t.Error("longer at the humid end")
	}
}

func TestAnInkWithFewBatchesLeansOnTheShop(t *testing.T) {
	w := truthAt(usualInk(t), -1.5, 0, 0, 0)
	random := rand.New(rand.NewPCG(3, 7))
	few := Pair{Ink: "few", Sheet: usualInk(t), Records: []Record{ended(6.8)}}
	alone := fitOne(few)
	together := FitShop([]Pair{few, {Ink: "a", Sheet: usualInk(t), Records: w.batches(random, 100)},
		{Ink: "b", Sheet: usualInk(t), Records: w.batches(random, 100)}, {Ink: "none", Sheet: usualInk(t)}})
	if !(together[0].LifeRatio.Value < alone.LifeRatio.Value-0.02) || together[0].LifeRatio.Learned {
		t.Errorf("alone %v, in the shop %v", alone.LifeRatio.Value, together[0].LifeRatio.Value)
	}
	// Correlation ½ among three: an ink without batches goes two thirds of the way to the mean of the two.
	want := math.Exp(math.Log(together[1].LifeRatio.Value*together[2].LifeRatio.Value) / 2 * 2 / 3)
	if got := together[3].LifeRatio.Value; math.Abs(got-want) > 0.02 {
		t.Errorf("an ink without batches is put at %v, want about %v", got, want)
	}
	for i, ink := range []string{"few", "a", "b", "none"} {
		if together[i].Ink != ink {
			t.Errorf("%d is %s", i, together[i].Ink)
		}
	}
}

// A shop that is always at 27 °C learns the life there, and its next batch is as sure as that,
// though the activation energy is as open as before.
func TestTheLifeIsKnownWhereTheShopIs(t *testing.T) {
	w := truthAt(usualInk(t), 0, 0, 2, 0)
	random := rand.New(rand.NewPCG(3, 8))
	a := air.State{TemperatureC: 27, HumidityPct: 50}
	var records []Record
	for range 60 {
		records = append(records, Record{Kind: Ended, To: steady(27, 50, w.life(a)*math.Exp(w.sigma*random.NormFloat64()))})
	}
	r := fitOf(t, records...)
	if r.ActivationKJPerMol.Learned {
		t.Error("one temperature cannot show an activation energy")
	}
	near(t, "temperature of the life", r.Posterior.AtTemperatureC, 27, 1)
	low, high := band(r.Posterior, a)
	if width := math.Log(high / low); width > 2*1.2816*0.19 {
		t.Errorf("the band at 27 °C has ln width %v", width)
	}
	if life := cure.StillAir(r.Posterior, cure.Place{Exposure: 1}, a).LifeH; math.Abs(life/w.life(a)-1) > 0.06 {
		t.Errorf("life at 27 °C %v, truly %v", life, w.life(a))
	}
}

// A shop that covers its cups learns the life of covered cups: what it does not know of the
// moisture share must not widen their band.
func TestTheLifeIsKnownAsCoveredAsTheCupsAre(t *testing.T) {
	w := truthAt(usualInk(t), 0, 0, 0, 0)
	random := rand.New(rand.NewPCG(3, 10))
	a, covered := air.State{TemperatureC: 21, HumidityPct: 55}, cure.Place{Exposure: 0.5}
	life := cure.StillAir(w.ink, covered, a).LifeH
	var records []Record
	scatter := math.Hypot(w.sigma, w.ink.MoistureShare*0.5*cure.ExposureSpread(0.5))
	for range 60 {
		age := life * math.Exp(scatter*random.NormFloat64()) * float64(time.Hour)
		records = append(records, Record{Kind: Ended, To: Steady(covered, a, time.Duration(age))})
	}
	r := fitOf(t, records...)
	if known := r.Posterior.KnownIn().HumidityPct; known < 15 || known > 40 {
		t.Errorf("the life is said to be known best in air of %v %%, these cups stood in half of 55", known)
	}
	if r.Posterior.LifeLnSpread > 0.03 {
		t.Errorf("after 60 ends the life there is known to %v", r.Posterior.LifeLnSpread)
	}
	near(t, "sigma without the covers' part", r.Sigma.Value, w.sigma, 0.02)
}

func TestPlainLikelihoodWithoutAnEnd(t *testing.T) {
	r := fitOne(Pair{Sheet: usualInk(t), Records: []Record{alive(5), alive(6)}}, PriorNone())
	if r.LRefH.SE != nil || r.Undetermined == "" || r.LRefH.Value != r.Sheet.LRefH {
		t.Errorf("%+v", r)
	}
	if _, err := r.Accept(nil); err == nil {
		t.Error("a plain fit was accepted")
	}
	if r := fitOne(Pair{Sheet: usualInk(t), Records: []Record{ended(6)}}, PriorNone()); math.Abs(r.LRefH.Value-6) > 1e-6 || r.Undetermined == "" {
		t.Errorf("one end: %+v", r)
	}
	if r := fitOne(Pair{}); r.Fault == "" {
		t.Error("an ink that is not valid has a result")
	}
}

func TestWeighingErrorIsPartOfTheScatter(t *testing.T) {
	records := []Record{ended(6), ended(8.2), ended(7.1), ended(6.3), ended(8), ended(7)}
	plain := fitOf(t, records...)
	for i := range records {
		records[i].Weighing = 0.08
	}
	if weighed := fitOf(t, records...); weighed.Sigma.Value >= plain.Sigma.Value {
		t.Errorf("sigma %v with a weighing error, %v without", weighed.Sigma.Value, plain.Sigma.Value)
	}
}

func TestOneRecordAMix(t *testing.T) {
	ink := usualInk(t)
	in := func(id, mix string, r Record) Record { r.ID, r.Mix = id, mix; return r }
	kept, left := OneAMix([]Record{
		in("a", "1", alive(3)), in("b", "1", ended(7)), in("c", "1", ended(6)), in("d", "1", alive(9)),
		in("e", "2", alive(3)), in("f", "2", alive(5)), in("g", "", alive(1)), in("h", "", alive(1)),
	}, ink)
	ids := ""
	for _, r := range kept {
		ids += r.ID
	}
	if ids != "cfgh" || len(left) != 4 {
		t.Errorf("kept %s, left out %+v", ids, left)
	}
}

func TestAccounts(t *testing.T) {
	mixed := time.Date(2026, 6, 12, 8, 0, 0, 0, time.UTC)
	at := func(h float64) time.Time {
		if h < 0 {
			return time.Time{}
		}
		return mixed.Add(time.Duration(h * float64(time.Hour)))
	}
	hours := func(h float64) time.Duration { return time.Duration(h * float64(time.Hour)) }
	const never = -1
	for _, c := range []struct {
		outcome lifecycle.Outcome
		good    lifecycle.StillGood
		looked  float64
		now     bool
		want    Evidence
		fault   string // field, or "nothing"
	}{
		{lifecycle.WentOff, "", never, false, Evidence{Kind: Ended, From: hours(6), To: hours(7), Noted: true}, ""},
		{lifecycle.WentOff, "", never, true, Evidence{Kind: Ended, To: hours(7)}, ""},
		{lifecycle.WentOff, lifecycle.GoodNo, 4, false, Evidence{Kind: Between, From: hours(4), To: hours(7)}, ""},
		{lifecycle.WentOff, "", 0, false, Evidence{Kind: Between, To: hours(7)}, ""},
		{lifecycle.WentOff, lifecycle.GoodUnknown, 4, true, Evidence{Kind: Ended, To: hours(7)}, ""},
		{lifecycle.WentOff, "", 7, false, Evidence{Kind: Ended, To: hours(7)}, ""},
		{lifecycle.WentOff, lifecycle.GoodYes, never, false, Evidence{}, "still_good"},
		{lifecycle.UsedUp, "", never, false, Evidence{Kind: Alive, To: hours(7)}, ""},
		{lifecycle.UsedUp, lifecycle.GoodYes, 4, false, Evidence{Kind: Alive, To: hours(7)}, ""},
		{lifecycle.UsedUp, lifecycle.GoodUnknown, 4, false, Evidence{Kind: Alive, To: hours(4)}, ""},
		{lifecycle.UsedUp, lifecycle.GoodUnknown, never, false, Evidence{}, "nothing"},
		{lifecycle.UsedUp, lifecycle.GoodNo, 4, false, Evidence{Kind: Between, From: hours(4), To: hours(7)}, ""},
		{lifecycle.Discarded, "", never, false, Evidence{}, "nothing"},
		{lifecycle.Discarded, lifecycle.GoodUnknown, 4, false, Evidence{Kind: Alive, To: hours(4)}, ""},
		{lifecycle.Discarded, lifecycle.GoodYes, never, false, Evidence{Kind: Alive, To: hours(7)}, ""},
		{lifecycle.Discarded, lifecycle.GoodNo, never, false, Evidence{Kind: Between, To: hours(7)}, ""},
		{lifecycle.NotKnown, "", 4, false, Evidence{Kind: Alive, To: hours(4)}, ""},
		{lifecycle.NotKnown, "", 0, false, Evidence{}, "nothing"},
		{"lost", "", never, false, Evidence{}, "outcome"},
		{lifecycle.UsedUp, "perhaps", never, false, Evidence{}, "still_good"},
		{lifecycle.UsedUp, "", 8, false, Evidence{}, "last_good_at"},
	} {
		a := Account{MixedAt: mixed, ClosedAt: at(7), LastGoodAt: at(c.looked), Outcome: c.outcome, StillGood: c.good, SeenNow: c.now}
		got, err := a.Evidence()
		var contradiction *AccountError
		switch {
		case c.fault == "nothing" && errors.Is(err, ErrNothingKnown):
		case errors.As(err, &contradiction) && contradiction.Field == c.fault:
		case err == nil && c.fault == "" && got == c.want:
		default:
			t.Errorf("%+v: %+v, %v", c, got, err)
		}
	}
	for _, a := range []Account{
		{MixedAt: mixed, ClosedAt: mixed, Outcome: lifecycle.UsedUp},
		{MixedAt: mixed, ClosedAt: mixed.Add(-time.Hour), Outcome: lifecycle.UsedUp},
		{MixedAt: mixed, ClosedAt: at(7), LastGoodAt: mixed.Add(-time.Minute), Outcome: lifecycle.UsedUp},
	} {
		if _, err := a.Evidence(); err == nil {
			t.Errorf("%+v was believed", a)
		}
	}
}

// A journey of many steps is the same under any ink as the nominal member's.
func TestJourneyHasTheEnsemblesDose(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		state := func() air.State {
			return air.State{TemperatureC: rapid.Float64Range(5, 40).Draw(t, "T"), HumidityPct: rapid.Float64Range(0, 100).Draw(t, "RH")}
		}
		ink := cure.Ink{LRefH: 7, MoistureShare: rapid.Float64Range(0, 0.75).Draw(t, "s"), Sigma: 0.15,
			ActivationKJPerMol: rapid.Float64Range(25, 90).Draw(t, "Ea"), AtTemperatureC: 20}
		place := cure.Place{Exposure: rapid.Float64Range(0.1, 1).Draw(t, "phi"), Lag: 25 * time.Minute}
		from := state()
		journey, ensemble := NewJourney(from), cure.New(ink, cure.Sensor{Exact: true}, 0, from)
		for range rapid.IntRange(1, 12).Draw(t, "steps") {
			step := cure.Step{Duration: time.Duration(rapid.Int64Range(1, 180).Draw(t, "minutes")) * time.Minute, From: from, To: state(), Kind: cure.Measured}
			journey.Advance(place, step)
			ensemble.Advance(place, step)
			from = step.To
		}
		lived := journey.Lived()
		if got, want := lived.Dose(ink), ensemble.Spent(); math.Abs(got/want-1) > 2e-5 {
			t.Fatalf("dose %v, nominal %v", got, want)
		}
		if got, want := math.Exp(lived.rate(priorOf(ink).centre).v)/7, ensemble.Rate(place, from); math.Abs(got/want-1) > 1e-9 {
			t.Fatalf("rate %v, nominal %v", got, want)
		}
		if math.Abs(lived.Hours()-ensemble.Age().Hours()) > 1e-9 {
			t.Fatalf("age %v, %v", lived.Hours(), ensemble.Age())
		}
	})
}

// Six temperatures stand for any number of them.
func TestGaussRuleKeepsTheIntegral(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 9))
	var points []warm
	for range 3000 {
		points = append(points, warm{lnHeat: cure.LnHeat(12 + 20*random.Float64()), hours: random.Float64() / 100})
	}
	whole, few := Lived{heat: points}, Lived{heat: gaussRule(points)}
	if len(few.heat) != rulePoints {
		t.Fatalf("%d points", len(few.heat))
	}
	for _, activation := range []float64{0, 25, 50, 90} {
		h, first, second := whole.heatHours(activation)
		g, gFirst, gSecond := few.heatHours(activation)
		near(t, "hours", g/h, 1, 1e-9)
		near(t, "first derivative", gFirst/h, first/h, 1e-9)
		near(t, "second derivative", gSecond/h, second/h, 1e-9)
	}
	// Two temperatures stay two.
	if two := gaussRule([]warm{{0.01, 1}, {0.02, 2}, {0.01, 1}}); len(two) != 2 {
		t.Errorf("%+v", two)
	}
}

// The derivatives that Newton's method and the standard errors rest on.
func TestDerivativesOfTheLikelihood(t *testing.T) {
	p := priorOf(usualInk(t))
	for _, record := range []Record{
		ended(6), alive(9), {Kind: Between, To: steady(25, 70, 5)}, {Kind: Between, From: steady(25, 70, 3), To: steady(25, 70, 5)},
		{Kind: Between, From: steady(28, 70, 9), To: steady(28, 70, 10)}, {Kind: Ended, To: steady(30, 80, 4), Weighing: 0.07}, alive(60),
	} {
		at := p.centre
		here := record.logLikelihood(at, &p.sheet)
		for q := range parameters {
			h := 1e-5 * max(1, math.Abs(at[q]))
			up, down := at, at
			up[q] += h
			down[q] -= h
			a, b := record.logLikelihood(up, &p.sheet), record.logLikelihood(down, &p.sheet)
			near(t, "gradient", here.d[q], (a.v-b.v)/(2*h), 1e-5*(1+math.Abs(here.d[q])))
			for r := 0; r <= q; r++ {
				near(t, "Hessian", here.h[q][r], (a.d[r]-b.d[r])/(2*h), 1e-4*(1+math.Abs(here.h[q][r])))
			}
		}
	}
}

// Whatever is written down, the answer is finite, and an interval has its estimate in it.
func FuzzFit(f *testing.F) {
	f.Add(uint64(1), 20.0, 50.0, 7.0, 5)
	f.Add(uint64(2), 85.0, 100.0, 1000.0, 30)
	f.Add(uint64(3), -40.0, 0.0, 1e-9, 3)
	f.Add(uint64(1), -40.0, -78.0, 1e-9, 103) // the moisture share is at its bound
	f.Fuzz(func(t *testing.T, seed uint64, temperature, humidity, hours float64, n int) {
		if !(hours >= 0 && hours < 1e5) {
			t.Skip()
		}
		random := rand.New(rand.NewPCG(seed, 0))
		var records []Record
		for range min(max(n, 0), 40) {
			to := steady(temperature+random.NormFloat64(), humidity+random.NormFloat64(), hours*random.Float64())
			from := Lived{}
			if random.IntN(2) == 0 {
				from = steady(temperature, humidity, hours*random.Float64())
			}
			records = append(records, Record{Kind: []Kind{Ended, Between, Alive}[random.IntN(3)], From: from, To: to, Weighing: random.Float64() / 5})
		}
		for _, r := range []Result{fitOne(Pair{Sheet: usualInk(t), Records: records}), fitOne(Pair{Sheet: usualInk(t), Records: records}, PriorNone())} {
			if _, err := json.Marshal(r); err != nil {
				t.Fatalf("%v: %+v", err, r)
			}
			if r.Fault == "" && !r.PriorNone && r.Posterior.Valid() != nil {
				t.Fatalf("%v: %+v", r.Posterior.Valid(), r)
			}
			if r.Fault == "" && !(r.LRefH.Value > 0) {
				t.Fatalf("%+v", r)
			}
			for _, e := range []Estimate{r.LifeRatio, r.LRefH, r.MoistureShare, r.ActivationKJPerMol, r.Sigma} {
				if e.Interval != nil && !(e.Interval[0] <= e.Value && e.Value <= e.Interval[1]) {
					t.Fatalf("%v is not in %v", e.Value, *e.Interval)
				}
			}
			_, _ = r.Accept([]Test{{Kind: TestRub, Passed: true}})
			_ = r.Cautions()
		}
	})
}

// Budget: 2 s for 1,000 batches along climates of minutes, walking included.
func BenchmarkFit1000Batches(b *testing.B) {
	ink := usualInk(b)
	w := truthAt(ink, -1, 0, 0, 0)
	for b.Loop() {
		random := rand.New(rand.NewPCG(3, 10))
		var records []Record
		for range 1000 {
			from := shopAir(random)
			end := w.life(from) * math.Exp(w.sigma*random.NormFloat64())
			journey := NewJourney(from)
			for range int(end * 60) {
				to := air.State{TemperatureC: from.TemperatureC + 0.02*random.NormFloat64(), HumidityPct: from.HumidityPct}
				journey.Advance(cure.Place{Exposure: 1, Lag: 25 * time.Minute}, cure.Step{Duration: time.Minute, From: from, To: to})
				from = to
			}
			records = append(records, Record{Kind: []Kind{Ended, Alive}[random.IntN(2)], To: journey.Lived()})
		}
		if r := fitOne(Pair{Sheet: ink, Records: records}); r.Fault != "" {
			b.Fatal(r.Fault)
		}
	}
}

// The fit alone, the climates walked.
func BenchmarkFit1000Walked(b *testing.B) {
	ink := usualInk(b)
	records := truthAt(ink, -1, 0, 0, 0).batches(rand.New(rand.NewPCG(3, 11)), 1000)
	for b.Loop() {
		if r := fitOne(Pair{Sheet: ink, Records: records}); r.Fault != "" {
			b.Fatal(r.Fault)
		}
	}
}

func impossible(r Result) int {
	n, _ := r.Impossible()
	return n
}
