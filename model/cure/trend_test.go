package cure_test

import (
	"bytes"
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"pgregory.net/rapid"

	"potlifed/model/cure"
	"potlifed/model/viscosity"
)

// seedTrend is the seed of the simulated shops whose batches are followed, fixed before the first run. The distance of
// the samples was chosen on another one, 20261130.
const seedTrend = 5310947

// learnedTrend is the curve of an instrument and an ink whose rise is known to 5 %, as after many ends.
func learnedTrend() viscosity.Curve {
	c := viscosity.AssumedTrend()
	c.RiseSpread, c.ShareSpread, c.PerKelvinSd, c.Ends = 0.05*c.Rise, 0.03, 0.005, 20
	return c
}

// torque is an instrument that follows a batch: its real curve, and how it drifts.
type torque struct {
	thickening
	level     float64 // ln of the unit
	ramp      float64 // drift of a whole life
	walk      float64 // so far
	walkSd    float64 // of a whole life
	lastShare float64
}

// newTorque draws an instrument whose drift over a life has a standard deviation of 3 %, half of its
// variance a ramp and half a random walk.
func newTorque(rng *rand.Rand, c viscosity.Curve) *torque {
	half := viscosity.DriftOfTrend / math.Sqrt2
	return &torque{thickening: thickening{
		rise: max(c.Rise+c.RiseSpread*rng.NormFloat64(), 0.05), bend: c.Bend,
		share: min(max(c.Share+c.ShareSpread*rng.NormFloat64(), 0.05), 0.95), perKelvin: c.PerKelvin + c.PerKelvinSd*rng.NormFloat64(),
	}, level: 3 * rng.NormFloat64(), ramp: half * rng.NormFloat64(), walkSd: half}
}

// value is ln of what the instrument shows at an age of the batch.
func (k *torque) value(rng *rand.Rand, u, celsius float64) float64 {
	k.walk += k.walkSd * math.Sqrt(max(u-k.lastShare, 0)) * rng.NormFloat64()
	k.lastShare = max(u, k.lastShare)
	s, _ := viscosity.Curve{Bend: k.bend, Share: k.share}.Risen(u)
	return k.level + k.rise*s - k.perKelvin*(celsius-23) + k.ramp*u + k.walk + viscosity.LeastNoiseOfTrend*rng.NormFloat64()
}

// ofTrend is the k-th sample of a trend, from 1.
func ofTrend(ln, celsius float64, k uint64) viscosity.Sample {
	drift := viscosity.DriftAfter(viscosity.BetweenSamples * float64(k-1))
	return viscosity.Sample{LnRuns: []float64{ln}, RunSpread: viscosity.LeastNoiseOfTrend, TemperatureC: celsius, Drift: drift}
}

func sequence(begins bool) cure.Sequence {
	if begins {
		return cure.TrendBegins
	}
	return cure.TrendContinues
}

