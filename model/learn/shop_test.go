package learn

import (
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"potlifed/model/air"
	"potlifed/model/cure"
)

// truth is an ink as it really is.
type truth struct {
	ink   cure.Ink
	sigma float64
}

// truthAt is the ink whose parameters lie so many prior spreads from the centre.
func truthAt(prior cure.Ink, life, share, activation, lnSigma float64) truth {
	p := priorOf(prior)
	at := p.centre
	for q, z := range []float64{life, share, activation, lnSigma} {
		at[q] = min(max(at[q]+z*p.known[q], priorLow[q]), priorHigh[q])
	}
	ink := prior
	ink.LRefH, ink.MoistureShare, ink.ActivationKJPerMol = math.Exp(p.lnLRef(at).v), at[pShare], at[pActivation]
	return truth{ink: ink, sigma: math.Exp(at[pLnSigma])}
}

// drawTruth draws an ink from what is known beforehand.
func drawTruth(random *rand.Rand, prior cure.Ink) truth {
	p := priorOf(prior)
	inside := func(q int, low, high float64) float64 {
		for {
			if x := p.centre[q] + p.known[q]*random.NormFloat64(); x > low && x < high {
				return (x - p.centre[q]) / p.known[q]
			}
		}
	}
	return truthAt(prior, random.NormFloat64(), inside(pShare, cure.MinMoistureShare, cure.MaxMoistureShare),
		inside(pActivation, cure.MinActivationKJPerMol, cure.MaxActivationKJPerMol), inside(pLnSigma, math.Log(cure.MinSigma), math.Log(cure.MaxSigma)))
}

// shopAir is the air of a batch: a season and a day's own weather.
func shopAir(random *rand.Rand) air.State {
	return air.State{TemperatureC: 16 + 16*random.Float64(), HumidityPct: 25 + 60*random.Float64()}
}

func (w truth) life(a air.State) float64 {
	return cure.StillAir(w.ink, cure.Place{Exposure: 1}, a).LifeH
}

// usedUpLn is the centre of ln(time until used up / life) that makes 60 % of batches used up
// when its spread is 0.35 and sigma 0.15.
const usedUpLn, usedUpSpread = -0.0965, 0.35

// batch mixes one, and it is used up or seen to end, whichever comes first, without regard to each other.
func (w truth) batch(random *rand.Rand) Record {
	a := shopAir(random)
	life := w.life(a)
	end, gone := life*math.Exp(w.sigma*random.NormFloat64()), life*math.Exp(usedUpLn+usedUpSpread*random.NormFloat64())
	if gone < end {
		return Record{Kind: Alive, To: steady(a.TemperatureC, a.HumidityPct, gone)}
	}
	return Record{Kind: Ended, To: steady(a.TemperatureC, a.HumidityPct, end)}
}

func (w truth) batches(random *rand.Rand, n int) []Record {
	records := make([]Record, n)
	for i := range records {
		records[i] = w.batch(random)
	}
	return records
}

// untilEnds mixes until so many ends were seen.
func (w truth) untilEnds(random *rand.Rand, ends int) []Record {
	var records []Record
	for ends > 0 {
		r := w.batch(random)
		if r.Kind == Ended {
			ends--
		}
		records = append(records, r)
	}
	return records
}

// tally gathers errors of one parameter over shops.
type tally struct{ n, sum, square, se, held float64 }

func (t *tally) add(e Estimate, truth, miss float64) {
	t.n++
	t.sum += miss
	t.square += miss * miss
	t.se += *e.SE
	if truth >= e.Interval[0] && truth <= e.Interval[1] {
		t.held++
	}
}

// long says that the statistics run over all their shops.
var long = os.Getenv("POTLIFED_LONG") != ""

