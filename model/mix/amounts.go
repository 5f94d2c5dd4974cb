package mix

import "math"

// Part is one of the three parts of a mix.
type Part string

// The parts, by their names on the wire.
const (
	Ink      Part = "ink"
	Hardener Part = "hardener"
	Thinner  Part = "thinner"
)

// Valid reports whether the part is one of the three.
func (p Part) Valid() bool { return p == Ink || p == Hardener || p == Thinner }

// Amounts holds the mass of each part in g. It may be a target, or what was poured.
type Amounts struct {
	InkG      float64 `json:"ink_g" doc:"mass of ink in g"`
	HardenerG float64 `json:"hardener_g" doc:"mass of hardener in g"`
	ThinnerG  float64 `json:"thinner_g" doc:"mass of thinner in g"`
}

// TotalG returns the mass of the whole mix in g.
func (a Amounts) TotalG() float64 { return a.InkG + a.HardenerG + a.ThinnerG }

// CatalysedG returns the mass of ink and hardener together in g. Percentages of thinner refer to
// it.
func (a Amounts) CatalysedG() float64 { return a.InkG + a.HardenerG }

// Of returns the mass of one part in g, 0 for a word that is not a part.
func (a Amounts) Of(p Part) float64 {
	switch p {
	case Ink:
		return a.InkG
	case Hardener:
		return a.HardenerG
	}
	return a.ThinnerG
}

// Plus returns the amounts with so many grams of one part added.
func (a Amounts) Plus(p Part, grams float64) Amounts {
	switch p {
	case Ink:
		a.InkG += grams
	case Hardener:
		a.HardenerG += grams
	case Thinner:
		a.ThinnerG += grams
	}
	return a
}

// ThinnerPct returns the thinner in % of ink and hardener; 0 for an empty cup.
func (a Amounts) ThinnerPct() float64 {
	if a.CatalysedG() <= 0 {
		return 0
	}
	return 100 * a.ThinnerG / a.CatalysedG()
}

// Targets returns the amounts that belong to a mass of ink in g. The hardener is ink/ratio, the
// thinner is a percentage of ink and hardener together (common practice, no source).
func Targets(inkG float64, ratio Ratio, thinnerPct float64) Amounts {
	hardener := inkG / float64(ratio)
	return Amounts{InkG: inkG, HardenerG: hardener, ThinnerG: thinnerPct / 100 * (inkG + hardener)}
}

// Deviation returns by how much the hardener deviates from what the ink needs, as a share: 0.2
// is a fifth too much. Without ink it is +Inf, or 0 for an empty cup.
func Deviation(a Amounts, ratio Ratio) float64 {
	if a.InkG <= 0 {
		if a.HardenerG <= 0 {
			return 0
		}
		return math.Inf(1)
	}
	return a.HardenerG*float64(ratio)/a.InkG - 1
}

// rounding is what binary fractions may add to a deviation that is exactly at the tolerance in
// decimal: 15.75 g on 60 g at 4:1 is 5 %, and in tolerance.
const rounding = 1e-9

// InTolerance reports whether ink and hardener are in ratio within a tolerance in %: |hardener ·
// ratio / ink − 1| ≤ tolerance.
func InTolerance(a Amounts, ratio Ratio, tolerancePct float64) bool {
	return math.Abs(Deviation(a, ratio)) <= tolerancePct/100+rounding
}
