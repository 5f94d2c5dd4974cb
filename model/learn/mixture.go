package learn

import (
	"fmt"
	"math"
)

// A record is wrong now and then: a forgotten cup, a digit too many, a wrong clock. Each record's
// likelihood is therefore a mixture: with a small probability the record says nothing of the ink,
// and any life is as likely as any other on a logarithmic scale. No record is judged by the data
// sheet: a shop whose ink lives half as long as that says has only records that the sheet calls
// impossible. Where the fitted ink explains a record, the mixture is the model's likelihood; where
// it cannot, the record has next to no weight.
const (
	// wrongShare is the share of records that are wrong. An assumption; it only has to be small and
	// not zero.
	wrongShare = 0.02
	// broadestLn is the logarithm of how many times longer or shorter than the data sheet's a life
	// in a wrong record is: from a thousandth to a thousand times.
	broadestLn = 6.907755278982137
	// latestLn is the part of that range, at its late end, that also stands for everything later.
	latestLn = 1.0
)

// wrongly returns ln of the probability of a record if it is wrong, for an end that was seen the
// density per hour. It does not depend on the parameters.
func (p *prior) wrongly(r *Record) float64 {
	lnLRef := p.lnLRef(p.centre)
	position := func(l *Lived) float64 {
		if len(l.heat) == 0 {
			return -broadestLn
		}
		return min(max(l.spending(p.centre).v-lnLRef.v, -broadestLn), broadestLn-latestLn)
	}
	to := position(&r.To)
	switch r.Kind {
	case Alive:
		return math.Log((broadestLn - to) / (2 * broadestLn))
	case Between:
		// Two looks beyond the range, or closer together than a rounded time, still have a chance.
		return math.Log(max(to-position(&r.From), 1e-3) / (2 * broadestLn))
	}
	return r.To.rate(p.centre).v - r.To.spending(p.centre).v - math.Log(2*broadestLn)
}

// mixed returns ln of the mixture's likelihood of a record from that of the model, and the
// probability that the record is right.
func mixed(model jet, lnWrongly float64) (both jet, right float64) {
	if math.IsNaN(model.v) {
		return model, 0
	}
	a, b := model.v+math.Log1p(-wrongShare), lnWrongly+math.Log(wrongShare)
	top := max(a, b)
	value := top + math.Log(math.Exp(a-top)+math.Exp(b-top))
	right = math.Exp(a - value)
	if right == 0 {
		return jet{v: value}, 0
	}
	return model.through(value, right, right*(1-right)), right
}

// likelihood returns the log-likelihood of the pair's records at a set of parameters: of the
// mixture, or the plain one when nothing but the records counts.
func (f *fitting) likelihood(at point) jet {
	if f.result.PriorNone {
		return sum(f.used, at, &f.prior.sheet)
	}
	total := f.jarLikelihood(at)
	for i := range f.used {
		model := f.used[i].logLikelihood(at, &f.prior.sheet)
		one, _ := mixed(model, f.wrongly[i])
		total = total.plus(1, &one)
	}
	return total
}

// listWrong moves the records that are more likely wrong than right, by the fitted ink, to those
// that are left out. x are the shop's variables, nil for the prior's centre.
func (f *fitting) listWrong(x []float64) {
	kept, wrongly := f.used[:0:0], f.wrongly[:0:0]
	for i := range f.used {
		r, at := &f.used[i], f.ofRecord(i, x)
		lnLRef := f.prior.lnLRef(at)
		if _, right := mixed(r.logLikelihood(at, &f.prior.sheet), f.wrongly[i]); right >= 0.5 {
			kept, wrongly = append(kept, *r), append(wrongly, f.wrongly[i])
			continue
		}
		left := LeftOut{ID: r.ID, Impossible: true}
		share := func(l *Lived) float64 { return math.Exp(l.spending(at).v - lnLRef.v) }
		if left.Early = r.Kind != Alive && share(&r.To) < 1; left.Early {
			left.Why = fmt.Sprintf("over at %.2f of this ink's life: a slip is more likely; a typing error or a wrong clock?", share(&r.To))
		} else {
			good := &r.To
			if r.Kind == Between {
				good = &r.From
			}
			left.Why = fmt.Sprintf("good at %.1f times this ink's life: a slip is more likely; a forgotten cup?", share(good))
		}
		f.result.LeftOut = append(f.result.LeftOut, left)
		if r.Kind == Alive {
			f.result.Censored--
		} else {
			f.result.Ends--
		}
	}
	f.used, f.wrongly = kept, wrongly
}