// simulated returns the number of simulated shops of a case: all with POTLIFED_LONG=1, else few, and
// says so. Under -short the test is skipped.
func simulated(t *testing.T, all, few int) int {
	t.Helper()
	switch {
	case testing.Short():
		t.Skip("statistics over simulated shops; run without -short")
	case !long:
		t.Logf("statistics over %d simulated shops a case instead of %d; set POTLIFED_LONG=1 for all", few, all)
		return few
	}
	return all
}

// sampling returns by how much a share observed in n simulated shops may miss the true share p (both
// 0..1): three standard errors of the binomial distribution. It widens the bounds of a short run,
// whose own error is larger than their margin; with POTLIFED_LONG=1 it is 0.
func sampling(p float64, n float64) float64 {
	if long {
		return 0
	}
	return 3 * math.Sqrt(p*(1-p)/n)
}

func TestRecoversKnownParameters(t *testing.T) {
	const batches = 200
	shops := simulated(t, 1000, 200)
	ink := usualInk(t)
	random := rand.New(rand.NewPCG(3, 1))
	var life, share, activation, sigma tally
	censored := 0.0
	for range shops {
		w := drawTruth(random, ink)
		r := fitOne(Pair{Sheet: ink, Records: w.batches(random, batches)})
		if r.Fault != "" {
			t.Fatal(r.Fault)
		}
		censored += r.CensoredShare() / float64(shops)
		life.add(r.LRefH, w.ink.LRefH, r.LRefH.Value/w.ink.LRefH-1)
		share.add(r.MoistureShare, w.ink.MoistureShare, r.MoistureShare.Value-w.ink.MoistureShare)
		activation.add(r.ActivationKJPerMol, w.ink.ActivationKJPerMol, r.ActivationKJPerMol.Value-w.ink.ActivationKJPerMol)
		sigma.add(r.Sigma, w.sigma, r.Sigma.Value-w.sigma)
	}
	report := func(what string, of *tally, mostBias float64) {
		bias, held := of.sum/of.n, of.held/of.n
		t.Logf("%-18s bias %+.5f, rms error %.5f, mean se %.5f, in the 90 %% interval %.1f %%", what, bias, math.Sqrt(of.square/of.n), of.se/of.n, 100*held)
		if !long {
			// The mean over few shops has an error of its own: three standard errors of it.
			mostBias += 3 * math.Sqrt(of.square/of.n/of.n)
		}
		if math.Abs(bias) > mostBias {
			t.Errorf("%s: bias %v is more than %v", what, bias, mostBias)
		}
		if margin := sampling(0.9, of.n); held < 0.87-margin || held > 0.93+margin {
			t.Errorf("%s: the 90 %% interval holds the truth in %.1f %% of shops", what, 100*held)
		}
	}
	t.Logf("%.1f %% censored", 100*censored)
	if censored < 0.55 || censored > 0.65 {
		t.Error("these are not the shops that the test is about")
	}
	report("L_ref (relative)", &life, 0.01)
	report("share", &share, share.se/share.n/3)
	report("activation energy", &activation, activation.se/activation.n/3)
	report("sigma", &sigma, sigma.se/sigma.n/3)
}

