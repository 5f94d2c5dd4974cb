package verify

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// ScaleClass is the accuracy class of a scale by OIML R 76.
type ScaleClass string

// The classes of scales, the most accurate first.
const (
	ClassI    ScaleClass = "I"
	ClassII   ScaleClass = "II"
	ClassIII  ScaleClass = "III"
	ClassIIII ScaleClass = "IIII"
)

// classLimits is what OIML R 76-1:2006 says of a class: its table 6 gives, in verification scale
// intervals, the loads up to which 0.5 e and 1.0 e are permitted, and its clause A.4.10 how many
// weighings show the repeatability at a verification.
type classLimits struct {
	half, one float64
	weighings int
}

var classes = map[ScaleClass]classLimits{
	ClassI:    {50_000, 200_000, 6},
	ClassII:   {5_000, 20_000, 6},
	ClassIII:  {500, 2_000, 3},
	ClassIIII: {50, 200, 3},
}

// Scale is a scale as it is marked.
type Scale struct {
	Class ScaleClass
	EG    float64 // verification scale interval e in g
	DG    float64 // division of the display in g
	MaxG  float64 // maximum capacity in g
}

// possibleClasses returns the classes that a scale with a verification scale interval and a maximum
// capacity in g may have, by OIML R 76-1:2006, table 3.
func possibleClasses(eG, maxG float64) []ScaleClass {
	const eps = 1e-9 // 2000 g / 0.1 g is not quite 20,000
	n := maxG / eG
	within := func(least, most float64) bool { return n >= least-eps*least && n <= most*(1+eps) }
	var possible []ScaleClass
	if eG >= 0.001-eps && n >= 50_000*(1-eps) {
		possible = append(possible, ClassI)
	}
	if eG >= 0.001-eps && eG <= 0.05+eps && within(100, 100_000) || eG >= 0.1-eps && within(5_000, 100_000) {
		possible = append(possible, ClassII)
	}
	if eG >= 0.1-eps && eG <= 2+eps && within(100, 10_000) || eG >= 5-eps && within(500, 10_000) {
		possible = append(possible, ClassIII)
	}
	if eG >= 5-eps && within(100, 1_000) {
		possible = append(possible, ClassIIII)
	}
	return possible
}

// UsualClass returns the class to assume for a scale that nobody has named the class of: III where
// that is possible, else the nearest possible one. ok is false where OIML R 76 has none.
func UsualClass(eG, maxG float64) (c ScaleClass, ok bool) {
	possible := possibleClasses(eG, maxG)
	for _, c := range []ScaleClass{ClassIII, ClassII, ClassI, ClassIIII} {
		if slices.Contains(possible, c) {
			return c, true
		}
	}
	return "", false
}

// check returns an error when the class does not go with the interval and the capacity.
func (s Scale) check() error {
	if !(s.EG > 0) || !(s.DG > 0) || !(s.MaxG > 0) || math.IsInf(s.EG+s.DG+s.MaxG, 0) {
		return errors.New("want a verification scale interval, a division and a capacity above 0 g")
	}
	if possible := possibleClasses(s.EG, s.MaxG); !slices.Contains(possible, s.Class) {
		return fmt.Errorf("class %q with e = %v g and Max = %v g: OIML R 76 has %s for these", s.Class, s.EG, s.MaxG, listed(possible))
	}
	return nil
}

func listed(possible []ScaleClass) string {
	if len(possible) == 0 {
		return "no class"
	}
	return fmt.Sprintf("class %v", possible)
}

// permitted returns the maximum permissible error in g for a load in g on initial verification
// (OIML R 76-1:2006, table 6). In service it is twice as much (clause 3.5.2).
func (s Scale) permitted(loadG float64) float64 {
	c, m := classes[s.Class], math.Abs(loadG)/s.EG
	const eps = 1e-9
	switch {
	case m <= c.half*(1+eps):
		return 0.5 * s.EG
	case m <= c.one*(1+eps):
		return s.EG
	}
	return 1.5 * s.EG
}

// weighings returns how many weighings of one load show the repeatability (OIML R 76-1:2006,
// A.4.10): 6 for the classes I and II, else 3.
func (s Scale) weighings() int { return classes[s.Class].weighings }

// Load is a test load, and what the scale showed for it in one or more weighings.
type Load struct {
	WeightsG  []float64   // nominal masses of the weights, each of OIML R 111
	Class     WeightClass // of the weights
	ReadingsG []float64   // what the scale showed, less what it showed empty
}

// Verdict is how an instrument stands to the limits of its check.
type Verdict string

// The verdicts, the best first.
const (
	Passed    Verdict = "passed"     // within the limits of initial verification, or the accuracy
	InService Verdict = "in-service" // within the limits in service, beyond those of initial verification
	Failed    Verdict = "failed"     // beyond the limits
)

