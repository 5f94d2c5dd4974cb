package cure

import (
	"cmp"
	"errors"
	"slices"
	"time"

	"potlifed/model/viscosity"
)

// trend is what an instrument that follows the batch by itself has said: a torque, or the current of a motor. It
// is replaced and never changed.
type trend struct {
	curve   viscosity.Curve
	mix     int // how often it began
	samples []sample
	// flat: it once did not rise as a right one does. From then on it can only shorten the life. wasFlat is the same of
	// the beginning before.
	flat, wasFlat bool
	doubted       []float64
}

// mostOfTrend is how many samples of a trend are kept. There are up to five of each beginning: the first, the second if
// one of the two may be wrong, the last confirmed one, the last before the trend stood still, and the newest.
const mostOfTrend = 10

// leastOfTrend is how many samples of a trend say something: its level means nothing.
const leastOfTrend = 2

// set is some samples that are judged together.
type set struct {
	curve   viscosity.Curve
	samples []sample
}

// all returns the sets of samples that the risk is the largest of: those of the flow times, and those of the trend
// by itself. Of two ways to hear the batch the earlier end counts, as with two flow cups: they share how much
// the viscosity of this batch really rises, so that they are no independent witnesses. A set without any sample
// stands for the life without the batch being heard; it is left out when the other way has a confirmed sample beside its first.
func (h *hearing) all() (out []set) {
	var flows, trends [][]sample
	if len(h.samples) > 0 || h.trend == nil {
		flows = h.sets()
	}
	if t := h.trend; t != nil {
		trends = t.sets()
	}
	tells := func(sets [][]sample, least int) bool {
		return len(sets) > 0 && !slices.ContainsFunc(sets, func(s []sample) bool { return len(s) < least })
	}
	if tells(flows, 1) {
		trends = slices.DeleteFunc(trends, func(s []sample) bool { return len(s) < leastOfTrend })
	} else if tells(trends, leastOfTrend) {
		flows = slices.DeleteFunc(flows, func(s []sample) bool { return len(s) == 0 })
	}
	for _, s := range flows {
		out = append(out, set{h.curve, s})
	}
	for _, s := range trends {
		out = append(out, set{h.trend.curve, s})
	}
	return out
}

// sets returns the confirmed samples, and for each other sample itself in the place of the last confirmed one of its
// beginning: the drift between samples that lie close together is not known well enough to use their slope. Where the
// first or the second sample of a beginning may be wrong, the same follows without the first.
func (t *trend) sets() [][]sample {
	sets := setsOf(t.samples)
	var later []sample
	for k, s := range t.samples {
		if k+1 == len(t.samples) || !t.samples[k+1].Second {
			later = append(later, s)
		}
	}
	if len(later) < len(t.samples) {
		sets = append(sets, setsOf(later)...)
	}
	return sets
}

// setsOf returns the sets of some samples, each beginning from its first one there.
func setsOf(samples []sample) [][]sample {
	isFirst := func(k int) bool { return k == 0 || samples[k-1].Mix != samples[k].Mix }
	confirmed := func(except int) (out []sample) {
		for k, s := range samples {
			if isFirst(k) || s.Confirmed && s.Mix != except {
				out = append(out, s)
			}
		}
		return out
	}
	const none = -1
	sets := [][]sample{confirmed(none)}
	for k, s := range samples {
		if s.Second && k+1 < len(samples) && samples[k+1].Mix == s.Mix {
			continue // later ones tell more
		}
		if !s.Confirmed && !isFirst(k) {
			with := append(confirmed(s.Mix), s)
			slices.SortStableFunc(with, func(a, b sample) int { return cmp.Compare(a.Age, b.Age) })
			sets = append(sets, with)
		}
	}
	return sets
}

// Sequence says how a sample of an instrument that follows a batch is tied to those before.
type Sequence int

const (
	// TrendContinues: the ink's age alone has moved the value.
	TrendContinues Sequence = iota
	// TrendBegins: the sample is the first of the batch, or the first after something that is not the ink's age
	// moved the value. The first of a batch always begins.
	TrendBegins
	// TrendReturns: the sample before it began the trend again and was wrong. The value is back where it was before
	// that, and the sample continues what was taken then.
	TrendReturns
)

