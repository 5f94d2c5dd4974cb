package mix

import "math"

// Weighing is how the parts are weighed.
type Weighing struct {
	// ReadingUncertaintyG is the standard uncertainty of one reading of the
	// scale, division/√12 (JCGM 100, F.2.2.1).
	ReadingUncertaintyG float64
	// Once: all parts on one tare, so that one reading ends a part and begins
	// the next. Otherwise tared before each part.
	Once bool
}

// RatioUncertainty returns the relative standard uncertainty of ink/hardener as
// weighed. Tared between, each mass is a difference of two readings of its own:
// u² = 2 u_r² (1/ink² + 1/hardener²). On one tare the middle reading counts
// twice, with opposite signs: u² = u_r² (1/ink² + (1/ink + 1/hardener)² +
// 1/hardener²), from dq/dR of q = (R1-R0)/(R2-R1). Both masses above zero.
func (w Weighing) RatioUncertainty(a Amounts) float64 {
	i, h := 1/a.InkG, 1/a.HardenerG
	if w.Once {
		return w.ReadingUncertaintyG * math.Sqrt(i*i+(i+h)*(i+h)+h*h)
	}
	return w.ReadingUncertaintyG * math.Sqrt(2*(i*i+h*h))
}

// ThinnerUncertainty returns the standard uncertainty, in percentage points, of
// thinner as a share of ink and hardener; 0 where none is poured. It is the
// first-order propagation of t = 100 T/S with S = ink + hardener.
func (w Weighing) ThinnerUncertainty(a Amounts) float64 {
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

// Expanded is the expanded uncertainty, k = 2, of a mix.
type Expanded struct {
	RatioPct         float64 `json:"ratio_pct"`
	ThinnerPctPoints float64 `json:"thinner_pct_points"`
}

// coverage is the factor k of the expanded uncertainty.
const coverage = 2

// Uncertainty returns the expanded uncertainty of a mix as weighed.
func (w Weighing) Uncertainty(a Amounts) Expanded {
	return Expanded{
		RatioPct:         coverage * 100 * w.RatioUncertainty(a),
		ThinnerPctPoints: coverage * w.ThinnerUncertainty(a),
	}
}

// Grade is how well a scale suits a mix. It informs and never blocks.
type Grade string

// The grades, by the ratio's uncertainty against its tolerance.
const (
	Fine   Grade = "fine"   // expanded, at most half the tolerance
	Usable Grade = "usable" // standard, at most the tolerance
	Coarse Grade = "coarse" // anything else
)

// Grade judges the weighing of ink and hardener against a tolerance in percent.
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

// SmallestUsableInk returns the least ink, in grams, with which the grade is
// [Usable] at the recipe's ratio. The tolerance, in percent, is above zero.
func (w Weighing) SmallestUsableInk(ratio Ratio, tolerancePct float64) float64 {
	unit := Targets(1, ratio, 0)
	return 100 * w.RatioUncertainty(unit) / tolerancePct
}
