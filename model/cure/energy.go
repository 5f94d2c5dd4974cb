package cure

import "math"

// The temperatures in °C between which the activation energy matters little to a band. Data sheets
// state the pot life at 20 to 23 °C, and a few kelvins from there an unusual energy changes the life by
// less than batches differ. Above them its spread is wider; see startingAt.
const (
	UsualMinC = 18.0
	UsualMaxC = 26.0
)

const (
	// hotActivationSpread is the spread of the activation energy in kJ/mol above UsualMaxC. Published
	// energies of urethane reactions lie between 35 and 80 kJ/mol: 35 to 48 without a catalyst
	// (hydroxyl-terminated polybutadiene with three diisocyanates, Polymer Korea, abstract), and
	// enthalpies of activation of 48 and 43 without a catalyst, 77 and 35 with dibutyltin dilaurate
	// (Polymer 46 (2005) 15, abstract). In a hot shop the high ones make a life shorter than expected. In
	// a cold shop the low ones do, and those lie 9 kJ/mol from the assumed 50, inside the usual spread.
	//
	// A uniform distribution over 35 to 80 lies 15 kJ/mol from 50, as a root mean square, but most of that on the
	// dangerous side. Of 1,500 batches of a hot shop, drawn apart from those of the tests, the bands held 77.1 %
	// with a spread of 10 (16.4 % ended before low), 79.8 with 15 (14.0) and 81.9 with 20 (11.7), which has the
	// least pinball loss too. No spread inside the limits of the energy heals one of 80 kJ/mol: with 40,
	// a quarter still end before low, and all other bands are too wide.
	hotActivationSpread = 20.0
	// hotWithinK is how many kelvins above UsualMaxC that spread is reached.
	hotWithinK = 2.0
	// farK is how far the shop has to be from the data sheet's temperature, in K, for a figure at
	// another temperature to be worth asking for.
	farK = 4.0
)

// startingAt returns the ink with the spread of its activation energy for a batch that begins at a
// temperature in °C. Above UsualMaxC the spread is
//
//	√(spread² + (20² - 10²) · min(kelvins above/2, 1) · min(spread/10, 1)⁴)
//
// where 10 kJ/mol is the spread that is assumed before a shop has learned: what batches have shown of
// the energy counts. The members carry the energy from the data sheet's temperature to the shop's, so a
// figure at the shop's own temperature leaves little of it in the band.
func (i Ink) startingAt(startC float64) Ink {
	above := min(max(startC-UsualMaxC, 0)/hotWithinK, 1)
	const added = hotActivationSpread*hotActivationSpread - activationSpread*activationSpread
	assumed := math.Pow(min(i.ActivationSpread/activationSpread, 1), 4)
	i.ActivationSpread = math.Sqrt(i.ActivationSpread*i.ActivationSpread + added*above*assumed)
	return i
}

// FarFrom reports whether the data sheet's temperature is so far from the shop's, in °C, that a figure
// of the sheet at a temperature nearer to the shop's would make the band narrower and surer: the shop
// is outside UsualMinC to UsualMaxC and more than 4 K away, and the activation energy is still assumed.
func (i Ink) FarFrom(shopC float64) bool {
	return (shopC < UsualMinC || shopC > UsualMaxC) && math.Abs(shopC-i.AtTemperatureC) > farK && i.ActivationSpread > activationSpread/2
}