// Follow notes a sample of an instrument that follows the batch by itself, see [viscosity.AssumedTrend]: ln of its
// value over the first one of its beginning. id names the sample.
//
// What follows is as for [Ensemble.Hear], and the instrument can stick or lie. A sample can shorten the life at
// once. It can lengthen it only once the next one has risen above it as a right one does, if the curve was learned
// from [viscosity.LeastEnds] ends or more, and if the trend has risen so from each sample to the next. So an instrument
// that stops following the ink leaves what the last right sample said. One wrong sample with right ones before and
// after it makes no life longer than without it: it does not rise, or the trend begins again with it and returns.
//
// It returns an error, and changes nothing, for a curve or a sample that is not valid, and for a return
// from something else than one sample.
func (c *Ensemble) Follow(id uint64, curve viscosity.Curve, of viscosity.Sample, as Sequence) error {
	if err := curve.Valid(); err != nil {
		return err
	}
	if err := of.Valid(); err != nil {
		return err
	}
	next := hearing{}
	if c.heard != nil {
		next = *c.heard
	}
	t := &trend{curve: curve}
	if old := next.trend; old != nil {
		t.mix, t.flat, t.wasFlat, t.samples = old.mix, old.flat, old.wasFlat, slices.Clone(old.samples)
	}
	newest := sample{ID: id, Age: c.age, Of: of.Run(0), Dose: slices.Clone(c.now.dose), Gap: slices.Clone(c.gap)}
	switch {
	case as == TrendReturns:
		if n := len(t.samples); n < 2 || t.samples[n-2].Mix == t.mix {
			return errors.New("trend: it returns from nothing")
		}
		t.samples = t.samples[:len(t.samples)-1]
		t.mix, t.flat = t.samples[len(t.samples)-1].Mix, t.wasFlat
		newest.Second = t.confirm(c, newest)
	case as == TrendBegins || len(t.samples) == 0:
		t.wasFlat, t.flat = t.flat, false
		newest.Confirmed = true
		t.mix++
	default:
		newest.Second = t.confirm(c, newest)
	}
	newest.Mix = t.mix
	t.samples = append(t.samples, newest)
	t.samples = t.samples[max(0, len(t.samples)-mostOfTrend):]
	next.trend = t
	c.listen(&next)
	return nil
}

// confirm judges the last sample by the newest, and removes those that are not needed any more. It reports whether the
// newest is the second of its beginning and does not rise from the first as a right one does.
func (t *trend) confirm(c *Ensemble, newest sample) (second bool) {
	n := len(t.samples)
	first := slices.IndexFunc(t.samples, func(s sample) bool { return s.Mix == t.mix })
	last := &t.samples[n-1]
	from, to := c.medianAge(*last), c.medianAge(newest)
	rises, was := t.curve.Rises(last.Of, newest.Of, from, to), t.flat
	t.flat = was || !rises
	switch {
	case first == n-1: // the first needs no other
		return !rises || t.curve.Steep(last.Of, newest.Of, from, to)
	case last.Second, t.flat && !was: // it stays; the last before the trend stands still may be the last right one
	case !t.flat && t.curve.Ends >= viscosity.LeastEnds:
		last.Confirmed = true
		kept := first + 1
		if t.samples[kept].Second {
			kept++
		}
		t.samples = append(t.samples[:kept], *last)
	default:
		t.samples = t.samples[:n-1]
	}
	return false
}

// lived returns the trend with the doses of members whose lives are longer by a factor of each.
func (t *trend) lived(longer []float64) *trend {
	next := *t
	next.samples = slices.Clone(t.samples)
	for k := range next.samples {
		s := &next.samples[k]
		s.Dose, s.Gap = slices.Clone(s.Dose), slices.Clone(s.Gap)
		for i := range longer {
			s.Dose[i] /= longer[i]
			if s.Gap != nil {
				s.Gap[i] /= longer[i]
			}
		}
	}
	return &next
}

// medianAge returns the median member's dose when a sample was taken, which is the age of a batch that ends at 1.
func (c *Ensemble) medianAge(s sample) float64 {
	doses := slices.Clone(s.Dose)
	for i := range s.Gap {
		doses[i] += s.Gap[i]
	}
	slices.Sort(doses)
	return doses[len(doses)/2]
}

// Followed is what an instrument that follows a batch has said.
type Followed struct {
	Age time.Duration // when its newest sample was taken
	// Learned: its curve was learned, so that it can lengthen the life.
	Learned bool
	// Confirmed: a sample after the first is believed where it lengthens the life.
	Confirmed bool
	// Flat: it did not rise as a right one does, so that it can only shorten the life from then on.
	Flat bool
	// Doubted is the probability, 0 to 1, that the newest sample is wrong.
	Doubted float64
}

// Followed returns what an instrument that follows the batch has said; ok is false where there is none.
func (c *Ensemble) Followed() (f Followed, ok bool) {
	if c.heard == nil || c.heard.trend == nil {
		return Followed{}, false
	}
	t := c.heard.trend
	n := len(t.samples)
	confirmed := 0
	for _, s := range t.samples {
		if s.Mix == t.mix && s.Confirmed {
			confirmed++
		}
	}
	return Followed{
		Age: t.samples[n-1].Age, Learned: t.curve.Ends >= viscosity.LeastEnds, Flat: t.flat,
		Confirmed: confirmed > 1, Doubted: t.doubted[n-1],
	}, true
}
