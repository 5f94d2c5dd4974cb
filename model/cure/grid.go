package cure

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"potlifed/model/viscosity"
)

const (
	// gridPoints end doses of each member lie evenly from -gridReach to gridReach standard deviations of
	// ln (end dose). The trapezoidal rule over half a deviation is exact to 1e-6 for a normal
	// distribution and to 1e-3 for one of 0.4 of its width, narrower than samples make it.
	gridPoints = 15
	gridReach  = 3.8

	// wrongSample is the probability that a sample is wrong, and wrongDensity the density of ln viscosity
	// of a wrong one: even over the times that a cup is made for. The share is that of the broad
	// component of the likelihoods of past batches.
	wrongSample  = 0.02
	wrongDensity = 0.5
)

// grid is the likelihood of some samples for each member and end dose.
type grid struct {
	members []member
	curve   viscosity.Curve
	samples []sample

	residual  []float64     // P r, P the inverse of the samples' covariance and r their distances from the start
	precision *mat.SymDense // P
	quadratic float64       // r' P r
	constant  float64       // ½ ln det P - n/2 ln 2π

	// right, wrong and none are the logarithms of the parts of the likelihood of an end dose, to be added to those
	// below: of all samples being right, of one being wrong, and of the samples saying nothing.
	right, wrong, none float64

	// lnAll and lnWithout are the logarithms of the likelihood of all samples and of all but one.
	lnAll     []float64
	lnWithout [][]float64
}

// newGrid calculates the likelihoods.
func newGrid(curve viscosity.Curve, samples []sample, members []member) *grid {
	g := &grid{members: members, curve: curve, samples: samples}
	if n := float64(len(samples)); n > 0 {
		density := math.Log(wrongDensity)
		g.right = n * math.Log1p(-wrongSample)
		g.wrong = math.Log(wrongSample) + (n-1)*math.Log1p(-wrongSample) + density
		g.none = 2*math.Log(wrongSample) + n*density
		if n == 1 {
			g.none = math.Inf(-1) // the same as the one wrong sample
		}
		g.invert()
		g.fill()
	}
	return g
}

// invert prepares what does not depend on the end dose.
func (g *grid) invert() {
	n := len(g.samples)
	covariance, r := mat.NewSymDense(n, nil), make([]float64, n)
	for i, a := range g.samples {
		r[i] = g.curve.Plain(a.Of) - g.curve.Start
		for j := i; j < n; j++ {
			b := g.samples[j]
			v := g.curve.Covariance(a.Of, b.Of, a.Mix == b.Mix)
			if i == j {
				v += g.curve.Variance(a.Of)
			}
			covariance.SetSym(i, j, v)
		}
	}
	g.precision = mat.NewSymDense(n, nil)
	var chol mat.Cholesky
	// Each sample has a variance of its own, so the covariance is positive definite.
	if !chol.Factorize(covariance) || chol.InverseTo(g.precision) != nil {
		panic("cure: the covariance of flow times is not positive definite")
	}
	g.constant = -0.5*chol.LogDet() - 0.5*float64(n)*math.Log(2*math.Pi)
	g.residual = make([]float64, n)
	for i := range n {
		for j := range n {
			g.residual[i] += g.precision.At(i, j) * r[j]
		}
		g.quadratic += r[i] * g.residual[i]
	}
}

// fill calculates the likelihoods. With A the two columns that the deviations of rise and share
// have in the samples, these are normal around Rise·s with covariance P⁻¹ + A A', whose inverse is
// P - P A (1 + A'PA)⁻¹ A'P. A sample's likelihood given the others is normal with variance 1/K_kk and
// distance (K r)_k/K_kk, K that inverse.
func (g *grid) fill() {
	size, n := len(g.members)*gridPoints, len(g.samples)
	g.lnAll, g.lnWithout = make([]float64, size), make([][]float64, n)
	for k := range g.lnWithout {
		g.lnWithout[k] = make([]float64, size)
	}
	p := make([]float64, n*n)
	for i := range n {
		for j := range n {
			p[i*n+j] = g.precision.At(i, j)
		}
	}
	at := point{p: p, s: make([]float64, n), h: make([]float64, n), ps: make([]float64, n), ph: make([]float64, n)}
	for i := range g.members {
		// 1 over the end dose, and its factor from point to point.
		scale := math.Exp(-g.lnEndDose(i, 0))
		factor := math.Exp(g.lnEndDose(i, 0) - g.lnEndDose(i, 1))
		for x := range gridPoints {
			g.fillPoint(&at, i, x, scale)
			scale *= factor
		}
	}
}

// point is memory for one end dose, and P as a flat list.
type point struct{ p, s, h, ps, ph []float64 }

// lnEndDose returns the logarithm of an end dose of the grid.
func (g *grid) lnEndDose(i, x int) float64 {
	return g.members[i].sigma * gridReach * (2*float64(x)/(gridPoints-1) - 1)
}

