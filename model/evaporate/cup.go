package evaporate

import (
	"errors"
	"fmt"
	"math"
)

// Cup is the balance of the thinner in one cup, in g. The zero value is an empty cup. A Cup is a
// value; each method returns the cup after a change.
//
// Weighed and estimated losses are kept apart, since they are not equally certain. A weighing
// replaces the estimate since the weighing before it.
type Cup struct {
	CatalysedG     float64 // ink and hardener in the cup
	PouredG        float64 // thinner poured in, top-ups included
	AimPct         float64 // thinner as mixed, in % of ink and hardener
	WeighedLossG   float64 // loss up to the last weighing, as weighed
	EstimatedLossG float64 // loss since then, as estimated
}

// NewCup returns a cup after mixing. The error names a mass that is out of range: ink and
// hardener above 0 and at most 1e6 g, thinner 0 to 1e6 g.
func NewCup(catalysedG, thinnerG float64) (Cup, error) {
	if !(catalysedG > 0 && catalysedG <= 1e6) {
		return Cup{}, fmt.Errorf("cup: %v g of ink and hardener: want above 0 and at most 1000000", catalysedG)
	}
	if !(thinnerG >= 0 && thinnerG <= 1e6) {
		return Cup{}, fmt.Errorf("cup: %v g of thinner: want 0 to 1000000", thinnerG)
	}
	return Cup{CatalysedG: catalysedG, PouredG: thinnerG, AimPct: 100 * thinnerG / catalysedG}, nil
}

// LostG returns the whole loss in g, weighed and estimated.
func (c Cup) LostG() float64 { return c.WeighedLossG + c.EstimatedLossG }

// thinnerG returns the thinner that should still be in the cup, in g. It is 0 where more was
// lost than was poured in: the ink's own solvents evaporate too.
func (c Cup) thinnerG() float64 { return max(c.PouredG-c.LostG(), 0) }

// ThinnerPct returns the thinner that should still be in the cup, in % of ink and hardener; 0 for an empty cup.
func (c Cup) ThinnerPct() float64 { return c.pct(c.thinnerG()) }

// emptyG is less ink than stays on the wall of any cup. Below it no percentage is calculated,
// since the quotient may be infinite.
const emptyG = 1e-9

// pct returns a mass in % of ink and hardener.
func (c Cup) pct(grams float64) float64 {
	if !(c.CatalysedG > emptyG) {
		return 0
	}
	return 100 * grams / c.CatalysedG
}

// contentG returns the mass that should be in the cup, in g.
func (c Cup) contentG() float64 { return c.CatalysedG + c.PouredG - c.LostG() }

// Stood returns the cup after it stood open for a stretch of time. Thinner and opening must be
// valid. The estimate never takes more thinner than is in the cup.
func (c Cup) Stood(t Thinner, o Opening, s Stretch) Cup {
	there := c.thinnerG()
	c.EstimatedLossG += there - leftAfter(there, c.CatalysedG, t, o.rateGPerH(t)*s.hoursAt20())
	return c
}

// Weighed returns the cup after a weighing. The weighed loss since the last weighing, or since
// mixing, replaces the estimate; see [LossBetween].
func (c Cup) Weighed(lossG float64) Cup {
	c.WeighedLossG += lossG
	c.EstimatedLossG = 0
	return c
}

// Thinned returns the cup after grams of thinner were added.
func (c Cup) Thinned(grams float64) Cup {
	c.PouredG += grams
	return c
}

// Printed returns the cup after grams of its content were printed. Ink, hardener, thinner and
// losses are reduced in proportion.
func (c Cup) Printed(grams float64) Cup {
	content := c.contentG()
	if !(grams > 0) || !(content > 0) {
		return c
	}
	left := max(1-grams/content, 0)
	c.CatalysedG *= left
	c.PouredG *= left
	c.WeighedLossG *= left
	c.EstimatedLossG *= left
	return c
}

// errGained means that a cup weighs more than before: something was put in that is not in its
// balance.
var errGained = errors.New("the cup weighs more than before; something was put in")