// LoadResult is what the weighings of one load show.
type LoadResult struct {
	LoadG        float64 `json:"load_g" doc:"nominal mass of the weights in g"`
	N            int     `json:"n" doc:"number of weighings"`
	MeanG        float64 `json:"mean_g" doc:"mean of the readings in g"`
	ErrorG       float64 `json:"error_g" doc:"mean of the readings less the nominal mass, in g"`
	SpreadG      float64 `json:"spread_g" doc:"largest reading less the smallest, in g: the repeatability"`
	UncertaintyG float64 `json:"uncertainty_g" doc:"expanded uncertainty (k = 2) of error_g, in g"`
	InitialG     float64 `json:"initial_g" doc:"permissible error on initial verification in g (OIML R 76)"`
	InServiceG   float64 `json:"in_service_g" doc:"permissible error in service in g: twice initial_g"`
	WeightsG     float64 `json:"weights_permitted_g" doc:"permissible error of the weights together in g (OIML R 111)"`
	// CoarseWeights: the weights are not accurate enough (OIML R 76-1:2006, clause 3.7.1).
	CoarseWeights bool    `json:"coarse_weights,omitempty" doc:"the weights' permissible error is more than a third of the scale's: use better ones"`
	Verdict       Verdict `json:"verdict" enum:"passed,in-service,failed" doc:"passed: error and repeatability are within the limits of initial verification; in-service: within those in service; failed: beyond"`
}

// ScaleResult is what a check of a scale shows.
type ScaleResult struct {
	Loads   []LoadResult `json:"loads" doc:"what each load showed"`
	Verdict Verdict      `json:"verdict" enum:"passed,in-service,failed" doc:"the worst of the loads"`
}

// most readings and weights of a load.
const (
	mostReadings = 20
	mostWeights  = 20
	mostLoads    = 10
)

// Judge judges a check of a scale. The error and the repeatability of each load are compared with
// the limits of OIML R 76-1:2006: table 6 and clause 3.6.1 on initial verification, and twice that
// in service. It fails for an unknown weight, a load beyond Max, a reading that is no number, and
// when no load was weighed often enough to show the repeatability.
func (s Scale) Judge(loads []Load) (ScaleResult, error) {
	if err := s.check(); err != nil {
		return ScaleResult{}, err
	}
	if len(loads) == 0 || len(loads) > mostLoads {
		return ScaleResult{}, fmt.Errorf("%d loads: want 1 to %d", len(loads), mostLoads)
	}
	r, often := ScaleResult{Verdict: Passed}, false
	for i, l := range loads {
		one, err := s.judge(l)
		if err != nil {
			return ScaleResult{}, fmt.Errorf("load %d: %w", i+1, err)
		}
		often = often || one.N >= s.weighings()
		r.Loads = append(r.Loads, one)
		r.Verdict = worse(r.Verdict, one.Verdict)
	}
	if !often {
		return ScaleResult{}, fmt.Errorf("no load was weighed %d times: class %s needs that many weighings of one load to show the repeatability", s.weighings(), s.Class)
	}
	return r, nil
}

func (s Scale) judge(l Load) (LoadResult, error) {
	n := len(l.ReadingsG)
	switch {
	case n == 0 || n > mostReadings:
		return LoadResult{}, fmt.Errorf("%d readings: want 1 to %d", n, mostReadings)
	case len(l.WeightsG) == 0 || len(l.WeightsG) > mostWeights:
		return LoadResult{}, fmt.Errorf("%d weights: want 1 to %d", len(l.WeightsG), mostWeights)
	}
	r := LoadResult{N: n}
	for _, nominal := range l.WeightsG {
		permitted, err := weightError(l.Class, nominal)
		if err != nil {
			return LoadResult{}, err
		}
		r.LoadG += nominal
		r.WeightsG += permitted
	}
	if r.LoadG > s.MaxG {
		return LoadResult{}, fmt.Errorf("%v g is more than the scale's capacity of %v g", r.LoadG, s.MaxG)
	}
	for _, x := range l.ReadingsG {
		if math.IsNaN(x) || math.Abs(x) > 10*s.MaxG {
			return LoadResult{}, fmt.Errorf("a reading of %v g: want one between -Max and Max", x)
		}
	}
	// The differences to the first reading are summed, so that equal readings have no spread.
	var sum, squares float64
	for _, x := range l.ReadingsG {
		sum += x - l.ReadingsG[0]
		squares += (x - l.ReadingsG[0]) * (x - l.ReadingsG[0])
	}
	mean := sum / float64(n)
	r.MeanG = l.ReadingsG[0] + mean
	r.ErrorG = r.MeanG - r.LoadG
	r.SpreadG = slices.Max(l.ReadingsG) - slices.Min(l.ReadingsG)
	variance := 0.0 // of the mean
	if n > 1 {
		variance = max(squares-float64(n)*mean*mean, 0) / float64(n-1) / float64(n)
	}
	// The display rounds the reading and the one of the empty pan (JCGM 100, F.2.2.1); the true
	// mass of the weights is somewhere within their permissible error (JCGM 100, 4.3.7).
	r.UncertaintyG = 2 * math.Sqrt(variance+s.DG*s.DG/6+r.WeightsG*r.WeightsG/3)
	r.InitialG = s.permitted(r.LoadG)
	r.InServiceG = 2 * r.InitialG
	r.CoarseWeights = r.WeightsG > r.InitialG/3
	off := max(math.Abs(r.ErrorG), r.SpreadG)
	const eps = 1e-6 // the readings are decimal figures
	switch {
	case off <= r.InitialG+eps*s.EG:
		r.Verdict = Passed
	case off <= r.InServiceG+eps*s.EG:
		r.Verdict = InService
	default:
		r.Verdict = Failed
	}
	return r, nil
}

func worse(a, b Verdict) Verdict {
	order := []Verdict{Passed, InService, Failed}
	return order[max(slices.Index(order, a), slices.Index(order, b))]
}
