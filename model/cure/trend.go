package cure

import (
	"cmp"
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
	// flat: it once did not rise as a right one does. From then on it can only shorten the life.
	flat    bool
	doubted []float64
}

// mostOfTrend is how many samples of a trend are kept. There are up to four of each beginning: the first, the
// last confirmed one, the last before the trend stood still, and the newest.
const mostOfTrend = 6

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
// beginning: the drift between samples that lie close together is not known well enough to use their slope.
func (t *trend) sets() [][]sample {
	isFirst := func(k int) bool { return k == 0 || t.samples[k-1].Mix != t.samples[k].Mix }
	confirmed := func(except int) (out []sample) {
		for k, s := range t.samples {
			if s.Confirmed && (isFirst(k) || s.Mix != except) {
				out = append(out, s)
			}
		}
		return out
	}
	const none = -1
	sets := [][]sample{confirmed(none)}
	for _, s := range t.samples {
		if !s.Confirmed {
			with := append(confirmed(s.Mix), s)
			slices.SortStableFunc(with, func(a, b sample) int { return cmp.Compare(a.Age, b.Age) })
			sets = append(sets, with)
		}
	}
	return sets
}

// Follow notes a sample of an instrument that follows the batch by itself, see [viscosity.AssumedTrend]: ln of its
// value over its first one. begin: the sample is the first of the batch, or the first after something that is not
// the ink's age moved the value. id names the sample.
//
// What follows is as for [Ensemble.Hear], and the instrument can stick or lie. A sample can shorten the life at
// once. It can lengthen it only once the next one has risen above it as a right one does, if the curve was learned
// from [viscosity.LeastEnds] ends or more, and if the trend has risen so from each sample to the next. So an instrument
// that stops following the ink leaves what the last right sample said.
//
// It returns an error, and changes nothing, for a curve or a sample that is not valid.
func (c *Ensemble) Follow(id uint64, curve viscosity.Curve, of viscosity.Sample, begin bool) error {
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
	if next.trend != nil {
		t.mix, t.flat, t.samples = next.trend.mix, next.trend.flat, slices.Clone(next.trend.samples)
	}
	newest := sample{ID: id, Age: c.age, Of: of.Run(0), Dose: slices.Clone(c.now.dose), Gap: slices.Clone(c.gap)}
	if begin || len(t.samples) == 0 {
		t.mix++
		t.flat, newest.Confirmed = false, true
	} else {
		t.confirm(c, newest)
	}
	newest.Mix = t.mix
	t.samples = append(t.samples, newest)
	t.samples = t.samples[max(0, len(t.samples)-mostOfTrend):]
	next.trend = t
	c.listen(&next)
	return nil
}

// confirm judges the last sample by the newest, and removes those that are not needed any more.
func (t *trend) confirm(c *Ensemble, newest sample) {
	n := len(t.samples)
	first := slices.IndexFunc(t.samples, func(s sample) bool { return s.Mix == t.mix })
	last := &t.samples[n-1]
	rises := t.curve.Rises(last.Of, newest.Of, c.medianAge(*last), c.medianAge(newest))
	was := t.flat
	t.flat = t.flat || !rises
	switch {
	case first == n-1: // the first needs no other
	case t.flat && !was: // the last may be the last right one
	case !t.flat && t.curve.Ends >= viscosity.LeastEnds:
		last.Confirmed = true
		t.samples = append(t.samples[:first+1], *last)
	default:
		t.samples = t.samples[:n-1]
	}
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
