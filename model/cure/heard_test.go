package cure_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"pgregory.net/rapid"

	"potlifed/model/air"
	"potlifed/model/cure"
	"potlifed/model/flowcup"
	"potlifed/model/viscosity"
)

// seedHeard is the seed of the simulated shops that measure, fixed before the first run.
const seedHeard = 20261129

// thickening is how a simulated batch's viscosity really rises.
type thickening struct {
	start, rise, bend, share, perKelvin float64
}

// thicken draws a batch's curve from what is assumed of an unknown ink.
func thicken(rng *rand.Rand) thickening {
	a := viscosity.Assumed()
	return thickening{
		start: a.Start + 0.3*rng.NormFloat64(), rise: max(a.Rise+a.RiseSpread*rng.NormFloat64(), 0.05),
		bend: a.Bend, share: min(max(a.Share+a.ShareSpread*rng.NormFloat64(), 0.05), 0.95), perKelvin: a.PerKelvin + a.PerKelvinSd*rng.NormFloat64(),
	}
}

// sample is what a person measures at an age u of the batch: so many runs.
func (k thickening) sample(rng *rand.Rand, u, celsius float64, runs int) viscosity.Sample {
	c := viscosity.Curve{Bend: k.bend, Share: k.share}
	s, _ := c.Risen(u)
	thinnerOff := 0.3 * rng.NormFloat64() // percent points that nobody knows of
	common := k.start + k.rise*s - k.perKelvin*(celsius-23) - 0.08*thinnerOff + viscosity.CommonSpreadOfTime*rng.NormFloat64()
	v := viscosity.Sample{RunSpread: viscosity.RunSpreadOfTime, CommonSpread: viscosity.CommonSpreadOfTime, TemperatureC: celsius, ThinnerSd: 0.3}
	for range runs {
		v.LnRuns = append(v.LnRuns, common+viscosity.RunSpreadOfTime*rng.NormFloat64())
	}
	return v
}

// doseNow integrates the truth's dose to the present, as truth.end does.
func (s *shop) doseNow() float64 {
	const step = 5 * time.Minute
	dose, cup := 0.0, s.climate.at(s.mixedAt).TemperatureC
	for at := s.mixedAt; at.Before(s.now); at = at.Add(step) {
		d := min(step, s.now.Sub(at))
		a := s.climate.at(at.Add(d / 2))
		cup = a.TemperatureC + (cup-a.TemperatureC)*math.Exp(-d.Hours()/max(s.truth.lag.Hours(), 1e-3))
		dose += s.truth.rate(cup, a.VapourPressurePa()) * d.Hours()
	}
	return dose
}

// measureViscosity takes a sample now.
func (s *shop) measureViscosity(t testing.TB, rng *rand.Rand, k thickening, id uint64, runs int) {
	celsius := s.climate.at(s.now).TemperatureC
	if err := s.ensemble.Hear(id, viscosity.Assumed(), k.sample(rng, s.doseNow()/s.truth.endDose, celsius, runs)); err != nil {
		t.Fatal(err)
	}
}

// heardTally compares the same batches without samples and with them.
type heardTally struct{ without, with tally }

// hearShops lets batches live to three quarters of their median life in made-up climates, measures each fresh
// and then, and asks. Batches that are over by then are not there to be measured.
func hearShops(t *testing.T, each, runsFresh, runsLate int) heardTally {
	var sum heardTally
	climates := madeUpFiles(t)
	for batch := range each {
		rng := rand.New(rand.NewPCG(seedHeard, uint64(batch)))
		for {
			c := climates[batch%len(climates)]
			s := anySituation(rng)
			really, curve := ordinary().draw(rng, s), thicken(rng)
			mixedAt := someTime(c, rng)
			sh := newShop(s, really, c, mixedAt, 14*24*time.Hour)
			end, ok := really.end(c, mixedAt)
			if !ok {
				continue
			}
			limit := c.end().Add(-48 * time.Hour)
			plain := newShop(s, really, c, mixedAt, 14*24*time.Hour)
			sh.measure(limit, 0.02)
			sh.measureViscosity(t, rng, curve, 1, runsFresh)
			sh.measure(limit, 0.75)
			if end <= sh.now.Sub(mixedAt) {
				continue
			}
			sh.measureViscosity(t, rng, curve, 2, runsLate)
			sh.ensemble.Good()
			plain.measure(limit, 0.02)
			plain.measure(limit, 0.75)
			plain.ensemble.Good()
			for into, of := range map[*tally]*shop{&sum.without: plain, &sum.with: sh} {
				ends := of.forecast()
				into.add(snapshot{low: ends.Low.Hours(), expected: ends.Expected.Hours(), high: ends.High.Hours(), end: end.Hours()})
			}
			break
		}
	}
	return sum
}

