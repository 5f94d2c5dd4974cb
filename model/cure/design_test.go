package cure

import (
	"math"
	"testing"
)

// drawWeights say how much each draw moves the ends; they steer the search for the design and nothing else.
var drawWeights = [draws]float64{
	drawLife: 0.495, drawSigma: 0.421, drawShare: 2.22, drawActivation: 0.436, drawDriftHumidity: 0.323, drawDriftTemperature: 0.258,
	drawBiasHumidity: 0.318, drawBiasTemperature: 0.279, drawExposure: 0.038, drawWorst: 0.112, drawLag: 0.114, drawGap: 0.635,
}

// searchGenerator builds a generator component by component. Each candidate is an odd number;
// the one kept has the smallest weighted L2 discrepancy of the whole point set (kernel 1 + w [
// (x-½)(y-½) + ½ B2(|x-y|) ] in each coordinate, Hickernell 1998, Math. Comp. 67:299).
func searchGenerator(n int, weights [draws]float64, candidates int) [draws]int {
	product := make([]float64, n*n)
	for i := range product {
		product[i] = 1
	}
	var z [draws]int
	x := make([]float64, n)
	for draw := range z {
		best, bestSum := 0, math.Inf(1)
		for candidate := 1; candidate < candidates; candidate += 2 {
			if draw == 0 && candidate > 1 {
				break
			}
			sum := 0.0
			for k := range x {
				x[k] = uniform(candidate, k, n)
			}
			for i := range n {
				for j := range n {
					sum += product[i*n+j] * discrepancyKernel(x[i], x[j], weights[draw])
				}
			}
			if sum < bestSum*(1-1e-12) {
				best, bestSum = candidate, sum
			}
		}
		z[draw] = best
		for k := range x {
			x[k] = uniform(best, k, n)
		}
		for i := range n {
			for j := range n {
				product[i*n+j] *= discrepancyKernel(x[i], x[j], weights[draw])
			}
		}
	}
	return z
}

func discrepancyKernel(x, y, weight float64) float64 {
	d := math.Abs(x - y)
	return 1 + weight*((x-0.5)*(y-0.5)+0.5*(d*d-d+1.0/6))
}

func TestGeneratorIsTheOneTheSearchFinds(t *testing.T) {
	if found := searchGenerator(Members, drawWeights, Members); found != generator {
		t.Errorf("the search finds %v, the design has %v", found, generator)
	}
}
