package quality

import (
	"context"
	"math"
	"slices"
)

// Options of a study.
type Options struct {
	Family Family
	// Relevant is the increase between the dry and the humid tenth of the prints that would
	// matter, as a share: 0.25 for 25 % more defects.
	Relevant float64
	Weeks    float64 // how long the data took; 0 when it is not known
	// Pause is called every millisecond or so of the computation, so that others get the processor; nil
	// for none.
	Pause func()
}

// UsualRelevant is the usual value of [Options.Relevant].
const UsualRelevant = 0.25

// Verdict answers whether humid air goes with more defects.
type Verdict string

// The verdicts.
const (
	MoreDefects  Verdict = "more-defects"    // yes: humid air goes with more defects
	FewerDefects Verdict = "fewer-defects"   // humid air goes with fewer defects
	NothingFound Verdict = "nothing-found"   // no: an effect that matters is excluded
	NotEnough    Verdict = "not-enough-data" // nothing was found, and an effect is not excluded
)

// Total is a kind of defect with how often it was counted.
type Total struct {
	Kind     string // empty for all kinds together
	Defects  float64
	Rate     float64 // defects for each print
	Interval Interval
}

// Study says how the defects of prints go together with their conditions.
type Study struct {
	Verdict Verdict
	Kinds   []string // whose rate goes with the humidity; "" is all kinds together
	// WeeksMore is about how many more weeks it takes, for NotEnough; NaN when unknown.
	WeeksMore float64
	// Curved: the rate of all defects does not follow the humidity along a straight line, on
	// the scale of ratios. The bins then say more than the effect.
	Curved    bool
	Threshold Threshold

	Prints, Defects float64
	// Unexposed are defects in cells without prints, which no rate can use.
	Unexposed     float64
	Days, Batches int
	Clustering    Clustering
	Clusters      int
	DesignEffect  float64 // of the bins' intervals
	Totals        []Total
	Effects       []Effect // by factor; for each, all kinds together, then each kind
	Curves        []Curve  // in the order of Effects
}

// discovery is the share of false discoveries among the effects that are called found.
const discovery = 0.05

// Analyse makes a study. It returns the error of the context when that ends first.
//
// The question about humid air is asked with the vapour density, of all kinds together and of
// each kind; these effects are corrected together. The effects of all other factors are
// corrected together as a second family.
func Analyse(ctx context.Context, d Data, o Options) (Study, error) {
	p := prepare(d)
	p.pause = o.Pause
	s := Study{Days: p.days, Batches: p.batches, Clustering: p.clustering, WeeksMore: math.NaN()}
	for i := range d.Cells {
		c := &d.Cells[i]
		if c.Prints.Prints > 0 {
			s.Prints += c.Prints.Prints
			s.Defects += c.count(allKinds)
		} else {
			s.Unexposed += c.count(allKinds)
		}
	}
	kinds := append([]int{allKinds}, p.order()...)
	for f := range factorCount {
		for _, kind := range kinds {
			if err := ctx.Err(); err != nil {
				return Study{}, err
			}
			s.Effects = append(s.Effects, p.effect(kind, f, o))
			s.Curves = append(s.Curves, p.curve(kind, f, &s.Effects[len(s.Effects)-1]))
		}
	}
	first := len(kinds)
	correct(s.Effects[:first])
	correct(s.Effects[first:])
	s.Clusters = s.Effects[0].Clusters
	s.DesignEffect = s.Curves[0].DesignEffect
	s.totals(p, kinds)
	s.answer(s.Effects[:first])
	s.Curved = p.curved(o)
	if err := ctx.Err(); err != nil {
		return Study{}, err
	}
	if s.Verdict == MoreDefects {
		s.Threshold = p.threshold(p.surest(s.Effects[:first]), o)
	}
	return s, nil
}

// order returns the kinds that were counted, most frequent first.
func (p *prepared) order() []int {
	totals := make([]float64, len(p.Kinds))
	for i := range p.Cells {
		for k, n := range p.Cells[i].Defects {
			totals[k] += n
		}
	}
	var list []int
	for k, n := range totals {
		if n > 0 {
			list = append(list, k)
		}
	}
	slices.SortStableFunc(list, func(a, b int) int {
		switch {
		case totals[a] > totals[b]:
			return -1
		case totals[a] < totals[b]:
			return 1
		}
		return 0
	})
	return list
}

// correct sets Q and Found of effects that are looked at together.
func correct(effects []Effect) {
	p := make([]float64, len(effects))
	for i, e := range effects {
		p[i] = e.P
		if e.Reason != "" {
			p[i] = math.NaN()
		}
	}
	for i, q := range FalseDiscoveries(p) {
		effects[i].Q, effects[i].Found = q, q < discovery
	}
}

// answer derives the verdict from the effects of the vapour density.
func (s *Study) answer(humidity []Effect) {
	more, fewer := []string{}, []string{}
	for _, e := range humidity {
		switch {
		case e.Found && e.Ratio > 1:
			more = append(more, e.Kind)
		case e.Found:
			fewer = append(fewer, e.Kind)
		}
	}
	all := humidity[0]
	switch {
	case len(more) > 0:
		s.Verdict, s.Kinds = MoreDefects, more
	case len(fewer) > 0:
		s.Verdict, s.Kinds = FewerDefects, fewer
	case all.Reason == "" && all.Excluded:
		s.Verdict = NothingFound
	default:
		s.Verdict, s.WeeksMore = NotEnough, all.WeeksMore
	}
}

// surest returns the kind whose limit is told: all kinds together, which was asked about, where their increase was
// found, and else the kind with the surest one.
func (p *prepared) surest(humidity []Effect) int {
	if e := &humidity[0]; e.Found && e.Ratio > 1 {
		return allKinds
	}
	var best *Effect
	for i := range humidity {
		if e := &humidity[i]; e.Found && e.Ratio > 1 && (best == nil || e.P < best.P) {
			best = e
		}
	}
	return slices.Index(p.Kinds, best.Kind) // -1, all kinds, for no name
}

// totals fills the totals, with intervals as wide as the design effect makes them.
func (s *Study) totals(p *prepared, kinds []int) {
	for _, kind := range kinds {
		t := Total{}
		if kind != allKinds {
			t.Kind = p.Kinds[kind]
		}
		c := clustered{}
		for i := range p.Cells {
			if cell := &p.Cells[i]; cell.Prints.Prints > 0 {
				c.add(p.clusterOf(i), cell.count(kind), cell.Prints.Prints)
			}
		}
		t.Defects, t.Rate, t.Interval = c.count, c.count/c.exposure, c.interval(c.design())
		if c.exposure > 0 {
			s.Totals = append(s.Totals, t)
		}
	}
}
