package cure

import (
	"fmt"
	"math"

	"potlifed/model/air"
)

// What is assumed before a shop has learned from its own batches. Assumptions of the trade where
// no source is named.
const (
	// DefaultActivationKJPerMol: 50 kJ/mol is close to the rule that pot life halves with 10 °C
	// (Unified Facilities Guide Specification UFGS-09971, 3.7.1.3), which is 51 kJ/mol between
	// 20 and 30 °C.
	DefaultActivationKJPerMol = 50.0
	MinActivationKJPerMol     = 25.0
	MaxActivationKJPerMol     = 90.0
	activationSpread          = 10.0

	MinMoistureShare    = 0.0
	MaxMoistureShare    = 0.75
	moistureShareSpread = 0.12

	lifeSpreadOfTwoFigures = 0.10
	lifeSpreadOfOneFigure  = 0.20

	// DefaultSigma is the batch-to-batch spread of the logarithm of the end dose.
	DefaultSigma  = 0.15
	MinSigma      = 0.08
	MaxSigma      = 0.30
	sigmaLnSpread = 0.4

	// The limits of a learned sigma. They are wider than those of an assumed one.
	MinLearnedSigma = 0.04
	MaxLearnedSigma = 0.60
)

// Ink holds what is known of one pair of ink and hardener: the centre of each parameter, and the
// spread of what is not known. It is stored in the journal with each batch.
type Ink struct {
	LRefH              float64 `json:"l_ref_h" doc:"pot life in h at 20 °C, 50 % relative humidity and exposure 1"`             // life in hours at 20 °C, 50 % and exposure 1
	MoistureShare      float64 `json:"moisture_share" doc:"share of the pot life that moisture determines in that air, 0 to 1"` // share of the moisture path there
	ActivationKJPerMol float64 `json:"activation_kj_mol" doc:"activation energy of the heat path in kJ/mol"`                    // of the heat path
	AtTemperatureC     float64 `json:"at_temperature_c" doc:"temperature of the data sheet's figures in °C"`                    // temperature of the data sheet's figures
	// AtHumidityPct belongs to AtTemperatureC: in this air the life is known to LifeLnSpread,
	// independent of the other spreads. 0 means 50 %.
	AtHumidityPct    float64 `json:"at_humidity_pct,omitzero" doc:"relative humidity in % at which the life is known to life_ln_spread; absent for 50"`
	LifeLnSpread     float64 `json:"life_ln_spread" doc:"standard deviation of the logarithm of the pot life in that air"` // of ln life in that air
	MoistureSpread   float64 `json:"moisture_spread" doc:"standard deviation of moisture_share"`                           // of MoistureShare, inside 0..0.75
	ActivationSpread float64 `json:"activation_spread" doc:"standard deviation of activation_kj_mol in kJ/mol"`            // kJ/mol, inside 25..90
	Sigma            float64 `json:"sigma" doc:"standard deviation of the logarithm of the pot life from batch to batch"`  // spread of the ln end dose from batch to batch
	SigmaLnSpread    float64 `json:"sigma_ln_spread" doc:"standard deviation of the logarithm of sigma"`                   // of ln Sigma, inside 0.08..0.30
	// LotLnSpread is the part of Sigma that comes from lots of ink and hardener of which no end was seen. It is 0
	// where lots are not known, and says nothing more of the life.
	LotLnSpread float64 `json:"lot_ln_spread,omitzero" doc:"part of sigma that comes from lots without an end yet, as a standard deviation; absent where nothing is known of lots"`
	// BatchG is the mass of a batch that warms itself; see [Ink.OfMass]. It is 0 for any other.
	BatchG float64 `json:"batch_g,omitzero" doc:"mass in g of a batch of a fast system, which warms itself; absent for any other"`
	// SigmaLearned: Sigma was learned from the ends of batches. It and its spread may then be
	// within 0.04..0.60.
	SigmaLearned bool `json:"sigma_learned,omitzero" doc:"past batches determined sigma"`
}

