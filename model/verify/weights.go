package verify

import (
	"fmt"
	"slices"
)

// WeightClass is the accuracy class of a test weight by OIML R 111.
type WeightClass string

// The classes of weights, the most accurate first.
const (
	E1 WeightClass = "E1"
	E2 WeightClass = "E2"
	F1 WeightClass = "F1"
	F2 WeightClass = "F2"
	M1 WeightClass = "M1"
	M2 WeightClass = "M2"
	M3 WeightClass = "M3"
)

// weightClasses returns all classes of weights, the most accurate first.
func weightClasses() []WeightClass { return []WeightClass{E1, E2, F1, F2, M1, M2, M3} }

// weightErrors are the maximum permissible errors of weights in mg, by nominal mass in g, in the
// order of weightClasses: OIML R 111-1:2004, table 1, from 1 g to 20 kg.
var weightErrors = map[float64][7]float64{
	1:     {0.010, 0.03, 0.10, 0.3, 1.0, 3.0, 10},
	2:     {0.012, 0.04, 0.12, 0.4, 1.2, 4.0, 12},
	5:     {0.016, 0.05, 0.16, 0.5, 1.6, 5.0, 16},
	10:    {0.020, 0.06, 0.20, 0.6, 2.0, 6.0, 20},
	20:    {0.025, 0.08, 0.25, 0.8, 2.5, 8.0, 25},
	50:    {0.03, 0.10, 0.3, 1.0, 3.0, 10, 30},
	100:   {0.05, 0.16, 0.5, 1.6, 5.0, 16, 50},
	200:   {0.10, 0.3, 1.0, 3.0, 10, 30, 100},
	500:   {0.25, 0.8, 2.5, 8.0, 25, 80, 250},
	1000:  {0.5, 1.6, 5.0, 16, 50, 160, 500},
	2000:  {1.0, 3.0, 10, 30, 100, 300, 1000},
	5000:  {2.5, 8.0, 25, 80, 250, 800, 2500},
	10000: {5.0, 16, 50, 160, 500, 1600, 5000},
	20000: {10, 30, 100, 300, 1000, 3000, 10000},
}

// weightError returns the maximum permissible error of a single test weight in g (OIML R 111-1:2004,
// table 1). It fails for a class that it does not know, and for a nominal mass that is not 1, 2 or
// 5 times a power of ten from 1 g to 20 kg.
func weightError(class WeightClass, nominalG float64) (float64, error) {
	column := slices.Index(weightClasses(), class)
	if column < 0 {
		return 0, fmt.Errorf("class %q: want one of %v", class, weightClasses())
	}
	row, ok := weightErrors[nominalG]
	if !ok {
		return 0, fmt.Errorf("a weight of %v g: want a nominal mass of OIML R 111 from 1 g to 20 kg: 1, 2 or 5 times 1, 10, 100 …", nominalG)
	}
	return row[column] / 1000, nil
}
