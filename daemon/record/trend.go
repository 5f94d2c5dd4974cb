package record

import (
	"maps"
	"slices"
	"time"

	"potlifed/model/cure"
	"potlifed/model/mix"
	"potlifed/model/viscosity"
)

// KindTrendTaken is the kind of [TrendTaken].
const KindTrendTaken Kind = "trend-taken"

// TrendTaken records what an instrument that follows a batch has said: the median of some minutes. One is recorded
// for each tenth of the pot life, so that an instrument does not fill the journal. Experimental.
type TrendTaken struct {
	Batch      string           `json:"batch" doc:"id of the batch"`
	Instrument string           `json:"instrument" doc:"id of the instrument, of the section trends"`
	Value      float64          `json:"value" doc:"median of its values over some minutes, in its own unit"`
	Begin      bool             `json:"begin,omitempty" doc:"first of the batch, or first after something else than the ink's age moved the value"`
	Jumped     bool             `json:"jumped,omitempty" doc:"set beside begin where the value has jumped for a reason that is not known; absent where it has not"`
	Returned   bool             `json:"returned,omitempty" doc:"set where the value has returned from a jump: the one that had jumped was wrong, and this one continues what was taken before it; absent where it has not"`
	Sample     viscosity.Sample `json:"sample" doc:"ln of the value over the first one, and how sure it is"`
	Curve      viscosity.Curve  `json:"curve" doc:"what is known of how the value rises with the batch's age"`
}

// sequence says how the sample is tied to those before.
func (e TrendTaken) sequence() cure.Sequence {
	switch {
	case e.Begin:
		return cure.TrendBegins
	case e.Returned:
		return cure.TrendReturns
	}
	return cure.TrendContinues
}

// Trend is what an instrument has said of a batch.
type Trend struct {
	Instrument string          `json:"instrument" doc:"id of the instrument, of the section trends"`
	Press      string          `json:"press" doc:"id of the press"`
	Curve      viscosity.Curve `json:"curve" doc:"what is known of how the value rises with the batch's age"`
	Samples    []TrendSample   `json:"samples" doc:"what was taken, oldest first"`

	// What the value depends on beside the ink's age, when it began.
	Added     mix.Amounts `json:"added,omitzero" doc:"what had been added to the mix when the trend began; absent for nothing"`
	GivenAway float64     `json:"given_away,omitempty" doc:"share of the mix that had been split off by then"`
	ThinnerG  float64     `json:"lost_g,omitempty" doc:"thinner lost by then in g"`
	// JumpedFromG is ThinnerG of the beginning before.
	JumpedFromG *float64 `json:"jumped_from_lost_g,omitempty" doc:"thinner lost in g when what the newest value has jumped from began; absent where it has not jumped"`
}

// TrendSample is one sample of a trend.
type TrendSample struct {
	Seq   uint64    `json:"seq" doc:"number of the event"`
	At    time.Time `json:"at" doc:"when it was taken"`
	Value float64   `json:"value" doc:"median of some minutes, in the instrument's own unit"`
	Spent float64   `json:"spent" doc:"share of the pot life that was used up then"`
	Begin bool      `json:"begin,omitempty" doc:"the trend began here, or began again: after thinner was added, say"`

	Sample viscosity.Sample `json:"sample" doc:"ln of the value over the first one, and how sure it is"`
}

// keptOfTrend is how many samples of a batch stay in the state.
const keptOfTrend = 30

// Newest returns the newest sample, and the first since the trend last began.
func (t *Trend) Newest() (newest, first TrendSample) {
	newest = t.Samples[len(t.Samples)-1]
	for _, s := range slices.Backward(t.Samples) {
		if first = s; s.Begin {
			break
		}
	}
	return newest, first
}

// BeforeJump returns the trend as it was before its newest sample, if that is the first after a jump; else nil.
func (t *Trend) BeforeJump() *Trend {
	if t.JumpedFromG == nil || len(t.Samples) < 2 {
		return nil
	}
	before := *t
	before.ThinnerG, before.JumpedFromG, before.Samples = *t.JumpedFromG, nil, t.Samples[:len(t.Samples)-1]
	return &before
}

