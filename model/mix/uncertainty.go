package mix

import "math"

// Weighing is how the parts are weighed.
type Weighing struct {
	// ReadingUncertaintyG is the standard uncertainty of one reading of the
	// scale, division/√12 (JCGM 100, F.2.2.1).
	ReadingUncertaintyG float64
	// Once: the scale is tared once for all parts, so that one reading ends a part and begins
	// the next. Otherwise it is tared before each part.
	Once bool
}

// RatioUncertainty returns the relative standard uncertainty of ink/hardener as weighed. Both
// masses must be above zero.
//
// When the scale is tared before each part, each mass is a difference of two readings of its
// own: u² = 2 u_r² (1/ink² + 1/hardener²). When it is tared once, the reading in the middle
// counts twice, with opposite signs: u² = u_r² (1/ink² + (1/ink + 1/hardener)² + 1/hardener²),
// from dq/dR of q = (R1-R0)/(R2-R1).
func (w Weighing) RatioUncertainty(a Amounts) float64 {
	i, h := 1/a.InkG, 1/a.HardenerG
	if w.Once {
		return w.ReadingUncertaintyG * math.Sqrt(i*i+(i+h)*(i+h)+h*h)
	}
	return w.ReadingUncertaintyG * math.Sqrt(2*(i*i+h*h))
}

// thinnerUncertainty returns the standard uncertainty of the thinner's share of ink and
// hardener, in percentage points; 0 where no thinner is poured. It is the first-order
// propagation of t = 100 T/S with S = ink + hardener.
func (w Weighing) thinnerUncertainty(a Amounts) float64 {
	if a.ThinnerG <= 0 {
		return 0
	}
	s := a.CatalysedG()
	perThinner, perCatalysed := 100/s, 100*a.ThinnerG/(s*s)
	if w.Once {
		// T = R3-R2 and S = R2-R0 share R2.
		shared := perThinner + perCatalysed
		return w.ReadingUncertaintyG * math.Sqrt(perThinner*perThinner+shared*shared+perCatalysed*perCatalysed)
	}
	// T is one net mass, S the sum of two.
	return w.ReadingUncertaintyG * math.Sqrt(2*perThinner*perThinner+4*perCatalysed*perCatalysed)
}

// Expanded is the expanded uncertainty of a mix, k = 2.
type Expanded struct {
	RatioPct         float64 `json:"ratio_pct"`
	ThinnerPctPoints float64 `json:"thinner_pct_points"`
}

// coverage is the factor k of the expanded uncertainty.
const coverage = 2

// Uncertainty returns the expanded uncertainty (k = 2) of a mix as weighed: that of the ratio in
// %, that of the thinner's share in percentage points. Ink and hardener must be above zero.
func (w Weighing) Uncertainty(a Amounts) Expanded {
	return Expanded{
		RatioPct:         coverage * 100 * w.RatioUncertainty(a),
		ThinnerPctPoints: coverage * w.thinnerUncertainty(a),
	}
}

// Grade is how well a scale suits a mix. It informs; it never prevents a mix.
type Grade string

// The grades, by the uncertainty of the ratio compared with its tolerance.
const (
	Fine   Grade = "fine"   // the expanded uncertainty is at most half the tolerance
	Usable Grade = "usable" // the standard uncertainty is at most the tolerance
	Coarse Grade = "coarse" // anything else
)

// Grade returns how well ink and hardener can be weighed for a tolerance in %.
func (w Weighing) Grade(a Amounts, tolerancePct float64) Grade {
	u := 100 * w.RatioUncertainty(a)
	switch {
	case coverage*u <= tolerancePct/2:
		return Fine
	case u <= tolerancePct:
		return Usable
	}
	return Coarse
}

// SmallestUsableInk returns the least mass of ink in g with which the grade is [Usable] at the
// recipe's ratio. The tolerance in % must be above zero.
func (w Weighing) SmallestUsableInk(ratio Ratio, tolerancePct float64) float64 {
	unit := Targets(1, ratio, 0)
	return 100 * w.RatioUncertainty(unit) / tolerancePct
}
