package bench

import (
	"errors"
	"math"
	"testing"
	"time"

	"potlifed/daemon/instruments"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/model/alarm"
	"potlifed/model/health"
	"potlifed/model/viscosity"
)

const torqueShop = testShop + `
broker: {listen: "127.0.0.1:0"}
trends:
  - {id: stirrer, observes: {batch-of: press-1}, topic: press-1/torque, idle_below: 1}
`

// stirs lets time go by while the stirrer sends: each minute two values, given for the pot life that is spent.
func (s *shop) stirs(id string, d time.Duration, value func(spent float64) float64) {
	s.t.Helper()
	for k := range int(d / (30 * time.Second)) {
		s.pass(30*time.Second, both(mild))
		if s.b.state.Batches[id] == nil {
			return
		}
		x := value(s.spent(id)) * (1 + 0.002*float64(k%3-1))
		s.enter(trendReading{"stirrer", instruments.TrendReading{Value: x}})
	}
}

// rising is a torque that doubles in a pot life, from 20.
func rising(spent float64) float64 { return 20 * math.Exp(math.Ln2*spent) }

func (s *shop) trend() (value *float64, is health.Condition, doubted string) {
	v := s.b.Snapshot().Trends[0]
	return v.Value, v.Condition, v.Doubted
}

// A torque is sampled a few minutes after the batch was loaded and then with each tenth of its life, also across
// a restart; thinner that is added and another batch begin it again.
func TestATorqueFollowsTheBatch(t *testing.T) {
	oneGoroutine(t)
	dir := t.TempDir()
	clock := newClock()
	s := openShopOf(t, dir, clock, torqueShop)
	s.pass(20*time.Second, both(mild))
	id := s.mixes()
	if _, is, _ := s.trend(); is != health.Waiting {
		t.Errorf("before the first value it is %s", is)
	}
	s.stirs(id, 12*time.Minute, rising)
	if s.b.state.Batches[id].Trend != nil {
		t.Fatal("it follows a batch that is on no press")
	}
	s.must(request.LoadBatch{Batch: id, Press: "press-1"})
	s.stirs(id, 3*time.Minute, rising)
	if s.b.state.Batches[id].Trend != nil {
		t.Fatal("values of before the batch was loaded are taken for it")
	}
	s.stirs(id, 80*time.Minute, rising)
	trend := s.b.state.Batches[id].Trend
	if trend == nil || len(trend.Samples) < 2 || !trend.Samples[0].Begin || trend.Samples[1].Begin || trend.Instrument != "stirrer" {
		t.Fatalf("the trend is %+v", trend)
	}
	if apart := trend.Samples[1].Spent - trend.Samples[0].Spent; apart < viscosity.BetweenSamples || apart > viscosity.BetweenSamples+0.02 {
		t.Errorf("the samples are %v of a life apart", apart)
	}
	if value, is, doubted := s.trend(); is != health.Up || doubted != "" || value == nil || *value < 20 || *value > 40 {
		t.Errorf("it is %s at %v, doubted %q", is, value, doubted)
	}
	n := len(trend.Samples)
	s.crash()
	s = openShopOf(t, dir, clock, torqueShop)
	defer s.crash()
	s.stirs(id, 60*time.Minute, rising)
	if trend = s.b.state.Batches[id].Trend; len(trend.Samples) <= n || trend.Samples[n].Begin {
		t.Fatalf("after a restart the trend is %+v", trend.Samples)
	}
	n = len(trend.Samples)
	s.must(request.ThinBatch{Batch: id, Grams: 4, Override: "a test"})
	s.stirs(id, 12*time.Minute, func(spent float64) float64 { return 0.7 * rising(spent) })
	if trend = s.b.state.Batches[id].Trend; len(trend.Samples) != n+1 || !trend.Samples[n].Begin {
		t.Errorf("after thinner the trend is %+v", trend.Samples)
	}
}

// openTorqueShop returns a shop with a fresh batch on press-1, which an instrument follows.
func openTorqueShop(t *testing.T) (s *shop, batch string) {
	t.Helper()
	s = openShopOf(t, t.TempDir(), newClock(), torqueShop)
	s.pass(20*time.Second, both(mild))
	batch = s.mixes()
	s.must(request.LoadBatch{Batch: batch, Press: "press-1"})
	return s, batch
}

// One value that jumps and is back at the next sample is left out, as if it had never been; one that stays where it
// has jumped to begins the trend again.
func TestATorqueThatJumpsOnceGoesOn(t *testing.T) {
	oneGoroutine(t)
	s, id := openTorqueShop(t)
	defer s.crash()
	taken := func() []record.TrendSample { return s.b.state.Batches[id].Trend.Samples }
	// until lets time go by until one more sample is taken, with values that are wrong by a factor.
	until := func(factor float64) {
		t.Helper()
		batch := func() *record.Trend { return s.b.state.Batches[id].Trend }
		for was, k := batch(), 0; batch() == was; k++ {
			if k == 90 {
				t.Fatal("no sample is taken")
			}
			s.stirs(id, time.Minute, func(spent float64) float64 { return factor * rising(spent) })
		}
	}
	until(1)
	until(1)
	until(2)
	if got := taken(); len(got) != 3 || !got[2].Begin {
		t.Fatalf("after a jump the trend is %+v", got)
	}
	until(1)
	got := taken()
	if len(got) != 3 || got[1].Begin || got[2].Begin {
		t.Fatalf("once the value is back the trend is %+v", got)
	}
	if ln := got[2].Sample.LnRuns[0]; math.Abs(ln-math.Ln2*(got[2].Spent-got[0].Spent)) > 0.02 {
		t.Errorf("the value is at %v of ln first value", ln)
	}
	if followed, ok := s.b.state.Batches[id].Ensemble.Followed(); !ok || followed.Flat {
		t.Errorf("%+v, %v", followed, ok)
	}
	until(0.5)
	until(0.5)
	if got := taken(); len(got) != 5 || !got[3].Begin || got[4].Begin || s.b.state.Batches[id].Trend.BeforeJump() != nil {
		t.Errorf("at another speed the trend is %+v", got)
	}
}