// fillPoint calculates the likelihoods of one member's end dose, 1/scale.
func (g *grid) fillPoint(at *point, i, x int, scale float64) {
	c := &g.curve
	for k := range g.samples {
		s := &g.samples[k]
		dose := s.Dose[i]
		if s.Gap != nil {
			dose += s.Gap[i]
		}
		at.s[k], at.h[k] = c.Risen(dose * scale)
	}
	// The columns: s·RiseSpread and h·Rise·ShareSpread.
	bySpread, byShare := c.RiseSpread, c.Rise*c.ShareSpread
	var rs, rh, ss, sh, hh float64 // A'P r without the spreads, A'P A
	n := len(g.samples)
	for k := range n {
		ps, ph := 0.0, 0.0
		for j, p := range at.p[k*n : k*n+n] {
			ps += p * at.s[j]
			ph += p * at.h[j]
		}
		at.ps[k], at.ph[k] = ps, ph
		s, h := at.s[k], at.h[k]
		rs += g.residual[k] * s
		rh += g.residual[k] * h
		ss += ps * s
		sh += ps * h
		hh += ph * h
	}
	// r0 = r - Rise s.
	quadratic := g.quadratic - 2*c.Rise*rs + c.Rise*c.Rise*ss
	v1, v2 := bySpread*(rs-c.Rise*ss), byShare*(rh-c.Rise*sh)
	m11, m12, m22 := 1+bySpread*bySpread*ss, bySpread*byShare*sh, 1+byShare*byShare*hh
	det := m11*m22 - m12*m12
	w1, w2 := (m22*v1-m12*v2)/det, (m11*v2-m12*v1)/det
	index := i*gridPoints + x
	all := g.constant - 0.5*(quadratic-v1*w1-v2*w2+math.Log(det))
	g.lnAll[index] = all
	for k := range n {
		a1, a2 := bySpread*at.ps[k], byShare*at.ph[k]
		precision := at.p[k*n+k] - (m22*a1*a1-2*m12*a1*a2+m11*a2*a2)/det
		apart := g.residual[k] - c.Rise*at.ps[k] - a1*w1 - a2*w2
		// ln p(sample | the others) = -½ apart²/precision + ½ ln(precision / 2π).
		g.lnWithout[k][index] = all + 0.5*(apart*apart/precision-math.Log(precision/(2*math.Pi)))
	}
}

// ln returns the logarithm of the likelihood of an end dose.
func (g *grid) ln(index int) float64 {
	if len(g.samples) == 0 {
		return 0
	}
	// The largest term is found first, so that each costs one exponential.
	most := max(g.right+g.lnAll[index], g.none)
	for k := range g.lnWithout {
		most = max(most, g.wrong+g.lnWithout[k][index])
	}
	sum := math.Exp(g.right+g.lnAll[index]-most) + math.Exp(g.none-most)
	for k := range g.lnWithout {
		sum += math.Exp(g.wrong + g.lnWithout[k][index] - most)
	}
	return most + math.Log(sum)
}

// told returns each member's distribution of the end dose.
func (g *grid) told() told {
	n := len(g.members)
	t := told{lnWeight: make([]float64, n), weight: make([]float64, n), centre: make([]float64, n), spread: make([]float64, n), inverse: make([]float64, n)}
	most := math.Inf(-1)
	var ln [gridPoints]float64
	for i := range g.members {
		peak := math.Inf(-1)
		for x := range ln {
			ln[x] = lnPrior[x] + g.ln(i*gridPoints+x)
			peak = max(peak, ln[x])
		}
		var w, m, v float64
		for x := range ln {
			at, p := g.lnEndDose(i, x), math.Exp(ln[x]-peak)
			w += p
			m += p * at
			v += p * at * at
		}
		m /= w
		t.lnWeight[i], t.centre[i] = peak+math.Log(w), m
		t.spread[i] = math.Sqrt(max(v/w-m*m, 0)) * unitSpread
		t.spread[i] = max(t.spread[i], narrowest*g.members[i].sigma)
		t.inverse[i] = 1 / (t.spread[i] * math.Sqrt2)
		most = max(most, t.lnWeight[i])
	}
	for i := range t.lnWeight {
		t.lnWeight[i] -= most
		t.weight[i] = math.Exp(t.lnWeight[i])
	}
	return t
}

// narrowest is the narrowest spread of a member's end dose, in its sigma: no samples tell more.
const narrowest = 0.05

// lnPrior is the logarithm of the share of batches at each point of the grid, and unitSpread makes up
// for the tails beyond it, so that without samples the spread is that of the member.
var lnPrior, unitSpread = func() (ln [gridPoints]float64, scale float64) {
	var sum, square float64
	for x := range ln {
		z := gridReach * (2*float64(x)/(gridPoints-1) - 1)
		p := math.Exp(-z * z / 2)
		ln[x], sum, square = -z*z/2, sum+p, square+p*z*z
	}
	for x := range ln {
		ln[x] -= math.Log(sum)
	}
	return ln, 1 / math.Sqrt(square/sum)
}()

// doubted returns the probability that each sample is wrong.
func (g *grid) doubted() []float64 {
	out := make([]float64, len(g.samples))
	ln, most := make([]float64, len(g.lnAll)), math.Inf(-1)
	for index := range ln {
		ln[index] = g.ln(index)
		most = max(most, ln[index])
	}
	total := 0.0
	for index, l := range ln {
		prior := lnPrior[index%gridPoints] - most
		total += math.Exp(prior + l)
		nothing := math.Exp(prior + g.none)
		for k := range out {
			out[k] += nothing + math.Exp(prior+g.wrong+g.lnWithout[k][index])
		}
	}
	for k := range out {
		out[k] = min(out[k]/total, 1)
	}
	return out
}
