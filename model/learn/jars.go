package learn

import (
	"math"
	"time"

	"potlifed/model/air"
	"potlifed/model/cure"
	"potlifed/model/jars"
)

// A jar test is one mix in jars of different air. Its jars share the effect of the mix, so that they say more of
// activation energy and moisture share than as many batches; of the life they say as much as one batch. The
// likelihood of a test is
//
//	∫∫ φ(v/σ)/σ  ψ(ln phi)  Π P(jar | v, phi) dv d ln phi
//
// with ln (end dose) of a jar ~ N(v, jars.DefaultNoise²). Both integrals are trapezoidal sums, whose error falls
// exponentially for such integrands (Trefethen & Weideman 2014, from memory).

// Jar is a jar of a test: what it was exposed to when it was seen good for the last time and when it was found gone
// off. Kind is as in a [Record].
type Jar struct {
	Kind     Kind
	From, To Lived
	// Still: the jar was closed, with still air over still ink. Its exposure is then not known.
	Still bool
}

// JarTest is a test of one mix.
type JarTest struct {
	ID   string
	Jars []Jar
}

// stillLnSpread is the standard deviation of ln exposure of a closed jar, which all jars of a test share: less moisture
// may reach still ink than the ink in a cup that is used. An assumption, half as wide as that of a covered cup. A jar that
// stands open at the bench and is stirred as in use ties it.
const stillLnSpread = 0.2

// SteadyJar returns a jar of air that does not change, from the hours after which it was seen good for the last time and
// gone off; goodH is 0 for never, goneH 0 for a jar that was still good.
func SteadyJar(a air.State, goodH, goneH float64, still bool) Jar {
	place := cure.Place{Exposure: 1}
	j := Jar{Kind: Between, Still: still}
	if goodH > 0 {
		j.From = Steady(place, a, time.Duration(goodH*float64(time.Hour)))
	}
	if goneH > 0 {
		j.To = Steady(place, a, time.Duration(goneH*float64(time.Hour)))
		return j
	}
	return Jar{Kind: Alive, To: j.From, Still: still}
}

// jarMix is a test while it is fitted.
type jarMix struct {
	jars    []Jar
	wrongly []float64   // ln of the probability of each jar's record if it is wrong
	phis    []jarFactor // of the closed jars
	mixes   []float64   // ln of the effects of the mix
	step    float64
}

// jarFactor is an exposure with ln of its weight.
type jarFactor struct{ phi, ln float64 }

// mostMixLn bounds the effect of a mix; it is five times the largest usual scatter.
const mostMixLn = 1.6

// findJars takes up the tests that tell something.
func (f *fitting) findJars() {
	for _, test := range f.pair.Jars {
		m := jarMix{phis: []jarFactor{{phi: 1}}}
		still := false
		for _, j := range test.Jars {
			r := Record{Kind: j.Kind, From: j.From, To: j.To}
			if f.prior.why(&r) != "" {
				continue
			}
			m.jars, m.wrongly = append(m.jars, j), append(m.wrongly, f.prior.wrongly(&r))
			still = still || j.Still
		}
		if len(m.jars) == 0 {
			continue
		}
		const perSpread, spreads = 2, 3
		if still {
			m.phis = m.phis[:0]
			for k := -perSpread * spreads; k <= perSpread*spreads; k++ {
				z := float64(k) / perSpread
				m.phis = append(m.phis, jarFactor{math.Exp(stillLnSpread * z), -z*z/2 - lnRoot2Pi - math.Log(perSpread)})
			}
		}
		m.step = 0.8 * jars.DefaultNoise / math.Sqrt(float64(len(m.jars)))
		for v := -mostMixLn; v <= mostMixLn; v += m.step {
			m.mixes = append(m.mixes, v)
		}
		f.jars = append(f.jars, m)
		f.result.Jars += len(m.jars)
	}
}

// leastTerm is how far below the largest term of a sum, as a logarithm, a term is left out.
const leastTerm = 32.0

// jarLikelihood returns the log-likelihood of all tests.
func (f *fitting) jarLikelihood(at point) jet {
	var total jet
	for i := range f.jars {
		one := f.jars[i].logLikelihood(at, &f.prior)
		total = total.plus(1, &one)
	}
	return total
}