// LossBetween returns the mass in g that evaporated between two weighings of the same cup, and
// its standard uncertainty in g. Both weights may be gross or both net. takenG was printed
// meanwhile, and nothing was added.
//
// The uncertainty is that of the scale alone: division/√6 for a difference of two readings (JCGM
// 100, F.2.2.1). The error of takenG adds to it, so it is best to weigh a cup when nothing was
// printed in between. A gain within twice the uncertainty counts as a loss of 0. A larger one is
// an error.
func LossBetween(beforeG, afterG, takenG, divisionG float64) (lossG, uncertaintyG float64, err error) {
	for _, grams := range []float64{beforeG, afterG, takenG} {
		if !(grams >= 0 && grams <= 1e6) {
			return 0, 0, fmt.Errorf("weighed cup: %v g: want 0 to 1000000", grams)
		}
	}
	if !(divisionG > 0 && divisionG <= 1000) {
		return 0, 0, fmt.Errorf("weighed cup: division %v g: want above 0 and at most 1000", divisionG)
	}
	uncertaintyG = divisionG / math.Sqrt(6)
	lossG = beforeG - afterG - takenG
	if lossG < -2*uncertaintyG {
		return 0, 0, fmt.Errorf("weighed cup: %.4g g more than expected: %w", -lossG, errGained)
	}
	return max(lossG, 0), uncertaintyG, nil
}

// Basis is how a loss is known.
type Basis string

// The bases, the least certain first.
const (
	Nothing             Basis = "nothing"               // no loss yet
	Estimated           Basis = "estimated"             // by the flux alone
	WeighedAndEstimated Basis = "weighed-and-estimated" // weighed, and estimated since
	Weighed             Basis = "weighed"               // by the scale alone
)

// TopUp is advice on how much thinner brings the cup back to its share of thinner as mixed. It
// does not renew the pot life.
type TopUp struct {
	LostG         float64 `json:"lost_g" doc:"thinner that has evaporated, in g"`
	Basis         Basis   `json:"basis" doc:"how that is known: estimated, weighed-and-estimated or weighed"`
	ThinnerPct    float64 `json:"thinner_pct" doc:"thinner now in % of ink and hardener together"`
	AddG          float64 `json:"add_g" doc:"thinner that may be added, in g; 0 for none"`
	Pipettes      float64 `json:"pipettes" doc:"add_g in fills of a pipette"`
	WholePipettes int     `json:"whole_pipettes" doc:"nearest permitted number of whole fills"`
	WholeG        float64 `json:"whole_g" doc:"mass of these fills in g"`
	PouredPct     float64 `json:"poured_pct" doc:"all thinner poured, in % of ink and hardener together, after add_g, less the weighed loss"`
	AtLimit       bool    `json:"at_limit" doc:"the ink's range ended before the whole loss was replaced"`
}

// Advise returns how much thinner may be added so that the share is as it was mixed.
//
// Without a weighing, the sum of all thinner ever poured in stays within maxPct, the most that
// the ink takes, in % of ink and hardener. An estimate that is too high would otherwise thin the
// ink without end. A weighed loss may be replaced beyond that. pipetteG is the mass that a
// pipette holds in g; with 0 the advice has no fills.
func (c Cup) Advise(maxPct, pipetteG float64) TopUp {
	needG := c.AimPct/100*c.CatalysedG - (c.PouredG - c.LostG())
	roomG := max(maxPct/100*c.CatalysedG+c.WeighedLossG-c.PouredG, 0)
	a := TopUp{LostG: c.LostG(), Basis: c.basis(), ThinnerPct: c.ThinnerPct(), AddG: max(min(needG, roomG), 0)}
	// The margin prevents an exact fit from becoming a limit by rounding.
	a.AtLimit = needG > roomG+1e-9*(1+roomG)
	if pipetteG > 0 {
		a.Pipettes = a.AddG / pipetteG
		a.WholePipettes = int(math.Round(a.Pipettes))
		if float64(a.WholePipettes)*pipetteG > roomG*(1+1e-9) {
			a.WholePipettes = int(math.Floor(roomG * (1 + 1e-9) / pipetteG))
		}
		a.WholeG = float64(a.WholePipettes) * pipetteG
	}
	a.PouredPct = c.pct(c.PouredG + a.AddG - c.WeighedLossG)
	return a
}

func (c Cup) basis() Basis {
	switch {
	case c.WeighedLossG > 0 && c.EstimatedLossG > 0:
		return WeighedAndEstimated
	case c.WeighedLossG > 0:
		return Weighed
	case c.EstimatedLossG > 0:
		return Estimated
	}
	return Nothing
}
