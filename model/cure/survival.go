package cure

import "math"

// lnSurvival returns ln(1 - Phi(x)), the logarithm of the share of batches that are still good
// when ln(dose)/sigma is x. It is accurate for any x: a batch that somebody calls good after
// many pot lives still has a distribution of its end.
func lnSurvival(x float64) float64 {
	switch {
	case x < -1:
		return math.Log1p(-0.5 * math.Erfc(-x/math.Sqrt2))
	case x < 25:
		return math.Log(0.5 * math.Erfc(x/math.Sqrt2))
	}
	// Abramowitz & Stegun 26.2.12.
	y := 1 / (x * x)
	return -0.5*x*x - math.Log(x*math.Sqrt(2*math.Pi)) + math.Log1p(-y*(1-3*y*(1-5*y)))
}

// alive holds how many of all members' batches were good when the batch was last known good: Σ
// (1 - F_i(g)), stored as a sum in units of exp(lnUnit), the largest term.
type alive struct{ lnUnit, sum float64 }

// deepLn is the logarithm below which a member's survival at good is stored as a logarithm,
// because it is so small.
const deepLn = -600.0

// spent returns the dose of member i at an instant, with the drawn part of an unknown gap. gap
// may be nil.
func spent(dose, gap []float64, i int) float64 {
	if gap == nil {
		return dose[i]
	}
	return dose[i] + gap[i]
}

// aliveAt evaluates the members at good_at.
func aliveAt(members []member, dose, gap []float64) alive {
	a := alive{lnUnit: math.Inf(-1)}
	for i := range members {
		a.lnUnit = max(a.lnUnit, memberLnSurvival(&members[i], spent(dose, gap, i)))
	}
	for i := range members {
		a.sum += math.Exp(memberLnSurvival(&members[i], spent(dose, gap, i)) - a.lnUnit)
	}
	return a
}

func memberLnSurvival(m *member, dose float64) float64 {
	if dose <= 0 {
		return 0
	}
	return lnSurvival(math.Log(dose) / m.sigma)
}

// risk returns P(end <= now | good at good_at) = Σ [F_i(t) - F_i(g)] / Σ [1 - F_i(g)] = 1 - Σ
// S_i(t) / Σ S_i(g): the mixture weighted by each member's own survival.
func (a alive) risk(members []member, dose, gap []float64) float64 {
	sum := 0.0
	if a.lnUnit > deepLn {
		for i := range members {
			d := spent(dose, gap, i)
			if d <= 0 {
				sum++
				continue
			}
			sum += 0.5 * math.Erfc(math.Log(d)*members[i].inverse)
		}
		sum *= math.Exp(-a.lnUnit)
	} else {
		for i := range members {
			sum += math.Exp(memberLnSurvival(&members[i], spent(dose, gap, i)) - a.lnUnit)
		}
	}
	return a.ended(sum)
}

// ended returns the share of batches that are over when so many of those that were good are left, in the unit
// of alive. A share below 1e-14 is rounding of the sums and returned as 0, since nobody's batch is over at
// the moment that they look at it.
func (a alive) ended(left float64) float64 {
	const rounding = 1e-14
	share := 1 - left/a.sum
	if share < rounding {
		return 0
	}
	return min(share, 1)
}

// ceilingFor returns an upper limit of the risk of a young batch from one term: no member has
// spent more than dose, and none scatters more than sigma.
func (a alive) ceilingFor(n int, dose, sigma float64) float64 {
	if dose <= 0 {
		return 0
	}
	if dose >= 1 || a.lnUnit < -1 {
		return 1
	}
	return normalCDF(math.Log(dose)/sigma) * float64(n) / (a.sum * math.Exp(a.lnUnit))
}

// ceiling is an upper limit of the risk that costs one multiplication per member, from the last
// time that the risk was calculated exactly. A member's share of ended batches is Phi(ln
// D/sigma). By the mean value theorem it has grown since then by at most
//
//	max phi · [ln D - ln D0] / sigma ≤ (D/D0 - 1) / (sigma √(2π))
//
// The limit is rigorous, so using it changes no result. The zero ceiling gives no limit, and
// that of a batch whose doses grow many times in a minute hardly any.
type ceiling struct {
	slope []float64 // of each member's dose; nil or empty when there is no bound
	start float64   // the risk less the slopes' part at the time
}

// set stores a risk that was calculated at these doses. Members without a dose have no limit.
func (b *ceiling) set(a alive, members []member, dose, gap []float64, risk float64) {
	b.slope = b.slope[:0]
	if a.lnUnit <= deepLn {
		return
	}
	scale := 1 / (a.sum * math.Exp(a.lnUnit) * math.Sqrt(2*math.Pi))
	b.start = risk
	for i := range members {
		d0 := spent(dose, gap, i)
		if !(d0 > 0) {
			b.slope = b.slope[:0]
			return
		}
		slope := scale / (members[i].sigma * d0)
		b.slope = append(b.slope, slope)
		b.start -= slope * dose[i]
	}
}

// of returns the limit at these doses, which must not be below those that were set.
func (b *ceiling) of(dose []float64) float64 {
	if len(b.slope) != len(dose) {
		return math.Inf(1)
	}
	sum := b.start
	for i, d := range dose {
		sum += b.slope[i] * d
	}
	const rounding = 1e-12
	return sum + rounding*(1+math.Abs(b.start))
}

// forget removes the limit when what it was calculated from has changed.
func (b *ceiling) forget() { b.slope = b.slope[:0] }