// logLikelihood goes through the sum twice: values alone first, derivatives only for terms that count.
func (m *jarMix) logLikelihood(at point, p *prior) jet {
	lnSigma := variable(pLnSigma, at[pLnSigma])
	lnLRef := p.lnLRef(at)
	var terms []jarTerm
	top := math.Inf(-1)
	for _, factor := range m.phis {
		from, to := m.lnDoses(at, factor.phi, &lnLRef)
		for _, v := range m.mixes {
			z := v / math.Exp(at[pLnSigma])
			term := jarTerm{v: v, ln: factor.ln - z*z/2 - lnRoot2Pi - at[pLnSigma] + math.Log(m.step), from: from, to: to}
			value := term.ln
			for i := range m.jars {
				a := jarChance(m.jars[i].Kind, from[i].v-v, to[i].v-v)
				value += bothOf(a, m.wrongly[i])
			}
			term.value = value
			top = max(top, value)
			terms = append(terms, term)
		}
	}
	sum := lnSum{}
	for _, t := range terms {
		if !(t.value > top-leastTerm) {
			continue
		}
		// ln of the normal density of v, with its derivatives by ln sigma.
		z := t.v / math.Exp(at[pLnSigma])
		one := lnSigma.through(t.ln, z*z-1, -2*z*z)
		for i := range m.jars {
			jar := m.chance(i, t)
			one = one.plus(1, &jar)
		}
		sum.add(&one, top)
	}
	return sum.jet(top)
}

// jarTerm is a term of the sum: an effect of the mix and an exposure, with ln of its weight.
type jarTerm struct {
	v, ln, value float64
	from, to     []jet
}

// lnDoses returns ln of each jar's dose at its looks, for an exposure of the closed ones.
func (m *jarMix) lnDoses(at point, phi float64, lnLRef *jet) (from, to []jet) {
	from, to = make([]jet, len(m.jars)), make([]jet, len(m.jars))
	for i, j := range m.jars {
		dose := func(l Lived) jet {
			if len(l.heat) == 0 {
				return jet{v: math.Inf(-1)}
			}
			if j.Still {
				l.moistureH *= phi
			}
			spent := l.spending(at)
			return spent.plus(-1, lnLRef)
		}
		from[i], to[i] = dose(j.From), dose(j.To)
	}
	return from, to
}

// jarChance returns ln of the chance of a jar's record. from and to are ln doses less the effect of the mix.
func jarChance(kind Kind, from, to float64) float64 {
	late, _, _ := lnSurvival(to / jars.DefaultNoise)
	if kind == Alive {
		return late
	}
	if math.IsInf(from, -1) {
		early, _, _ := lnSurvival(-to / jars.DefaultNoise)
		return early
	}
	near, far := from/jars.DefaultNoise, to/jars.DefaultNoise
	if far < 0 {
		near, far = -far, -near
	}
	larger, _, _ := lnSurvival(near)
	smaller, _, _ := lnSurvival(far)
	return larger + math.Log(-math.Expm1(smaller-larger))
}

// chance is jarChance with its derivatives, mixed with that of a wrong record.
func (m *jarMix) chance(i int, t jarTerm) jet {
	z := func(lnDose *jet) jet {
		moved := *lnDose
		moved.v -= t.v
		scaled := jet{}
		return scaled.plus(1/jars.DefaultNoise, &moved)
	}
	to := z(&t.to[i])
	var model jet
	switch {
	case m.jars[i].Kind == Alive:
		model = to.lnSurvival()
	case math.IsInf(t.from[i].v, -1):
		mirrored := to.through(-to.v, -1, 0)
		model = mirrored.lnSurvival()
	default:
		from := z(&t.from[i])
		model = lnBetween(&from, &to)
	}
	both, _ := mixed(model, m.wrongly[i])
	return both
}

// bothOf is the value of mixed.
func bothOf(model, lnWrongly float64) float64 {
	a, b := model+math.Log1p(-wrongShare), lnWrongly+math.Log(wrongShare)
	top := max(a, b)
	return top + math.Log(math.Exp(a-top)+math.Exp(b-top))
}

// lnSum adds exponentials of jets. d and h are the weighted sums of gradients, and of Hessians with the products of the
// gradients.
type lnSum struct {
	weight float64
	d      [parameters]float64
	h      [parameters][parameters]float64
}

func (s *lnSum) add(one *jet, top float64) {
	w := math.Exp(one.v - top)
	s.weight += w
	for p := range parameters {
		s.d[p] += w * one.d[p]
		for q := range p + 1 {
			s.h[p][q] += w * (one.h[p][q] + one.d[p]*one.d[q])
		}
	}
}

// jet returns ln of the sum.
func (s *lnSum) jet(top float64) jet {
	j := jet{v: top + math.Log(s.weight)}
	for p := range parameters {
		j.d[p] = s.d[p] / s.weight
		for q := range p + 1 {
			j.h[p][q] = s.h[p][q]/s.weight - s.d[p]/s.weight*s.d[q]/s.weight
		}
	}
	return j
}