// A shop whose ink is not as its data sheet says: after 20 ends the band of the next batch holds
// its end in 80 % of cases all the same.
func TestWrongPriorsAfterTwentyEnds(t *testing.T) {
	shops := simulated(t, 800, 40)
	ink := usualInk(t)
	random := rand.New(rand.NewPCG(3, 2))
	all, allHeld := 0, 0
	for _, wrong := range []struct {
		what                            string
		life, share, activation, spread float64
	}{
		{"life +1", 1, 0, 0, 0}, {"life -1", -1, 0, 0, 0}, {"life +2", 2, 0, 0, 0}, {"life -2", -2, 0, 0, 0},
		{"all +1", 1, 1, 1, 1}, {"all -1", -1, -1, -1, -1}, {"share, Ea +2", 0, 2, 2, 0}, {"share, Ea -2", 0, -2, -2, 0},
		{"sigma +1", 0, 0, 0, 1}, {"sigma -1", 0, 0, 0, -1}, {"sigma +2", 0, 0, 0, 2}, {"sigma -2", 0, 0, 0, -2},
		{"all +2", 2, 2, 2, 2}, {"all -2", -2, -2, -2, -2},
	} {
		w := truthAt(ink, wrong.life, wrong.share, wrong.activation, wrong.spread)
		before, after, early := 0, 0, 0
		for range shops {
			r := fitOne(Pair{Sheet: ink, Records: w.untilEnds(random, 20)})
			a := shopAir(random)
			end := w.life(a) * math.Exp(w.sigma*random.NormFloat64())
			low, high := band(r.Posterior, a)
			if low <= end && end <= high {
				after++
			}
			if end < low {
				early++
			}
			if low, high := band(ink, a); low <= end && end <= high {
				before++
			}
		}
		held := float64(after) / float64(shops)
		all, allHeld = all+shops, allHeld+after
		t.Logf("%-13s band holds the end of the next batch: %.1f %% (%.1f %% before low); by the data sheet alone %.1f %%",
			wrong.what, 100*held, 100*float64(early)/float64(shops), 100*float64(before)/float64(shops))
		if long && (held < 0.75 || held > 0.85) {
			t.Errorf("%s: %.1f %% is outside 75 to 85 %%", wrong.what, 100*held)
		}
	}
	// Few shops say nothing about a single row; together the rows must hold what each must hold.
	held, margin := float64(allHeld)/float64(all), sampling(0.8, float64(all))
	if held < 0.75-margin || held > 0.85+margin {
		t.Errorf("all rows: the band holds %.1f %% of %d ends, want 75 to 85 ± %.1f", 100*held, all, 100*margin)
	}
}

// band is low and high of a batch in still air.
func band(ink cure.Ink, a air.State) (low, high float64) {
	ends := cure.New(ink, cure.Sensor{Exact: true}, 0, a).Forecast(cure.Place{Exposure: 1}, a, 0, cure.WithoutDrift())
	return ends.Low.Hours(), ends.High.Hours()
}

// Informative censoring: people use thick ink up. Half of the ends are hidden as "used up" at 93
// % of that batch's life. The life comes out about 8 % long; the guard does not let it into
// effect.
func TestInformativeCensoringMakesTheLifeLongAndIsStopped(t *testing.T) {
	const batches = 400
	shops := simulated(t, 60, 20)
	ink := usualInk(t)
	random := rand.New(rand.NewPCG(3, 3))
	bias, plainBias, stopped := 0.0, 0.0, 0
	for range shops {
		w := truthAt(ink, 0, 0, 0, 0)
		var records []Record
		for range batches {
			a := shopAir(random)
			end := w.life(a) * math.Exp(w.sigma*random.NormFloat64())
			record := Record{Kind: Ended, To: steady(a.TemperatureC, a.HumidityPct, end)}
			if random.Float64() < 0.5 {
				record = Record{Kind: Alive, To: steady(a.TemperatureC, a.HumidityPct, 0.93*end)}
			}
			records = append(records, record)
		}
		r := fitOne(Pair{Sheet: ink, Records: records})
		bias += math.Log(r.LifeRatio.Value) / float64(shops)
		plainBias += math.Log(fitOne(Pair{Sheet: ink, Records: records}, PriorNone()).LifeRatio.Value) / float64(shops)
		if _, err := r.Accept(nil); err == ErrNeedsTest {
			stopped++
		}
	}
	t.Logf("the life comes out %.1f %% long, %.1f %% by the records alone; stopped in %d of %d shops",
		100*(math.Exp(bias)-1), 100*(math.Exp(plainBias)-1), stopped, shops)
	if bias < 0.06 || bias > 0.10 {
		t.Errorf("bias of ln life %v, want about 0.08", bias)
	}
	if stopped != shops {
		t.Error("a life that is too long got through the guard")
	}
}
