package cure

import "math"

// told is each member's distribution of the end dose once the batch was measured: lognormal, with a
// weight. ln (end dose) has the mean centre and the standard deviation spread.
type told struct {
	lnWeight, weight, centre, spread, inverse []float64
}

// growthUntil returns the logarithm of the factor by which the doses of all members must grow until
// the risk is p, below 0 when it is above p already.
func (c *Ensemble) growthUntil(p float64) float64 {
	low, high := -3.0, 3.0
	missLow, missHigh := c.riskAt(low)-p, c.riskAt(high)-p
	if missLow >= 0 {
		return low
	}
	if missHigh <= 0 {
		return high
	}
	return illinois(func(growth float64) float64 { return c.riskAt(growth) - p }, low, high, missLow, missHigh, 0, 1e-4)
}

// riskAt returns the risk once all doses have grown by a factor whose logarithm is given.
func (c *Ensemble) riskAt(growth float64) float64 {
	risk := 0.0
	for i := range c.heard.told {
		risk = max(risk, c.heard.told[i].risk(c.heardAlive[i], c.now.dose, c.gap, growth))
	}
	return risk
}

// aliveAt evaluates the members at good_at, as the function of the same name does.
func (t *told) aliveAt(dose, gap []float64) alive {
	a := alive{lnUnit: math.Inf(-1)}
	for i := range t.centre {
		a.lnUnit = max(a.lnUnit, t.lnSurvival(i, spent(dose, gap, i), 0))
	}
	for i := range t.centre {
		a.sum += math.Exp(t.lnSurvival(i, spent(dose, gap, i), 0) - a.lnUnit)
	}
	return a
}

// lnSurvival returns ln(weight · share of batches still good) of member i.
func (t *told) lnSurvival(i int, dose, growth float64) float64 {
	if dose <= 0 {
		return t.lnWeight[i]
	}
	return t.lnWeight[i] + lnSurvival((math.Log(dose)+growth-t.centre[i])/t.spread[i])
}

// risk returns the probability that the batch is over at doses that have grown by exp(growth), given
// that it was good when alive was evaluated.
func (t *told) risk(a alive, dose, gap []float64, growth float64) float64 {
	sum := 0.0
	if a.lnUnit > deepLn {
		for i, centre := range t.centre {
			d := spent(dose, gap, i)
			if d <= 0 {
				sum += t.weight[i]
				continue
			}
			sum += 0.5 * t.weight[i] * math.Erfc((math.Log(d)+growth-centre)*t.inverse[i])
		}
		sum *= math.Exp(-a.lnUnit)
	} else {
		for i := range t.centre {
			sum += math.Exp(t.lnSurvival(i, spent(dose, gap, i), growth) - a.lnUnit)
		}
	}
	return a.ended(sum)
}

// setCeiling stores in b a limit of the risk from these doses on, as [ceiling.set] does.
func (t *told) setCeiling(b *ceiling, a alive, dose, gap []float64, risk float64) {
	b.slope = b.slope[:0]
	if a.lnUnit <= deepLn {
		return
	}
	scale := 1 / (a.sum * math.Exp(a.lnUnit) * math.Sqrt(2*math.Pi))
	b.start = risk
	for i := range t.centre {
		d0 := spent(dose, gap, i)
		if !(d0 > 0) {
			b.slope = b.slope[:0]
			return
		}
		slope := scale * t.weight[i] / (t.spread[i] * d0)
		b.slope = append(b.slope, slope)
		b.start -= slope * dose[i]
	}
}