// Valid returns nil when an ensemble can be drawn from the parameters. Otherwise the error names the
// first parameter that is out of range, and its limits.
func (i Ink) Valid() error {
	minSigma, maxSigma := i.sigmaBounds()
	for _, field := range []struct {
		name     string
		value    float64
		min, max float64
	}{
		{"life", i.LRefH, 1e-3, 1e6},
		{"moisture share", i.MoistureShare, 0, 1},
		{"activation energy", i.ActivationKJPerMol, MinActivationKJPerMol, MaxActivationKJPerMol},
		{"data sheet temperature", i.AtTemperatureC, air.MinTemperatureC, air.MaxTemperatureC},
		{"data sheet humidity", i.AtHumidityPct, 0, 100},
		{"spread of the life", i.LifeLnSpread, 0, 2},
		{"spread of the moisture share", i.MoistureSpread, 0, 1},
		{"spread of the activation energy", i.ActivationSpread, 0, 100},
		{"sigma", i.Sigma, minSigma, maxSigma},
		{"spread of sigma", i.SigmaLnSpread, 0, 2},
		{"spread between lots", i.LotLnSpread, 0, 2},
		{"mass of a batch", i.BatchG, 0, maxBatchG},
	} {
		// Written as "not inside", so that a NaN fails too.
		if !(field.value >= field.min && field.value <= field.max) {
			return fmt.Errorf("ink: %s %v is outside %v..%v", field.name, field.value, field.min, field.max)
		}
	}
	return nil
}

// sigmaBounds returns the limits of Sigma.
func (i Ink) sigmaBounds() (low, high float64) {
	if i.SigmaLearned {
		return MinLearnedSigma, MaxLearnedSigma
	}
	return MinSigma, MaxSigma
}

// activationK returns Ea/R in kelvin.
func (i Ink) activationK() float64 { return i.ActivationKJPerMol / gasConstant }

// paths returns the two parts of the nominal rate in 1/h: heat and moisture.
func (i Ink) paths(cupTemperatureC, vapourPressurePa, exposure float64) (heat, moisture float64) {
	heat = (1 - i.MoistureShare) * arrhenius(i.activationK(), cupTemperatureC) / i.LRefH
	moisture = i.MoistureShare * exposure * vapourPressurePa / (referenceVapourPa * i.LRefH)
	return heat, moisture
}

// Rate returns the share of the pot life that is spent per hour, with every parameter at its
// centre.
func (i Ink) Rate(cupTemperatureC, vapourPressurePa, exposure float64) float64 {
	heat, moisture := i.paths(cupTemperatureC, vapourPressurePa, exposure)
	return heat + moisture
}

// Still describes a batch in air that does not change.
type Still struct {
	LifeH         float64 // 1/r
	SpentPerH     float64 // r
	MoistureShare float64 // the moisture path's part of r in this air
}

// StillAir returns the nominal life in steady air. The lag has no effect there: the cup has the
// temperature of the air.
func StillAir(ink Ink, p Place, a air.State) Still {
	a = a.Clamp()
	heat, moisture := ink.paths(a.TemperatureC, a.VapourPressurePa(), p.exposure())
	rate := heat + moisture
	return Still{LifeH: 1 / rate, SpentPerH: rate, MoistureShare: moisture / rate}
}

// KnownIn returns the air that LifeLnSpread refers to.
func (i Ink) KnownIn() air.State {
	if i.AtHumidityPct > 0 {
		return air.State{TemperatureC: i.AtTemperatureC, HumidityPct: i.AtHumidityPct}
	}
	return air.State{TemperatureC: i.AtTemperatureC, HumidityPct: ReferenceHumidityPct}
}

// lifeIn returns the nominal life in h in still air at exposure 1.
func lifeIn(a air.State, lRefH, share, activationK float64) float64 {
	return lRefH / ((1-share)*arrhenius(activationK, a.TemperatureC) + share*a.VapourPressurePa()/referenceVapourPa)
}

// lRefFor returns the L_ref in h that gives a life in an air. It is the inverse of lifeIn.
func lRefFor(a air.State, lifeH, share, activationK float64) float64 {
	return lifeH * (lifeH / lifeIn(a, lifeH, share, activationK))
}

// finite reports whether a number is finite.
func finite(values ...float64) bool {
	for _, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}
