package quality

import (
	"fmt"
	"math"
	"math/rand/v2"
)

// simulated is a shop with known effects.
type simulated struct {
	days, batchesADay, cells int
	prints                   float64 // of a cell
	rates                    []float64
	effects                  []float64 // of each kind, of the logarithm of the rate, for 1 g/m³
	threshold                float64   // below which there is none
	// day, batch and cell are standard deviations of the logarithm of the rate: what a whole
	// day, a batch and a quarter of an hour have in common.
	day, batch, cell float64
}

// draw makes the shop's data. The vapour density follows the days and their hours, the
// temperature goes with it, and the pot life is spent as time passes.
func (s simulated) draw(r *rand.Rand) Data {
	var d Data
	for k := range s.rates {
		d.Kinds = append(d.Kinds, fmt.Sprint("kind ", k))
	}
	weather := 0.0
	for day := range s.days {
		weather = 0.7*weather + 2*r.NormFloat64()
		warm := 0.4*weather + 1.5*r.NormFloat64()
		today := s.day * r.NormFloat64()
		for batch := range s.batchesADay {
			mix := s.batch * r.NormFloat64()
			thinner, ratio := 12+2*r.NormFloat64(), math.Abs(2*r.NormFloat64())
			press := r.IntN(2)
			place, id, date := fmt.Sprint("press ", press), fmt.Sprint(day, " ", batch), fmt.Sprintf("%04d", day)
			for cell := range s.cells {
				vapour := max(2, 10+weather+0.5*r.NormFloat64())
				temperature := 22 + warm + 0.5*r.NormFloat64()
				c := Cell{
					Place: place, Batch: id, Day: date,
					Conditions: Conditions{
						VapourDensity: vapour, RelativeHumidity: 100 * vapour / (19.4 * math.Exp(0.06*(temperature-22))), Temperature: temperature,
						SpentLife: float64(cell) / float64(s.cells), Thinner: thinner, RatioError: ratio,
					},
				}
				c.Prints.Prints = math.Round(s.prints * (0.5 + r.Float64()))
				noise := today + mix + s.cell*r.NormFloat64() + 0.3*float64(press)
				for k, rate := range s.rates {
					over := vapour - 10
					if s.threshold > 0 {
						over = max(0, vapour-s.threshold)
					}
					c.Defects = append(c.Defects, poisson(r, c.Prints.Prints*rate*math.Exp(s.effects[k]*over+noise)))
				}
				d.Cells = append(d.Cells, c)
			}
		}
	}
	return d
}
