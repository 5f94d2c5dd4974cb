package mix

import "math"

// Part is one of the things that go into a mix.
type Part string

// The parts, by the names they have on every wire.
const (
	Ink      Part = "ink"
	Hardener Part = "hardener"
	Thinner  Part = "thinner"
)

// Valid reports whether the part is one of the three.
func (p Part) Valid() bool { return p == Ink || p == Hardener || p == Thinner }

// Amounts are grams of each part: a target, or what was poured.
type Amounts struct {
	InkG      float64 `json:"ink_g" doc:"mass of ink in g"`
	HardenerG float64 `json:"hardener_g" doc:"mass of hardener in g"`
	ThinnerG  float64 `json:"thinner_g" doc:"mass of thinner in g"`
}

// TotalG is the whole mix.
func (a Amounts) TotalG() float64 { return a.InkG + a.HardenerG + a.ThinnerG }

// CatalysedG is ink and hardener together, what thinner is reckoned on.
func (a Amounts) CatalysedG() float64 { return a.InkG + a.HardenerG }

// Of returns the grams of one part.
func (a Amounts) Of(p Part) float64 {
	switch p {
	case Ink:
		return a.InkG
	case Hardener:
		return a.HardenerG
	}
	return a.ThinnerG
}

// Plus returns the amounts with grams of one part added.
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

// ThinnerPct is the thinner in percent of ink and hardener; 0 in an empty cup.
func (a Amounts) ThinnerPct() float64 {
	if a.CatalysedG() <= 0 {
		return 0
	}
	return 100 * a.ThinnerG / a.CatalysedG()
}

// Targets returns what belongs to so much ink: hardener = ink/ratio, thinner a
// percentage of both (common practice, no source).
func Targets(inkG float64, ratio Ratio, thinnerPct float64) Amounts {
	hardener := inkG / float64(ratio)
	return Amounts{InkG: inkG, HardenerG: hardener, ThinnerG: thinnerPct / 100 * (inkG + hardener)}
}

// Deviation is how far the hardener is from what the ink asks for, relative:
// 0.2 is a fifth too much. Without ink it is +Inf, or 0 in an empty cup.
func Deviation(a Amounts, ratio Ratio) float64 {
	if a.InkG <= 0 {
		if a.HardenerG <= 0 {
			return 0
		}
		return math.Inf(1)
	}
	return a.HardenerG*float64(ratio)/a.InkG - 1
}

// rounding is what binary fractions may add to a deviation that is exactly at
// the tolerance in decimal: 15.75 g on 60 g at 4:1 is 5 %, and in tolerance.
const rounding = 1e-9

// InTolerance reports whether hardener and ink are in ratio within the
// tolerance, in percent: |hardener · ratio / ink − 1| ≤ tolerance.
func InTolerance(a Amounts, ratio Ratio, tolerancePct float64) bool {
	return math.Abs(Deviation(a, ratio)) <= tolerancePct/100+rounding
}
