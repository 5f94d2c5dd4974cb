package evaporate

import (
	"errors"
	"fmt"
	"math"
)

// Cup is the account of the thinner in one cup. The zero value is an empty cup; it is a value, and each method returns the cup afterwards.
//
// What was weighed and what was estimated are kept apart, since they are not trusted alike. A weighing puts its own loss in the place of
// the estimate since the weighing before.
type Cup struct {
	CatalysedG     float64 // ink and hardener in the cup
	PouredG        float64 // thinner poured for them, top-ups included
	AimPct         float64 // thinner as it was mixed, in percent of ink and hardener
	WeighedLossG   float64 // lost up to the last weighing, as weighed
	EstimatedLossG float64 // lost since then, by estimate
}

// NewCup is a cup as it was mixed.
func NewCup(catalysedG, thinnerG float64) (Cup, error) {
	if !(catalysedG > 0 && catalysedG <= 1e6) {
		return Cup{}, fmt.Errorf("cup: %v g of ink and hardener: want above 0 and at most 1000000", catalysedG)
	}
	if !(thinnerG >= 0 && thinnerG <= 1e6) {
		return Cup{}, fmt.Errorf("cup: %v g of thinner: want 0 to 1000000", thinnerG)
	}
	return Cup{CatalysedG: catalysedG, PouredG: thinnerG, AimPct: 100 * thinnerG / catalysedG}, nil
}

// LostG is what is gone, weighed and estimated together.
func (c Cup) LostG() float64 { return c.WeighedLossG + c.EstimatedLossG }

// ThinnerG is the thinner that should still be there; 0 where more was lost than was poured, as the ink's own solvents go too.
func (c Cup) ThinnerG() float64 { return max(c.PouredG-c.LostG(), 0) }

// ThinnerPct is the same in percent of ink and hardener; 0 in an empty cup.
func (c Cup) ThinnerPct() float64 { return c.pct(c.ThinnerG()) }

// emptyG is less ink than any cup keeps on its wall: below it there is nothing to be a per cent of, and the quotient may have no end.
const emptyG = 1e-9

// pct is grams in percent of ink and hardener.
func (c Cup) pct(grams float64) float64 {
	if !(c.CatalysedG > emptyG) {
		return 0
	}
	return 100 * grams / c.CatalysedG
}

// ContentG is what should be in the cup.
func (c Cup) ContentG() float64 { return c.CatalysedG + c.PouredG - c.LostG() }

// Stood is the cup after it stood open for a while. Thinner and opening must be valid. Only thinner that is there can go, so that an
// estimate alone never takes more than was poured.
func (c Cup) Stood(t Thinner, o Opening, s Stretch) Cup {
	there := c.ThinnerG()
	c.EstimatedLossG += there - leftAfter(there, c.CatalysedG, t, o.RateGPerH(t)*s.hoursAt20())
	return c
}

// Weighed puts a weighed loss since the last weighing, or since the cup was mixed, in the place of the estimate; see LossBetween.
func (c Cup) Weighed(lossG float64) Cup {
	c.WeighedLossG += lossG
	c.EstimatedLossG = 0
	return c
}

// Thinned is the cup after a top-up of thinner.
func (c Cup) Thinned(grams float64) Cup {
	c.PouredG += grams
	return c
}

// Printed is the cup after grams of its content went out on prints; ink, hardener, thinner and the account of the loss go in proportion.
func (c Cup) Printed(grams float64) Cup {
	content := c.ContentG()
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

// ErrGained means that a cup weighs more than it did: something was put in that the account does not know.
var ErrGained = errors.New("the cup weighs more than before; something was put in")

// LossBetween is what evaporated between two weighings of the same cup, gross or net alike, and its standard uncertainty, both in grams.
// takenG went out on prints meanwhile, and nothing was added. The uncertainty is the scale's alone, division/√6 for a difference of two
// readings (JCGM 100, F.2.2.1): what takenG is off by comes on top, so a cup is best weighed when nothing was printed in between. A gain
// that is within twice the uncertainty is a loss of 0; a larger one is ErrGained.
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
		return 0, 0, fmt.Errorf("weighed cup: %.4g g more than expected: %w", -lossG, ErrGained)
	}
	return max(lossG, 0), uncertaintyG, nil
}

// Basis says what a loss is known from.
type Basis string

// The bases, from nothing to the surest.
const (
	Nothing             Basis = "nothing"               // no loss yet
	Estimated           Basis = "estimated"             // by the flux alone
	WeighedAndEstimated Basis = "weighed-and-estimated" // weighed, and estimated since
	Weighed             Basis = "weighed"               // by the scale alone
)

// TopUp is advice: how much thinner brings the cup back to what was mixed. It does not renew the pot life; see NoRenewal.
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

// Advise says what may be added so that the cup is as it was mixed. By estimate alone the sum of all thinner ever poured for this ink
// stays within maxPct, the most that the ink takes: an estimate that is too high would otherwise thin the ink without end. A loss that
// was weighed may be replaced beyond that. pipetteG is what a pipette holds; without one (0) there are no fills.
func (c Cup) Advise(maxPct, pipetteG float64) TopUp {
	needG := c.AimPct/100*c.CatalysedG - (c.PouredG - c.LostG())
	roomG := max(maxPct/100*c.CatalysedG+c.WeighedLossG-c.PouredG, 0)
	a := TopUp{LostG: c.LostG(), Basis: c.basis(), ThinnerPct: c.ThinnerPct(), AddG: max(min(needG, roomG), 0)}
	// The margin keeps rounding from turning an exact fit into a limit.
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
