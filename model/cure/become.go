package cure

import "math"

// Become changes the ensemble of an open batch to an ink that differs from its own only in life, in the
// life's spread and in sigma: that of its lot, once that is known. The members keep their places in the
// design. A member whose life is longer by a factor has spent less by that factor, in the same air. The
// levels that the risk has passed are looked at again: one that it is below is not passed any more.
//
// Become returns false and changes nothing for an ink that differs in anything else, one that is not
// valid, an ensemble with another number of members than New draws, and one that has heard a flow time of
// the batch: the batch itself says more than its lot. An instrument that follows the batch does not count
// as such: it may have said nothing yet but its first value, and a lot that ends early must not be missed for it.
func (c *Ensemble) Become(ink Ink) bool {
	same := ink
	same.LRefH, same.LifeLnSpread, same.Sigma, same.SigmaLnSpread, same.SigmaLearned, same.LotLnSpread =
		c.ink.LRefH, c.ink.LifeLnSpread, c.ink.Sigma, c.ink.SigmaLnSpread, c.ink.SigmaLearned, c.ink.LotLnSpread
	if same != c.ink || ink.Valid() != nil || len(c.members) != Members || c.heard != nil && len(c.heard.samples) > 0 {
		return false
	}
	if ink == c.ink {
		return true
	}
	shift, widen, scatter := math.Log(ink.LRefH/c.ink.LRefH), ink.LifeLnSpread-c.ink.LifeLnSpread, ink.Sigma/c.ink.Sigma
	places := design(generator, Members)[drawLife]
	members, longer := make([]member, Members), make([]float64, Members)
	for i := range members {
		m := c.members[i]
		longer[i] = math.Exp(shift + widen*places[i])
		m.lRefH *= longer[i]
		m.sigma *= scatter
		m.derive()
		members[i] = m
		for _, dose := range [][]float64{c.now.dose, c.doseAtGood, c.gap, c.gapAtGood} {
			if dose != nil {
				dose[i] /= longer[i]
			}
		}
	}
	nominal := math.Exp(shift)
	c.nominal.Dose /= nominal
	c.nominal.Doubtful /= nominal
	c.members, c.ink = members, ink
	c.derive()
	if c.heard != nil && c.heard.trend != nil {
		next := *c.heard
		next.trend = next.trend.lived(longer)
		c.listen(&next)
	}
	risk := c.Risk()
	for level := range c.crossed {
		if risk < levelRisk[level] {
			c.crossed[level] = notCrossed
		}
	}
	c.crossNow()
	return true
}