// scaled returns the trend after the pot life of the batch has become another: what was spent is another share of it.
func (t *Trend) scaled(factor float64) *Trend {
	next := *t
	next.Samples = slices.Clone(t.Samples)
	for k := range next.Samples {
		next.Samples[k].Spent *= factor
	}
	return &next
}

func (TrendTaken) Kind() Kind      { return KindTrendTaken }
func (e TrendTaken) About() string { return e.Batch }
func (e TrendTaken) apply(s *State, r Record) {
	s.change(e.Batch, func(b *Batch) {
		if b.Ensemble == nil {
			return
		}
		b.Ensemble = b.Ensemble.Clone()
		// A record that cannot be judged, as from a damaged journal, stays a figure without effect.
		_ = b.Ensemble.Follow(r.Seq, e.Curve, e.Sample, e.sequence())
		next := Trend{}
		if b.Trend != nil {
			next = *b.Trend
			if before := b.Trend.BeforeJump(); e.Returned && before != nil {
				next = *before
			}
		}
		next.Instrument, next.Press, next.Curve, next.JumpedFromG = e.Instrument, b.Press, e.Curve, nil
		if e.Jumped {
			next.JumpedFromG = new(next.ThinnerG)
		}
		if e.Begin {
			next.Added, next.GivenAway, next.ThinnerG = b.Added, b.GivenAway, 0
			if b.Solvent != nil {
				next.ThinnerG = b.Solvent.LostG()
			}
		}
		next.Samples = append(slices.Clone(next.Samples), TrendSample{
			Seq: r.Seq, At: r.Stamp.At, Value: e.Value, Spent: b.Ensemble.Spent(), Begin: e.Begin, Sample: e.Sample,
		})
		next.Samples = next.Samples[max(0, len(next.Samples)-keptOfTrend):]
		b.Trend = &next
	})
}

// keptTrends is how many batches the curve of an instrument and an ink is learned from, the newest.
const keptTrends = 12

// TrendKey names the series of an instrument and an ink in [State.TrendSeries].
func TrendKey(instrument, ink string) string { return instrument + " " + ink }

// keepTrend keeps what was followed of a batch that somebody saw go off.
func (s *State) keepTrend(b Batch) {
	if b.Trend == nil || b.Ensemble == nil {
		return
	}
	if followed, ok := b.Ensemble.Followed(); !ok || followed.Flat {
		return
	}
	series := viscosity.Series{Batch: b.ID, EndDose: b.Ensemble.Spent()}
	for _, p := range slices.Backward(b.Trend.Samples) {
		series.Points = append(series.Points, viscosity.Point{Dose: p.Spent, Of: p.Sample})
		if p.Begin {
			break
		}
	}
	slices.Reverse(series.Points)
	series.Points = thinned(series.Points)
	key := TrendKey(b.Trend.Instrument, b.Ink)
	s.TrendSeries = maps.Clone(s.TrendSeries)
	if s.TrendSeries == nil {
		s.TrendSeries = map[string][]viscosity.Series{}
	}
	all := append(slices.Clone(s.TrendSeries[key]), series)
	s.TrendSeries[key] = all[max(0, len(all)-keptTrends):]
}

// mostPoints is how many samples of a batch a curve is learned from: more tell nothing new of a line with one bend.
const mostPoints = 5

// thinned keeps the first and the last point and some between.
func thinned(points []viscosity.Point) []viscosity.Point {
	n := len(points)
	if n <= mostPoints {
		return points
	}
	var kept []viscosity.Point
	for i := range mostPoints {
		kept = append(kept, points[i*(n-1)/(mostPoints-1)])
	}
	return kept
}

// forgetTrend removes what was kept of a batch whose end was undone.
func (s *State) forgetTrend(id string) {
	for key, all := range s.TrendSeries {
		if n := len(all); n > 0 && all[n-1].Batch == id {
			s.TrendSeries = maps.Clone(s.TrendSeries)
			s.TrendSeries[key] = slices.Clone(all[:n-1])
			return
		}
	}
}