// A sensor that sticks gives no further sample, is named within an hour, and the batch ends no later than if it
// had fallen silent. One that no longer comes is out of date.
func TestAStuckTorqueIsNamed(t *testing.T) {
	oneGoroutine(t)
	s, id := openTorqueShop(t)
	defer s.crash()
	s.stirs(id, 50*time.Minute, rising)
	n, high := len(s.b.state.Batches[id].Trend.Samples), s.batch(id).EndsAt.High
	for range 3 * 63 {
		s.pass(20*time.Second, both(mild))
		s.enter(trendReading{"stirrer", instruments.TrendReading{Value: 21}})
	}
	if samples := s.b.state.Batches[id].Trend.Samples; len(samples) > n+1 {
		t.Errorf("%d samples of a stuck sensor", len(samples)-n)
	}
	if later := s.batch(id).EndsAt.High; later.After(high.Add(5 * time.Minute)) {
		t.Errorf("the batch ends up to %v later", later.Sub(high))
	}
	s.pass(2*time.Minute, both(mild))
	if _, _, doubted := s.trend(); doubted == "" {
		t.Error("nothing is said of a stuck sensor")
	}
	if a, stands := s.alarm(alarm.TrendDoubted, "stirrer"); !stands || a.Text == "" {
		t.Errorf("no alarm names it: %+v", a)
	}
	s.enter(trendReading{"stirrer", instruments.TrendReading{Err: errors.New("no number"), Fault: health.Garbled}})
	s.pass(10*time.Minute, both(mild))
	if _, is, _ := s.trend(); is != health.Stale {
		t.Errorf("after ten minutes without a value it is %s", is)
	}
}

// What was followed of batches whose end was seen is what the curve is learned from; undoing the end takes it back.
func TestTheTrendIsLearnedFromBatchesThatEnded(t *testing.T) {
	oneGoroutine(t)
	s, id := openTorqueShop(t)
	defer s.crash()
	s.stirs(id, 60*time.Minute, rising)
	ink := s.b.state.Batches[id].Ink
	closed := s.must(request.CloseBatch{Batch: id, Outcome: "went-off", Seen: "now"})
	key := "stirrer " + ink
	if series := s.b.state.TrendSeries[key]; len(series) != 1 || series[0].Batch != id || len(series[0].Points) < 2 || !(series[0].EndDose > 0) {
		t.Fatalf("series %+v", s.b.state.TrendSeries)
	}
	s.must(request.Undo{Batch: id, Seq: closed.Seq})
	if series := s.b.state.TrendSeries[key]; len(series) != 0 {
		t.Errorf("after the end was undone: %+v", series)
	}
}

// Once the curve was learned from three batches with a seen end, the instrument may lengthen a pot life too, and the
// band is narrower than that of a part of the same mix without an instrument.
func TestALearnedTrendNarrowsTheBand(t *testing.T) {
	oneGoroutine(t)
	s := openShopOf(t, t.TempDir(), newClock(), torqueShop)
	defer s.crash()
	s.pass(20*time.Second, both(mild))
	id := s.mixes()
	var series []viscosity.Series
	for _, end := range []float64{0.9, 1, 1.1} { // as closed batches leave them
		one := viscosity.Series{Batch: "an-older-one", EndDose: end}
		for _, share := range []float64{0.1, 0.4, 0.7, 0.95} {
			one.Points = append(one.Points, viscosity.Point{Dose: share * end, Of: viscosity.Sample{
				LnRuns: []float64{math.Ln2 * (share - 0.1)}, RunSpread: 0.003, Drift: viscosity.DriftAfter(share - 0.1), TemperatureC: mild.TemperatureC,
			}})
		}
		series = append(series, one)
	}
	s.b.state.TrendSeries = map[string][]viscosity.Series{record.TrendKey("stirrer", s.b.state.Batches[id].Ink): series}
	part := s.must(request.SplitBatch{Batch: id, Grams: 20, To: request.Where{Zone: "bench"}}).ID
	s.must(request.LoadBatch{Batch: id, Press: "press-1"})
	s.stirs(id, 190*time.Minute, rising)
	if followed, ok := s.b.state.Batches[id].Ensemble.Followed(); !ok || !followed.Learned || !followed.Confirmed || followed.Flat {
		t.Fatalf("%+v, %v", followed, ok)
	}
	width := func(id string) float64 { ends := s.batch(id).EndsAt; return ends.High.Sub(ends.Low).Hours() }
	if share := width(id) / width(part); share > 0.75 {
		t.Errorf("the band has %.2f of the width without an instrument", share)
	}
}