// A flow time of the fresh mix and one at three quarters of its life, two runs each, make the band a quarter
// narrower, and it holds what it says. From single runs no longer life is believed, so less is gained and
// fewer batches end before low.
func TestTheBatchIsHeard(t *testing.T) {
	t.Parallel()
	each := simulated(t, 2000, 60)
	for _, row := range []struct {
		name         string
		runs         int
		narrowest    float64
		widest       float64
		leastOfBelow float64
	}{{"two runs", 2, 0.71, 0.77, 7}, {"one run", 1, 0.78, 0.88, 4}} {
		sum := hearShops(t, each, row.runs, row.runs)
		width := sum.with.width / sum.without.width
		t.Logf("%s\n         %s\nwithout  %s\nwith     %s\nwidth    %.3f of that without", row.name,
			"     n  in band   before    width   life h pinball h", sum.without.String(), sum.with.String(), width)
		if c, margin := sum.with.coverage(), sampling(80, each); !(c >= 77-margin && c <= 83+margin) {
			t.Errorf("%s: the band holds %.1f %%, want 77 to 83 ± %.1f", row.name, c, margin)
		}
		if b, margin := sum.with.belowShare(), sampling(10, each); !(b >= row.leastOfBelow-margin && b <= 13+margin) {
			t.Errorf("%s: %.1f %% end before low, want %v to 13 ± %.1f", row.name, b, row.leastOfBelow, margin)
		}
		if !(width >= row.narrowest && width <= row.widest) {
			t.Errorf("%s: the band has %.3f of the width without, want %v to %v", row.name, width, row.narrowest, row.widest)
		}
		if !(sum.with.ours < sum.without.ours) {
			t.Errorf("%s: pinball loss %v h, without %v", row.name, sum.with.ours/float64(each), sum.without.ours/float64(each))
		}
	}
}

func mustHear(t interface{ Fatal(...any) }, c *cure.Ensemble, id uint64, s viscosity.Sample) {
	if err := c.Hear(id, viscosity.Assumed(), s); err != nil {
		t.Fatal(err)
	}
}

var steady = air.State{TemperatureC: 22, HumidityPct: 50}

func liveOn(c *cure.Ensemble, d time.Duration) {
	c.Advance(places[0], cure.Step{Duration: d, From: steady, To: steady, Kind: cure.Measured})
}

// seconds makes a sample of flow times of Ford cup No. 4 at 23 °C.
func seconds(t interface{ Fatal(...any) }, runs ...float64) viscosity.Sample {
	s := viscosity.Sample{RunSpread: viscosity.RunSpreadOfTime, CommonSpread: viscosity.CommonSpreadOfTime, TemperatureC: 23, ThinnerSd: 0.3}
	for _, run := range runs {
		v, err := flowcup.Ford4.ViscosityMM2PerS(run)
		if err != nil {
			t.Fatal(err)
		}
		s.LnRuns = append(s.LnRuns, math.Log(v))
	}
	return s
}

// slip returns a flow time with a slipped digit before the point: two digits exchanged or one digit another. It is
// within the range of the cup: another is refused.
func slip(t *rapid.T, s float64) float64 {
	tens, ones, rest := math.Floor(s/10), math.Floor(math.Mod(s, 10)), s-math.Floor(s)
	all := []float64{10*ones + tens + rest}
	for d := range 10 {
		all = append(all, 10*float64(d)+ones+rest, 10*tens+float64(d)+rest)
	}
	var ok []float64
	for _, v := range all {
		if v >= 20 && v <= 100 && v != s {
			ok = append(ok, v)
		}
	}
	return rapid.SampledFrom(ok).Draw(t, "slip")
}

