package bench

import (
	"context"
	"math"
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/clock"
	"potlifed/daemon/config"
	"potlifed/daemon/instruments"
	"potlifed/daemon/precision"
	"potlifed/daemon/record"
	"potlifed/daemon/view"
	"potlifed/daemon/words"
	"potlifed/model/alarm"
	"potlifed/model/health"
	"potlifed/model/viscosity"
)

// follower is an instrument that follows the batch on a press, with its newest values. It rebuilds itself after a
// start; what was taken of it is in the batch.
type follower struct {
	config.Trend
	words  words.Locale
	clock  clock.Clock
	window viscosity.Window
	batch  string // on its press
	looked bool   // batch is known: at a start the batch has been there before
	begin  bool   // the next sample is a first one

	last    time.Time // of the newest value
	value   float64
	ok      uint64
	errors  uint64
	failing int // readings that failed in a row
	failure string
	fault   health.Fault
	since   time.Time // of the condition
	is      health.Condition
}

// TrendRead takes in one value of an instrument that follows a batch, or why there is none.
func (b *Bench) TrendRead(ctx context.Context, trend string, r instruments.TrendReading) {
	b.enter(ctx, trendReading{trend, r})
}

// trendReading is one value of a trend, or why there is none.
type trendReading struct {
	trend string
	instruments.TrendReading
}

func (r trendReading) enter(b *Bench, now time.Time) {
	f := b.followers[r.trend]
	if f == nil {
		return
	}
	if err := r.Err; err != nil {
		f.errors++
		f.failing++
		f.failure, f.fault = err.Error(), kindOf(err, r.Fault)
		return
	}
	f.ok++
	f.failing, f.failure, f.fault = 0, "", ""
	f.last, f.value = now, r.Value
	if r.Value > f.IdleBelow {
		f.window.Add(r.Value, time.Duration(now.UnixNano()))
	}
}

func (f *follower) shift(d time.Duration) {
	f.window = viscosity.Window{}
	for _, at := range []*time.Time{&f.last, &f.since} {
		if !at.IsZero() {
			*at = at.Add(d)
		}
	}
}

// refitFollowers makes the trends those of the configuration. One that is configured as before keeps its values.
func (b *Bench) refitFollowers() {
	old := b.followers
	b.followers = map[string]*follower{}
	for _, c := range b.shop.Trends {
		f := old[c.ID]
		if f == nil || f.Trend != c {
			f = &follower{Trend: c, clock: b.clock.real, words: b.shop.locale, begin: old != nil}
		}
		b.followers[c.ID] = f
	}
}

// followBatches takes a sample of each trend whose batch has spent enough of its pot life since the last one.
func (b *Bench) followBatches(now time.Time) {
	for _, c := range b.shop.Trends {
		f := b.followers[c.ID]
		id := b.state.Presses[f.Press].Batch
		if id != f.batch || !f.looked {
			if f.looked {
				f.begin, f.window = true, viscosity.Window{} // what came before is of another batch
			}
			f.batch, f.looked = id, true
		}
		if batch := b.state.Batches[id]; batch != nil && batch.Ensemble != nil {
			b.sampleTrend(f, batch, now)
		}
	}
}

// jump is by how much ln value moves from one sample to the next by something else than the ink: another speed
// of the drive, say. The ink moves it by a tenth of its rise. returned is how near to what is expected from a sample a later
// one lies that goes on from it, with a wrong one between. Assumptions.
const jump, returned = 0.35, 0.1

// sampleTrend takes a sample of a trend if one is due.
func (b *Bench) sampleTrend(f *follower, batch *record.Batch, now time.Time) {
	t := batch.Trend
	begin := f.begin || t == nil || t.Instrument != f.ID || t.Press != f.Press || t.Added != batch.Added || t.GivenAway != batch.GivenAway
	if !begin {
		if newest, _ := t.Newest(); batch.Ensemble.Spent()-newest.Spent < viscosity.BetweenSamples {
			return
		}
	}
	value, noise, ok := f.window.Take(time.Duration(now.UnixNano()))
	if !ok {
		return
	}
	b.closeAir(batch.Zone, now)
	batch = b.state.Batches[batch.ID]
	e := record.TrendTaken{Batch: batch.ID, Instrument: f.ID, Value: value, Begin: begin}
	if !begin {
		e.Jumped, e.Returned = moved(t, value, batch.Ensemble.Spent())
		e.Begin = e.Jumped
	}
	switch {
	case e.Begin:
		e.Curve = viscosity.LearnTrend(b.state.TrendSeries[record.TrendKey(f.ID, batch.Ink)])
		e.Sample = viscosity.Sample{LnRuns: []float64{0}, RunSpread: noise, TemperatureC: batch.Ensemble.CupTemperatureC()}
	case e.Returned:
		e.Curve, e.Sample = t.Curve, trendSample(batch, t.BeforeJump(), value, noise)
	default:
		e.Curve, e.Sample = t.Curve, trendSample(batch, t, value, noise)
	}
	f.begin = false
	b.decide(now, actor.Bench, e)
}

// The standard deviation in K of how far the ink's temperature has moved since the first sample: a part of its own,
// and a share of how far the cup's has moved by the air. Assumptions.
const trendUnsureK, trendUnsureOfMove = 0.1, 0.2

