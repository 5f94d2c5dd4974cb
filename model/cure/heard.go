package cure

import (
	"math"
	"slices"
	"time"

	"potlifed/model/viscosity"
)

const (
	// maxSamples is how many samples of one batch are used. The first tells the start; of the later
	// ones the newest tell most.
	maxSamples = 6
	// maxSingle is how many runs that no other confirms are used, the newest.
	maxSingle = 4
	// cupAgreesK is by how many K the temperature of a sample may differ from that of the cup, as the
	// air has it, before it is taken as doubtful.
	cupAgreesK = 2.0
)

// sample is a sample of the batch with what the members had spent when it was taken. It is never
// changed.
type sample struct {
	ID  uint64           `json:"id"`
	Age time.Duration    `json:"age_ns"`
	Mix int              `json:"mix,omitempty"` // how often another batch had been poured in
	Of  viscosity.Sample `json:"of"`
	// Confirmed: its runs agree with each other, and its temperature with that of the cup.
	Confirmed bool `json:"confirmed,omitempty"`
	// Second: of a trend, it does not rise from the first of its beginning as a right one does. One of the two may be wrong.
	Second bool `json:"second,omitempty"`
	// Dose is each member's known dose, and Gap its drawn dose of a time that was not measured.
	Dose floats `json:"dose"`
	Gap  floats `json:"gap,omitempty"`
}

// hearing is what the samples of a batch say of its end. It is replaced and never changed, so
// that clones share it.
type hearing struct {
	curve   viscosity.Curve
	mix     int
	samples []sample
	trend   *trend // what an instrument that follows the batch says, nil without one
	// told are the distributions of the end dose, see Hear, and used the numbers of their sets.
	told []told
	used []int
	// doubted is the probability that a sample is wrong, in their order.
	doubted []float64
}

// indistinct is how much earlier, in ln dose, an end must lie to make a distribution count.
const indistinct = 0.005

// Hear notes that a sample of the batch was measured now: a flow time as a viscosity. id names
// the sample for Unhear; a sample with the same id is replaced. Each member's end dose gets the
// distribution that curve and samples give it, and each member the weight of how well it explains
// them. The dose that was spent does not change, nor the moment at which the batch was last known
// good. Levels of the risk that were passed before and are not passed any more are removed.
//
// The end dose is integrated on a grid for each member and start, rise, bend and slopes of the
// curve in closed form, since the viscosity is linear in them: two dimensions are left (members and
// end doses), where a grid over the curve's parameters too would have seven. Each member then keeps
// the lognormal distribution with the mean and variance of ln (end dose), so that a step of air costs
// the same as before.
//
// A sample can be wrong (a slipped digit, another cup). Its likelihood therefore is a mixture: of all samples,
// of all but one, and of none. That does not suffice for a slip that is small. A sample is confirmed when
// it has two runs that agree, its temperature is near that of the cup as the air has it, and no other sample of
// the batch is of another flow cup: of two cups one may be named wrongly, and the earlier end of both counts. The runs of
// other samples can only shorten the life: the risk is the largest of those from the confirmed samples with
// none, one and each pair of the other runs. So a wrong run makes no batch live longer than without it by more
// than 2 %, unless it is within the scatter of a right one: then nothing tells it from a right one, and both count.
//
// It returns an error, and changes nothing, for a curve or a sample that is not valid.
func (c *Ensemble) Hear(id uint64, curve viscosity.Curve, of viscosity.Sample) error {
	if err := curve.Valid(); err != nil {
		return err
	}
	if err := of.Valid(); err != nil {
		return err
	}
	of.LnRuns = slices.Clone(of.LnRuns)
	next := hearing{curve: curve}
	if c.heard != nil {
		next.mix, next.samples, next.trend = c.heard.mix, without(c.heard.samples, id), c.heard.trend
	}
	next.samples = append(next.samples, sample{ID: id, Age: c.age, Mix: next.mix, Of: of,
		Confirmed: of.Agree() && math.Abs(of.TemperatureC-c.nominal.CupC) <= cupAgreesK,
		Dose:      slices.Clone(c.now.dose), Gap: slices.Clone(c.gap)})
	if n := len(next.samples); n > maxSamples {
		next.samples = append(next.samples[:1:1], next.samples[n-maxSamples+1:]...)
	}
	c.listen(&next)
	return nil
}

// Unhear removes a sample, as when its figures were wrong. It reports whether there was one with
// this id.
func (c *Ensemble) Unhear(id uint64) bool {
	if c.heard == nil {
		return false
	}
	left := without(c.heard.samples, id)
	if len(left) == len(c.heard.samples) {
		return false
	}
	c.listen(&hearing{curve: c.heard.curve, mix: c.heard.mix, samples: left, trend: c.heard.trend})
	return true
}

func without(samples []sample, id uint64) []sample {
	return slices.DeleteFunc(slices.Clone(samples), func(s sample) bool { return s.ID == id })
}

// PouredIn notes that another batch was poured in: the viscosity of later samples starts from
// another value.
func (c *Ensemble) PouredIn() {
	if c.heard == nil {
		return
	}
	next := *c.heard
	next.mix++
	c.heard = &next
}