// A run with a slipped digit makes no batch live longer by more than 2 % of its life than without the run. One
// within the scatter of two right runs cannot be told from a right one, and is not drawn: it confirms its sample, whose
// other run then counts too.
func TestOneWrongRunDoesNotLengthenALife(outer *testing.T) {
	fresh := cure.New(mustCalibrate(outer), sensors[0], 0.02, steady)
	rapid.Check(outer, func(t *rapid.T) {
		type taken struct {
			after time.Duration
			runs  []float64
		}
		var samples []taken
		// What the ink really does: so many seconds when fresh, and so much more for each hour.
		flow, perHour := rapid.Float64Range(25, 50).Draw(t, "fresh"), rapid.Float64Range(1, 1.15).Draw(t, "rise an hour")
		for range rapid.IntRange(1, 3).Draw(t, "samples") {
			s := taken{after: time.Duration(rapid.IntRange(0, 200).Draw(t, "minutes")) * time.Minute}
			flow *= math.Pow(perHour, s.after.Hours())
			for range rapid.IntRange(1, 2).Draw(t, "runs") {
				s.runs = append(s.runs, min(math.Round(10*flow*rapid.Float64Range(0.98, 1.02).Draw(t, "scatter"))/10, 100))
			}
			samples = append(samples, s)
		}
		k := rapid.IntRange(0, len(samples)-1).Draw(t, "sample with the slip")
		r := rapid.IntRange(0, len(samples[k].runs)-1).Draw(t, "run with the slip")
		right := samples[k].runs[r]
		wrong := slip(t, right)
		if len(samples[k].runs) == 2 && seconds(t, samples[k].runs[1-r], wrong).Agree() {
			return
		}
		// live gives the ends of the batch with another figure for that run, 0 for none.
		live := func(figure float64) cure.Ends {
			c := fresh.Clone()
			for i, s := range samples {
				liveOn(c, s.after)
				var runs []float64
				for j, run := range s.runs {
					switch {
					case i != k || j != r:
						runs = append(runs, run)
					case figure > 0:
						runs = append(runs, figure)
					}
				}
				if len(runs) > 0 {
					mustHear(t, c, uint64(i+1), seconds(t, runs...))
				}
			}
			return c.Forecast(places[0], steady, 0, cure.WithoutDrift())
		}
		with, without := live(wrong), live(0)
		for name, of := range map[string]func(cure.Ends) time.Duration{
			"low":      func(e cure.Ends) time.Duration { return e.Low },
			"expected": func(e cure.Ends) time.Duration { return e.Expected },
			"high":     func(e cure.Ends) time.Duration { return e.High },
		} {
			if more := (of(with) - of(without)).Hours() / without.Expected.Hours(); more > 0.02 {
				t.Errorf("%s is later by %.2f %% of the life with %v s for %v s: %v, without %v", name, 100*more, wrong, right, of(with), of(without))
			}
		}
	})
}

// A sample whose flow cup was named wrongly makes no batch live longer by more than 2 % of its life than without it,
// though its runs agree.
func TestAWrongCupDoesNotLengthenALife(outer *testing.T) {
	fresh := cure.New(mustCalibrate(outer), sensors[0], 0.02, steady)
	rapid.Check(outer, func(t *rapid.T) {
		flow, perHour := rapid.Float64Range(25, 50).Draw(t, "fresh"), rapid.Float64Range(1, 1.15).Draw(t, "rise an hour")
		n := rapid.IntRange(2, 3).Draw(t, "samples")
		wrong := rapid.IntRange(0, n-1).Draw(t, "wrong")
		var after []time.Duration
		var runs [][]float64
		for range n {
			d := time.Duration(rapid.IntRange(0, 200).Draw(t, "minutes")) * time.Minute
			flow = min(flow*math.Pow(perHour, d.Hours()), 95)
			after, runs = append(after, d), append(runs, []float64{flow, flow * rapid.Float64Range(0.99, 1.01).Draw(t, "scatter")})
		}
		factor := rapid.SampledFrom([]float64{0.5, 0.6, 0.75, 1.33, 1.7, 2}).Draw(t, "other cup")
		live := func(with bool) cure.Ends {
			c := fresh.Clone()
			for i := range n {
				liveOn(c, after[i])
				s := seconds(t, runs[i]...)
				s.TemperatureC, s.Cup = steady.TemperatureC, "ford-4"
				if i == wrong {
					if !with {
						continue
					}
					s.Cup = "ford-3"
					for k := range s.LnRuns {
						s.LnRuns[k] += math.Log(factor)
					}
				}
				mustHear(t, c, uint64(i+1), s)
			}
			return c.Forecast(places[0], steady, 0, cure.WithoutDrift())
		}
		with, without := live(true), live(false)
		for name, more := range map[string]time.Duration{"low": with.Low - without.Low, "expected": with.Expected - without.Expected, "high": with.High - without.High} {
			if share := more.Hours() / without.Expected.Hours(); share > 0.02 {
				t.Errorf("%s is later by %.1f %% of the life with sample %d of %d in another cup (%v): %v, without %v", name, 100*share, wrong+1, n, factor, with, without)
			}
		}
	})
}