// moved reports whether a value at a spent life has jumped from the newest sample of a trend, and whether it has
// returned to where the value was before the newest jumped. A value that goes on from the last sample but one has not jumped:
// the newest was wrong.
func moved(t *record.Trend, value, spent float64) (jumped, back bool) {
	off := func(s record.TrendSample) float64 {
		return math.Abs(math.Log(value/s.Value) - t.Curve.Expected(s.Spent, spent))
	}
	newest, first := t.Newest()
	apart := off(newest)
	if before := t.BeforeJump(); before != nil {
		last, _ := before.Newest()
		back = off(last) <= min(returned, apart)
		return apart > jump && !back, back
	}
	if n := len(t.Samples); newest.Seq != first.Seq && off(t.Samples[n-2]) <= returned {
		return false, false
	}
	return apart > jump, false
}

// trendSample returns what a value says beside the first one of its beginning.
func trendSample(batch *record.Batch, t *record.Trend, value, noise float64) viscosity.Sample {
	_, first := t.Newest()
	s := viscosity.Sample{
		LnRuns: []float64{math.Log(value / first.Value)}, RunSpread: noise, Drift: viscosity.DriftAfter(batch.Ensemble.Spent() - first.Spent),
		TemperatureC: batch.Ensemble.CupTemperatureC(),
	}
	warmedK := s.TemperatureC - first.Sample.TemperatureC
	s.CommonSpread = t.Curve.PerKelvin * math.Hypot(trendUnsureK, trendUnsureOfMove*warmedK)
	if cup := batch.Solvent; cup != nil && cup.CatalysedG > 0 && cup.PouredG > 0 {
		s.ThinnerPct = -100 * (cup.LostG() - t.ThinnerG) / cup.CatalysedG
		s.ThinnerSd = thinnerOfEstimate * math.Abs(s.ThinnerPct)
		if batch.Basis.Solvent.Thinner.Valid() != nil && cup.WeighedLossG == 0 {
			s.ThinnerSd = thinnerUnknownPct // nothing is known of how fast it evaporates
		}
	}
	return s
}

// condition says how a trend is, and why.
func (f *follower) condition(now time.Time) (is health.Condition, why trouble) {
	switch {
	case f.failing >= downAfter:
		return health.Down, trouble{f.words.Say("fault.trend-down", "trend", f.ID), f.failure}
	case f.last.IsZero():
		return health.Waiting, trouble{f.words.Say("fault.trend-waiting", "trend", f.ID), f.failure}
	case now.Sub(f.last) > clock.Lapse(f.clock, f.StaleAfter):
		return health.Stale, trouble{f.words.Say("fault.trend-stale", "trend", f.ID, "time", f.words.Duration(now.Sub(f.last))), ""}
	}
	return health.Up, trouble{}
}

// doubtfulTrend is the probability of being wrong from which on a trend is named: less likely right than wrong.
const doubtfulTrend = 0.5

// doubted says why a trend is not believed where it would lengthen a pot life, empty where it is, or has said nothing.
func (f *follower) doubted(s record.State) string {
	batch := s.Batches[f.batch]
	if batch == nil || batch.Ensemble == nil {
		return ""
	}
	w := f.words
	if same, stuck := f.window.Same(); stuck {
		return w.Say("alarm-text.trend-stuck", "trend", f.ID, "press", f.Press, "value", w.Number(f.value, 3), "time", w.Duration(same))
	}
	followed, ok := batch.Ensemble.Followed()
	switch {
	case !ok || batch.Trend == nil || batch.Trend.Instrument != f.ID:
	case followed.Flat:
		return w.Say("alarm-text.trend-flat", "trend", f.ID, "press", f.Press, "batch", batch.ID)
	case followed.Doubted >= doubtfulTrend:
		return w.Say("alarm-text.trend-doubted", "trend", f.ID, "press", f.Press, "batch", batch.ID, "pct", w.Percent(100*followed.Doubted, 0))
	}
	return ""
}

// trends looks at whether instruments that follow batches can be believed.
func (l *causes) trends() {
	for id, f := range l.b.followers {
		if why := f.doubted(l.b.state); why != "" {
			l.holds(alarm.TrendDoubted, id, why)
		}
	}
}

// trendViews returns the instruments that follow batches.
func (b *Bench) trendViews(state record.State, now time.Time) []view.TrendInstrument {
	views := make([]view.TrendInstrument, 0, len(b.shop.Trends))
	for _, c := range b.shop.Trends {
		f := b.followers[c.ID]
		is, why := f.condition(now)
		since(&f.is, &f.since, is, b.clock.began(), now)
		v := view.TrendInstrument{ID: f.ID, Press: f.Press, Condition: is, Since: f.since, Text: why.text, Detail: why.detail, Doubted: f.doubted(state), Reads: map[string]uint64{"ok": f.ok, "error": f.errors}}
		if !f.last.IsZero() {
			v.Value, v.ReadAt = new(precision.Significant(f.value, 4)), f.last
		}
		if batch := state.Batches[state.Presses[f.Press].Batch]; batch != nil {
			v.Batch = batch.ID
		}
		views = append(views, v)
	}
	return views
}
