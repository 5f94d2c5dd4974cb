package cure

import (
	"math"

	"potlifed/model/air"
)

// FastLife is the pot life below which a system is fast: it ends close to the gel point, and the mix warms
// itself. ISO 9514 (Paints and varnishes: determination of the pot life of multicomponent coating systems)
// leaves systems that cure so fast to ISO 2535 (Plastics: unsaturated-polyester resins, measurement of gel
// time at ambient temperature), by the scope of the former.
//
// The end of a fast system is not taken as sharper than that of a slow one: no published scatter of such
// ends is known, and a band that is too narrow would be on the wrong side. Past batches determine it.
const FastLife = 3.0 // hours

// The heat of a mix. From memory, none measured for an ink: 84 kJ for each mole of isocyanate that reacts with
// an alcohol; a fifth of the mix is hardener with 12 % of isocyanate groups (42 g/mol), half of which have reacted
// when the pot life is over; 1.9 J/(g K) for resin, pigment and solvent. This makes 12.6 K if no heat
// is lost.
const (
	heatKJPerMol   = 84.0
	hardenerShare  = 0.2
	isocyanate     = 0.12 / 42 // mol/g of hardener
	reactedAtEnd   = 0.5
	heatCapacityKJ = 1.9e-3 // kJ/(g K)
	adiabaticK     = heatKJPerMol * hardenerShare * isocyanate * reactedAtEnd / heatCapacityKJ
)

// The cup that loses the heat: its lag grows like the length of the mix, mass over surface, from 25 minutes
// for a plastic cup of 75 g.
const (
	coolingH     = 25.0 / 60
	coolingMassG = 75.0
)

// OfMass returns the ink for a batch of so many grams. It is the ink itself unless its data sheet gives less than
// [FastLife] hours in its own air and nothing of the life is learned: batches of the shop's own have warmed
// themselves as they do. A mass that is not above 0 counts as not known.
//
// The members of such a batch live shorter than the data sheet says by a share of what a heat balance of the cup
// gives for the mass: from nothing, where the data sheet's own sample warmed itself as much, to all of it. None
// lives longer, and the nominal life stays.
func (i Ink) OfMass(grams float64) Ink {
	i.BatchG = 0
	if i.LifeLnSpread >= lifeSpreadOfTwoFigures && lifeIn(i.KnownIn(), i.LRefH, i.MoistureShare, i.activationK()) < FastLife && grams > 0 {
		i.BatchG = min(grams, maxBatchG)
	}
	return i
}

// maxBatchG limits the mass of a batch. One of a tonne loses no heat within its life.
const maxBatchG = 1e6

// warming returns by how much the own heat of the mix shortens the life in this air, as the logarithm of a factor, from
// 0 on. With D the spent life, T the mix, Ta the air and tau the lag of the cup,
//
//	dT/dD = adiabaticK - (T - Ta)/(tau r),  dt/dD = 1/r,  r = rate of the ink at T
//
// from T = Ta at D = 0 to D = 1, in 100 steps of the exponential midpoint method, which stays stable where a small cup
// follows the air at once. The result is between 0 and the adiabatic limit, grows with the mass, and is right to 1e-3.
func (i Ink) warming(a air.State) float64 {
	if i.BatchG <= 0 {
		return 0
	}
	a = a.Clamp()
	const steps = 100
	tau, vapour := coolingH*math.Cbrt(i.BatchG/coolingMassG), a.VapourPressurePa()
	rate := func(risen float64) float64 { return i.Rate(a.TemperatureC+risen, vapour, 1) }
	warmed := func(risen, rate, dose float64) float64 { // exact while the rate stays
		steady := adiabaticK * tau * rate
		return steady + (risen-steady)*math.Exp(-dose/(tau*rate))
	}
	risen, hours := 0.0, 0.0
	const h = 1.0 / steps
	for range steps {
		middle := rate(warmed(risen, rate(risen), h/2))
		risen = warmed(risen, middle, h)
		hours += h / middle
	}
	return max(-math.Log(hours*i.Rate(a.TemperatureC, vapour, 1)), 0)
}
