package verify

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

// Salt is a salt whose saturated solution gives the air above it a known humidity.
type Salt struct {
	ID      string // as in requests
	Formula string
	// polynomial of the temperature in °C, in % RH: Greenspan 1977, table 1.
	polynomial   [4]float64
	lowC, highC  float64 // where it is used here; Greenspan's own ranges are wider
	uncertainPct float64 // the largest uncertainty in that range by Greenspan's table 2
}

// salts are from L. Greenspan, Humidity fixed points of binary saturated aqueous solutions,
// J. Res. Natl. Bur. Stand. 81A (1977) 89-96.
var salts = []Salt{
	{ID: "lithium-chloride", Formula: "LiCl", polynomial: [4]float64{11.2323, 0.00824245, -2.1489e-4}, lowC: 10, highC: 40, uncertainPct: 0.41},
	{ID: "magnesium-chloride", Formula: "MgCl2", polynomial: [4]float64{33.6686, -0.00797397, -1.08988e-3}, lowC: 10, highC: 40, uncertainPct: 0.24},
	{ID: "potassium-carbonate", Formula: "K2CO3", polynomial: [4]float64{43.1315, 0.00147523}, lowC: 10, highC: 30, uncertainPct: 0.50},
	{ID: "sodium-chloride", Formula: "NaCl", polynomial: [4]float64{75.5164, 0.0398321, -2.65459e-3, 2.848e-5}, lowC: 10, highC: 40, uncertainPct: 0.22},
	{ID: "potassium-chloride", Formula: "KCl", polynomial: [4]float64{88.619, -0.19334, 8.99706e-4}, lowC: 10, highC: 40, uncertainPct: 0.39},
	{ID: "potassium-sulphate", Formula: "K2SO4", polynomial: [4]float64{98.7792, -0.0590502}, lowC: 10, highC: 40, uncertainPct: 0.76},
}

// FindSalt returns the salt with an id; false when there is none.
func FindSalt(id string) (Salt, bool) {
	i := slices.IndexFunc(salts, func(s Salt) bool { return s.ID == id })
	if i < 0 {
		return Salt{}, false
	}
	return salts[i], true
}

// SaltIDs returns the ids of the salts, with commas between them.
func SaltIDs() string {
	ids := make([]string, 0, len(salts))
	for _, s := range salts {
		ids = append(ids, s.ID)
	}
	return strings.Join(ids, ", ")
}

// HumidityPct returns the relative humidity over the saturated solution in % at a temperature in
// °C, and its standard uncertainty: that of the table, as a rectangular half-width, and that of a
// solution which is 0.1 K colder or warmer than the sensor (an assumption; 1 K changes the relative
// humidity of air by 6 % of its value). It fails outside 10 to 40 °C, for potassium carbonate
// outside 10 to 30 °C.
func (s Salt) HumidityPct(celsius float64) (pct, standardPct float64, err error) {
	if !(celsius >= s.lowC && celsius <= s.highC) {
		return 0, 0, fmt.Errorf("%s at %.1f °C: its humidity is known from %v to %v °C", s.Formula, celsius, s.lowC, s.highC)
	}
	for i := len(s.polynomial) - 1; i >= 0; i-- {
		pct = pct*celsius + s.polynomial[i]
	}
	const apartK, perK = 0.1, 0.06
	return pct, quadrature(s.uncertainPct/sqrt3, apartK*perK*pct/sqrt3), nil
}

// How long a sensor stays in the closed jar before its reading counts. The air in a jar of less
// than a litre is in equilibrium within an hour or two, and so is a clean sensor (common practice,
// no source). The reading itself is the better witness: it must have come to rest.
const (
	// Wait is the usual time in the jar.
	Wait = 2 * time.Hour
	// Rest is how long the reading must have been at rest.
	Rest = 15 * time.Minute
	// RestPct and RestK are the largest spread of the reading during Rest, in % RH and K.
	RestPct = 0.5
	RestK   = 0.5
)
