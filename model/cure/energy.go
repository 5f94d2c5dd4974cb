package cure

import "math"

// The temperatures in °C between which the activation energy matters little to a band. Data sheets
// state the pot life at 20 to 23 °C, and a few kelvins from there an unusual energy changes the life by
// less than batches differ. Above them more of it is in the band; see startingAt.
const (
	UsualMinC = 18.0
	UsualMaxC = 26.0
)

const (
	// hotActivationKJPerMol and hotActivationSpread are the centre and the spread of the activation energy in kJ/mol
	// above UsualMaxC. Published energies of urethane reactions lie between 35 and 80 kJ/mol: 35 to 48 without a
	// catalyst (hydroxyl-terminated polybutadiene with three diisocyanates, Polymer Korea, abstract), and enthalpies of
	// activation of 48 and 43 without a catalyst, 77 and 35 with dibutyltin dilaurate (Polymer 46 (2005) 15, abstract). In
	// a hot shop the high ones make a life shorter than expected, so the centre is the middle of all of them.
	//
	// Of 1,500 batches of a hot shop with any of these energies, drawn apart from those of the tests, the bands held 77.1 %
	// around 50 with a spread of 10 (16.4 % ended before low). Of others, drawn apart again, they held 80.0 % around 50
	// with a spread of 20 (13.3 %) and 81.6 % around 57.5 (10.2 %), with the least pinball loss. Of 600 of 80 kJ/mol,
	// 35.2 % and 28.2 % ended before low. No prior heals these: around 75 kJ/mol it is still 16.8 %, and the bands of
	// all others come too early (those of 35 kJ/mol hold 59.5 %).
	//
	// In a cold shop the low energies make a life shorter. Those lie 9 kJ/mol from the usual 50, inside its spread. There 8 %
	// of the batches with any energy end before low, and 16 % after high. With a spread of 12.5 or 15, 79.9 % at most are
	// inside, but of 35 kJ/mol 18 % still end before low, not 21, and a press outdoors in winter, whose inks are as usual, gets
	// bands that hold 86 to 88 % of the ends. So the spread stays.
	hotActivationKJPerMol = 57.5
	hotActivationSpread   = 20.0
	// hotWithinK is how many kelvins above UsualMaxC they are reached.
	hotWithinK = 2.0
	// farK is how far the shop has to be from the data sheet's temperature, in K, for a figure at
	// another temperature to be worth asking for.
	farK = 4.0
)

// startingAt returns the ink with the activation energy that is assumed for a batch that begins at a
// temperature in °C. With h = min(kelvins above UsualMaxC / 2, 1) · min(spread/10, 1)⁴, the spread is
//
//	√(spread² + (20² - 10²) · h)
//
// and the centre is raised by up to 7.5 · h, to 57.5 at most, where 10 kJ/mol is the spread that is assumed before a
// shop has learned: what batches have shown of the energy counts. The members carry the energy from the data sheet's temperature to the shop's, so a
// figure at the shop's own temperature leaves little of it in the band.
func (i Ink) startingAt(startC float64) Ink {
	hot := min(max(startC-UsualMaxC, 0)/hotWithinK, 1) * math.Pow(min(i.ActivationSpread/activationSpread, 1), 4)
	const (
		wider  = hotActivationSpread*hotActivationSpread - activationSpread*activationSpread
		higher = hotActivationKJPerMol - DefaultActivationKJPerMol
	)
	i.ActivationSpread = math.Sqrt(i.ActivationSpread*i.ActivationSpread + wider*hot)
	i.ActivationKJPerMol += hot * min(max(hotActivationKJPerMol-i.ActivationKJPerMol, 0), higher)
	return i
}

// EnergyFrom returns the centre and the spread in kJ/mol of the activation energies that the band of a batch is made from
// which begins at a temperature in °C. Above UsualMaxC they are not the ink's own; see startingAt.
func (i Ink) EnergyFrom(startC float64) (centre, spread float64) {
	of := i.startingAt(startC)
	return of.ActivationKJPerMol, of.ActivationSpread
}

// FarFrom reports whether the data sheet's temperature is so far from the shop's, in °C, that a figure
// of the sheet at a temperature nearer to the shop's would make the band narrower and surer: the shop
// is outside UsualMinC to UsualMaxC and more than 4 K away, and the activation energy is still assumed.
func (i Ink) FarFrom(shopC float64) bool {
	return (shopC < UsualMinC || shopC > UsualMaxC) && math.Abs(shopC-i.AtTemperatureC) > farK && i.ActivationSpread > activationSpread/2
}