// listen replaces what was heard and calculates what follows from it.
func (c *Ensemble) listen(next *hearing) {
	was := c.crossed
	if len(next.samples) == 0 && next.trend == nil {
		if c.heard = nil; next.mix > 0 {
			c.heard = next
		}
		c.settle()
	} else {
		next.told, next.used = nil, nil
		next.doubted = doubts(next.curve, next.samples, c.members)
		if t := next.trend; t != nil {
			t.doubted = doubts(t.curve, t.samples, c.members)
		}
		c.heard = next
		c.choose()
	}
	risk := c.Risk()
	for level := range c.crossed {
		c.crossed[level] = notCrossed
		if risk >= levelRisk[level] {
			if c.crossed[level] = was[level]; was[level] == notCrossed {
				c.crossed[level] = c.age
			}
		}
	}
}

// cups returns the flow cups of the samples, each once; those that are not known are left out.
func (h *hearing) cups() (cups []string) {
	for _, s := range h.samples {
		if s.Of.Cup != "" && !slices.Contains(cups, s.Of.Cup) {
			cups = append(cups, s.Of.Cup)
		}
	}
	return cups
}

// sets returns the sets of samples that the risk is the largest of: the confirmed ones with none, one and each
// pair of the single runs. Where samples are of different flow cups, the sets are those of each cup by itself: one of
// the cups may be named wrongly, and nobody knows which.
func (h *hearing) sets() (sets [][]sample) {
	if cups := h.cups(); len(cups) > 1 {
		for _, cup := range cups {
			one := hearing{samples: slices.DeleteFunc(slices.Clone(h.samples), func(s sample) bool { return s.Of.Cup != "" && s.Of.Cup != cup })}
			sets = append(sets, one.sets()...)
		}
		return sets
	}
	type single struct{ sample, run int }
	var singles []single
	for k, s := range h.samples {
		for run := range s.Of.LnRuns {
			if !s.Confirmed {
				singles = append(singles, single{k, run})
			}
		}
	}
	singles = singles[max(0, len(singles)-maxSingle):]
	const none = -1
	runs := make([]int, len(h.samples)) // of each sample that is not confirmed, or none
	for k := range runs {
		runs[k] = none
	}
	sets = [][]sample{h.set(runs)}
	for i, a := range singles {
		runs[a.sample] = a.run
		sets = append(sets, h.set(runs))
		for _, b := range singles[:i] {
			if b.sample != a.sample { // two runs of one sample contradict each other
				runs[b.sample] = b.run
				sets = append(sets, h.set(runs))
				runs[b.sample] = none
			}
		}
		runs[a.sample] = none
	}
	return sets
}

// set returns the confirmed samples and the given runs of others, oldest first. A confirmed sample is taken by
// the run that shortens the life: the first by its lowest viscosity and a later one by its highest. So a slip
// that stays within what runs differ by does not lengthen the life.
func (h *hearing) set(runs []int) []sample {
	var set []sample
	for k, s := range h.samples {
		switch {
		case !s.Confirmed && runs[k] < 0:
			continue
		case !s.Confirmed:
			s.Of = s.Of.Run(runs[k])
		case len(set) == 0 || set[len(set)-1].Mix != s.Mix:
			s.Of = s.Of.Shortest()
		default:
			s.Of = s.Of.Longest()
		}
		set = append(set, s)
	}
	return set
}

// doubts returns the probability that each sample is wrong, as all of them together say.
func doubts(curve viscosity.Curve, samples []sample, members []member) []float64 {
	all := slices.Clone(samples)
	for k := range all {
		all[k].Of = all[k].Of.Longest()
	}
	return newGrid(curve, all, members).doubted()
}

// choose calculates the distributions from each set and keeps those by which an end lies earliest.
func (c *Ensemble) choose() {
	h := c.heard
	var all []told
	for _, set := range h.all() {
		all = append(all, newGrid(set.curve, set.samples, c.members).told())
	}
	var at []alive
	for i := range all {
		at = append(at, all[i].aliveAt(c.doseAtGood, c.gapAtGood))
	}
	if len(all) == 1 {
		h.told, h.used = all, []int{0}
		c.settle()
		return
	}
	next := 0
	for next >= 0 && len(h.told) < levels+1 {
		h.told, h.used = append(h.told, all[next]), append(h.used, next)
		c.settle()
		if len(h.told) == len(all) {
			return
		}
		var ends [levels]float64 // ln of the factor by which all doses grow until the risk passes the level
		for level := range ends {
			ends[level] = c.growthUntil(levelRisk[level])
		}
		next = -1
		most := 1e-9
		for i := range all {
			for level, p := range levelRisk {
				if over := all[i].risk(at[i], c.now.dose, c.gap, ends[level]-indistinct) - p; over > most && !slices.Contains(h.used, i) {
					next, most = i, over
				}
			}
		}
	}
}

// recount gives the samples that were taken after an unknown gap the dose that the gap has become
// known to have been.
func (c *Ensemble) recount(lived []float64) {
	if c.heard == nil {
		return
	}
	next := *c.heard
	samples, some := recounted(next.samples, lived)
	next.samples = samples
	if next.trend != nil {
		t := *next.trend
		followed, also := recounted(t.samples, lived)
		t.samples, some = followed, some || also
		next.trend = &t
	}
	if some {
		c.listen(&next)
	}
}

// recounted returns samples whose gap has become known, and whether there was one.
func recounted(samples []sample, lived []float64) (out []sample, some bool) {
	out = slices.Clone(samples)
	for k, s := range out {
		if s.Gap == nil {
			continue
		}
		s.Gap, s.Dose, some = nil, slices.Clone(s.Dose), true
		for i := range s.Dose {
			s.Dose[i] += lived[i]
		}
		out[k] = s
	}
	return out, some
}