// followShops lets batches live to a share of their median life in made-up climates, follows each from its
// beginning, and asks. Batches that are over by then are not asked about.
func followShops(t *testing.T, each int, until float64, curve viscosity.Curve) heardTally {
	var sum heardTally
	climates := madeUpFiles(t)
	for batch := range each {
		rng := rand.New(rand.NewPCG(seedTrend, uint64(batch)))
		for {
			c := climates[batch%len(climates)]
			s := anySituation(rng)
			really, instrument := ordinary().draw(rng, s), newTorque(rng, curve)
			mixedAt := someTime(c, rng)
			sh := newShop(s, really, c, mixedAt, 14*24*time.Hour)
			end, ok := really.end(c, mixedAt)
			if !ok {
				continue
			}
			limit := c.end().Add(-48 * time.Hour)
			var first float64
			for k, share := uint64(1), 0.02; share <= until+1e-9; k, share = k+1, share+viscosity.BetweenSamples {
				sh.measure(limit, share)
				celsius := sh.climate.at(sh.now).TemperatureC
				ln := instrument.value(rng, sh.doseNow()/sh.truth.endDose, celsius)
				if k == 1 {
					first = ln
				}
				if err := sh.ensemble.Follow(k, curve, ofTrend(ln-first, celsius, k), sequence(k == 1)); err != nil {
					t.Fatal(err)
				}
			}
			sh.measure(limit, until)
			if end <= sh.now.Sub(mixedAt) {
				continue
			}
			plain := newShop(s, really, c, mixedAt, 14*24*time.Hour)
			plain.measure(limit, until)
			sh.ensemble.Good()
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

// A torque that drifts by 3 % in a life halves the band. The band holds a little more than it says, and fewer batches
// end before low: a sample counts in full only once the next one has confirmed it, and until then the earlier end of
// both counts.
func TestTheBatchIsFollowed(t *testing.T) {
	t.Parallel()
	each := simulated(t, 2000, 60)
	for _, row := range []struct {
		name              string
		until             float64
		curve             viscosity.Curve
		narrowest, widest float64
	}{{"learned, half of the life", 0.5, learnedTrend(), 0.35, 0.55}, {"learned, three quarters", 0.75, learnedTrend(), 0.35, 0.5}, {"never learned, three quarters", 0.75, viscosity.AssumedTrend(), 0.8, 0.95}} {
		sum := followShops(t, each, row.until, row.curve)
		width := sum.with.width / sum.without.width
		t.Logf("%s\n         %s\nwithout  %s\nwith     %s\nwidth    %.3f of that without", row.name,
			"     n  in band   before    width   life h pinball h", sum.without.String(), sum.with.String(), width)
		if c, margin := sum.with.coverage(), sampling(80, each); !(c >= 77-margin && c <= 84+margin) {
			t.Errorf("%s: the band holds %.1f %%, want 77 to 84 ± %.1f", row.name, c, margin)
		}
		if b, margin := sum.with.belowShare(), sampling(10, each); !(b >= 6-margin && b <= 13+margin) {
			t.Errorf("%s: %.1f %% end before low, want 6 to 13 ± %.1f", row.name, b, margin)
		}
		if !(width >= row.narrowest && width <= row.widest) {
			t.Errorf("%s: the band has %.3f of the width without, want %v to %v", row.name, width, row.narrowest, row.widest)
		}
		if !(sum.with.ours < sum.without.ours) {
			t.Errorf("%s: pinball loss %v h, without %v", row.name, sum.with.ours/float64(each), sum.without.ours/float64(each))
		}
	}
}

// followed is a batch in steady air with an instrument.
type followed struct {
	*cure.Ensemble
	curve viscosity.Curve
	id    uint64
}

func (f *followed) hear(t interface{ Fatal(...any) }, ln float64) {
	f.id++
	if err := f.Follow(f.id, f.curve, ofTrend(ln, steady.TemperatureC, f.id), sequence(f.id == 1)); err != nil {
		t.Fatal(err)
	}
}

// An instrument that stops following the ink makes no batch live longer by more than 2 % of its life than one that
// falls silent then: one that sticks, with or without noise, one whose value falls and one whose rise becomes a
// fraction. The same holds for one that never followed it, against none.
func TestAStuckInstrumentDoesNotLengthenALife(outer *testing.T) {
	fresh := cure.New(mustCalibrate(outer), sensors[0], 0.02, steady)
	rapid.Check(outer, func(t *rapid.T) {
		with, without := &followed{fresh.Clone(), learnedTrend(), 0}, &followed{fresh.Clone(), learnedTrend(), 0}
		rise := rapid.Float64Range(0.5, 1.0).Draw(t, "rise for a dose of 1")
		after := rapid.IntRange(0, 12).Draw(t, "right samples")
		fraction := rapid.SampledFrom([]float64{0, 0, -0.5, 0.15}).Draw(t, "fraction of the rise afterwards")
		noise := rapid.SampledFrom([]float64{0, 1}).Draw(t, "noise") * viscosity.LeastNoiseOfTrend
		value := 0.0
		for k := range after + rapid.IntRange(1, 12).Draw(t, "wrong samples") {
			scatter := noise * rapid.Float64Range(-1.5, 1.5).Draw(t, "scatter")
			switch {
			case k == 0:
			case k < after:
				value += rise * viscosity.BetweenSamples
			default:
				value += fraction * rise * viscosity.BetweenSamples
			}
			if with.hear(t, value+scatter); k < after {
				without.hear(t, value+scatter)
			}
			for _, c := range []*followed{with, without} {
				from := c.Spent()
				for c.Spent() < from+viscosity.BetweenSamples {
					liveOn(c.Ensemble, 4*time.Minute)
				}
			}
			w, o := with.Forecast(places[0], steady, 0, cure.WithoutDrift()), without.Forecast(places[0], steady, 0, cure.WithoutDrift())
			for name, more := range map[string]time.Duration{"low": w.Low - o.Low, "expected": w.Expected - o.Expected, "high": w.High - o.High} {
				if share := more.Hours() / o.Expected.Hours(); share > 0.02 {
					t.Errorf("%s is later by %.1f %% of the life after %d samples, %d of them right", name, 100*share, k+1, after)
				}
			}
		}
	})
}

// instrument is one whose values are sampled as the bench does it: a value that jumps begins the trend again, and the next
// one may return to where the value was before.
type instrument struct {
	followed
	taken, before []taken // since the beginning, and before the last jump
}

// taken is a value and when it was taken, in samples.
type taken struct {
	ln float64
	at int
}

// off is how far a value is from what is expected from an earlier one.
func (f *instrument) off(last, now taken) float64 {
	return math.Abs(now.ln - last.ln - f.curve.Rise*viscosity.BetweenSamples*float64(now.at-last.at))
}

func (f *instrument) sample(t interface{ Fatal(...any) }, ln float64, at int) {
	const jump, returned = 0.35, 0.1
	now, as, n := taken{ln, at}, cure.TrendContinues, len(f.taken)
	switch {
	case n == 0:
		as = cure.TrendBegins
	case f.before != nil && f.off(f.before[len(f.before)-1], now) <= min(returned, f.off(f.taken[0], now)):
		as, f.taken = cure.TrendReturns, f.before
	case n > 1 && f.off(f.taken[n-2], now) <= returned: // the last one was wrong
	case f.off(f.taken[n-1], now) > jump:
		as = cure.TrendBegins
	}
	f.before = nil
	if as == cure.TrendBegins {
		f.taken, f.before = nil, f.taken
	}
	f.taken = append(f.taken, now)
	f.id++
	first := f.taken[0]
	if err := f.Follow(f.id, f.curve, ofTrend(ln-first.ln, steady.TemperatureC, uint64(at-first.at+1)), as); err != nil {
		t.Fatal(err)
	}
}

// One value that is wrong by a tenth or more, with right ones before and after it, makes no batch live longer by more
// than 2 % of its life than it would without that value: a slipped digit, a jolt, another speed for a while.
func TestOneWrongValueDoesNotLengthenALife(outer *testing.T) {
	fresh := cure.New(mustCalibrate(outer), sensors[0], 0.02, steady)
	rapid.Check(outer, func(t *rapid.T) {
		of := func() *instrument { return &instrument{followed: followed{fresh.Clone(), learnedTrend(), 0}} }
		with, without := of(), of()
		rise := rapid.Float64Range(0.5, 1.0).Draw(t, "rise for a dose of 1")
		n := rapid.IntRange(1, 12).Draw(t, "samples")
		at := rapid.IntRange(0, n-1).Draw(t, "the wrong one")
		wrong := math.Log(rapid.OneOf(rapid.Float64Range(1.1, 12), rapid.Float64Range(0.08, 0.9), rapid.Float64Range(1.1, 1.5)).Draw(t, "factor"))
		for k := range n {
			right := rise * viscosity.BetweenSamples * float64(k)
			if k == at {
				with.sample(t, right+wrong, k)
			} else {
				with.sample(t, right, k)
				without.sample(t, right, k)
			}
			for _, f := range []*instrument{with, without} {
				from := f.Spent()
				for f.Spent() < from+viscosity.BetweenSamples {
					liveOn(f.Ensemble, 4*time.Minute)
				}
			}
			if k < at {
				continue
			}
			w, o := with.Forecast(places[0], steady, 0, cure.WithoutDrift()), without.Forecast(places[0], steady, 0, cure.WithoutDrift())
			for name, more := range map[string]time.Duration{"low": w.Low - o.Low, "expected": w.Expected - o.Expected, "high": w.High - o.High} {
				if share := more.Hours() / o.Expected.Hours(); share > 0.02 {
					t.Errorf("%s is later by %.1f %% of the life after %d samples", name, 100*share, k+1)
				}
			}
		}
	})
}

// Once a trend has returned, what had jumped leaves nothing, also where the ensemble was stored between. It returns
// from nothing else.
func TestATrendReturns(t *testing.T) {
	c := &followed{cure.New(mustCalibrate(t), sensors[0], 0.02, steady), learnedTrend(), 0}
	for k := range 3 {
		c.hear(t, 0.1*float64(k))
		liveOn(c.Ensemble, 40*time.Minute)
	}
	if c.Follow(9, c.curve, ofTrend(0.3, steady.TemperatureC, 4), cure.TrendReturns) == nil {
		t.Error("it returns though nothing jumped")
	}
	follow := func(e *cure.Ensemble, id uint64, ln float64, as cure.Sequence) {
		if err := e.Follow(id, c.curve, ofTrend(ln, steady.TemperatureC, id), as); err != nil {
			t.Fatal(err)
		}
	}
	jumped := c.Clone()
	follow(jumped, 4, 0, cure.TrendBegins)
	stored := new(cure.Ensemble)
	if err := json.Unmarshal(encoded(t, jumped), stored); err != nil {
		t.Fatal(err)
	}
	for _, e := range []*cure.Ensemble{c.Ensemble, jumped, stored} {
		liveOn(e, 40*time.Minute)
	}
	follow(c.Ensemble, 5, 0.4, cure.TrendContinues)
	for _, e := range []*cure.Ensemble{jumped, stored} {
		follow(e, 5, 0.4, cure.TrendReturns)
		if got, want := encoded(t, e), encoded(t, c.Ensemble); !bytes.Equal(got, want) {
			t.Error("the ensemble differs from one without the jump")
		}
	}
}

// A trend that was never learned, or does not rise, is told apart, and a stored batch continues to the bit.
func TestATrendIsStored(t *testing.T) {
	c := &followed{cure.New(mustCalibrate(t), sensors[0], 0.02, steady), learnedTrend(), 0}
	value := 0.0
	step := func(rise float64) {
		liveOn(c.Ensemble, 30*time.Minute)
		value += rise
		c.hear(t, value)
	}
	c.hear(t, 0)
	for range 6 {
		step(0.05)
	}
	f, ok := c.Followed()
	if !ok || !f.Confirmed || !f.Learned || f.Flat || f.Doubted > 0.5 {
		t.Errorf("a right trend is %+v, %v", f, ok)
	}
	text, err := json.Marshal(c.Ensemble)
	if err != nil {
		t.Fatal(err)
	}
	var d cure.Ensemble
	if err := json.Unmarshal(text, &d); err != nil {
		t.Fatal(err)
	}
	for _, e := range []*cure.Ensemble{c.Ensemble, &d} {
		liveOn(e, time.Hour)
	}
	if c.Risk() != d.Risk() {
		t.Errorf("risk %v, stored %v", c.Risk(), d.Risk())
	}
	step(0)
	if f, _ := c.Followed(); !f.Flat {
		t.Errorf("a trend that stands still is %+v", f)
	}
	if n := testing.AllocsPerRun(100, func() { liveOn(c.Ensemble, time.Second) }); n != 0 {
		t.Errorf("a step of a followed batch allocates %v times", n)
	}
}
