package learn

import (
	"math"
	"time"

	"potlifed/model/air"
	"potlifed/model/cure"
)

// Lived is what a batch was exposed to up to an instant, independent of its ink. The dose under
// any ink follows from it without going through the climate again. The zero Lived is the first
// hardener.
type Lived struct {
	// heat is the batch's time at each temperature, replaced by a few points; see gaussRule.
	heat []warm
	// moistureH is ∫ phi e/e_ref dt in hours, unsureH its standard uncertainty: it is not
	// measured how well a cup is covered.
	moistureH, unsureH float64
	// at holds the terms of the rate at the instant itself.
	atLnHeat, atMoisture float64
	coolestC, warmestC   float64
}

// warm is a time in hours at one temperature, which is given as cure.LnHeat.
type warm struct{ lnHeat, hours float64 }

// heatHours returns ∫ k dt in hours at 20 °C, with its first two derivatives by the activation
// energy.
func (l *Lived) heatHours(activation float64) (h, first, second float64) {
	for _, w := range l.heat {
		k := w.hours * math.Exp(activation*w.lnHeat)
		h += k
		first += w.lnHeat * k
		second += w.lnHeat * w.lnHeat * k
	}
	return h, first, second
}

// Hours returns the age in hours.
func (l *Lived) Hours() float64 {
	sum := 0.0
	for _, w := range l.heat {
		sum += w.hours
	}
	return sum
}

// Dose returns the spent life under an ink, with every parameter at its centre.
func (l *Lived) Dose(ink cure.Ink) float64 {
	heat, _, _ := l.heatHours(ink.ActivationKJPerMol)
	return ((1-ink.MoistureShare)*heat + ink.MoistureShare*l.moistureH) / ink.LRefH
}

// scatter returns the relative standard uncertainty of the dose at a set of parameters.
func (l *Lived) scatter(at point) float64 {
	heat, _, _ := l.heatHours(at[pActivation])
	if dose := (1-at[pShare])*heat + at[pShare]*l.moistureH; dose > 0 {
		return at[pShare] * l.unsureH / dose
	}
	return 0
}

// Journey follows a batch through its air. At any instant it gives what the batch was exposed to
// until then.
type Journey struct {
	points    []warm
	moistureH float64
	unsureH   float64
	place     cure.Place
	lastAir   air.State
	cupC      float64
	coolestC  float64
	warmestC  float64
}

// NewJourney returns a journey that begins at the first hardener. The cup has the temperature of
// the air.
func NewJourney(start air.State) *Journey {
	start = start.Clamp()
	return &Journey{
		place: cure.Place{Exposure: 1}, lastAir: start, cupC: start.TemperatureC,
		coolestC: start.TemperatureC, warmestC: start.TemperatureC,
	}
}

// manyPoints is how many points a journey may gather before they are replaced by a few, so that
// months of minutes stay small.
const manyPoints = 4096

// Advance goes through a step of air at a place, as cure.Ensemble.Advance does with its nominal
// member.
func (j *Journey) Advance(p cure.Place, s cure.Step) {
	if s.Duration <= 0 {
		return
	}
	if len(j.points) > manyPoints {
		j.points = gaussRule(j.points)
	}
	moisture, cup := cure.Trace(p, s, j.cupC, func(hours, cupC float64) {
		j.points = append(j.points, warm{lnHeat: cure.LnHeat(cupC), hours: hours})
		j.coolestC, j.warmestC = min(j.coolestC, cupC), max(j.warmestC, cupC)
	})
	j.moistureH += moisture
	j.unsureH += moisture * cure.ExposureSpread(exposure(p))
	j.place, j.lastAir, j.cupC = p, s.To.Clamp(), cup
}

// Lived returns what the batch was exposed to so far.
func (j *Journey) Lived() Lived {
	cup := j.cupC
	if j.place.Lag <= 0 {
		cup = j.lastAir.TemperatureC
	}
	// An ink whose life only moisture determines, with a life of one hour, has exactly this
	// rate.
	moistureOnly := cure.Ink{LRefH: 1, MoistureShare: 1}
	return Lived{
		heat:      gaussRule(j.points),
		moistureH: j.moistureH, unsureH: j.unsureH,
		atLnHeat: cure.LnHeat(cup), atMoisture: moistureOnly.Rate(cup, j.lastAir.VapourPressurePa(), exposure(j.place)),
		coolestC: j.coolestC, warmestC: j.warmestC,
	}
}

// exposure returns the place's phi within its limits.
func exposure(p cure.Place) float64 {
	if math.IsNaN(p.Exposure) {
		return 1
	}
	return min(max(p.Exposure, cure.MinExposure), 1)
}

// Steady returns what a batch of the given age was exposed to in air that did not change.
func Steady(p cure.Place, a air.State, age time.Duration) Lived {
	j := NewJourney(a)
	// Without a lag and in still air one stretch is exact.
	if age > 0 {
		a = a.Clamp()
		moistureOnly := cure.Ink{LRefH: 1, MoistureShare: 1}
		j.points = []warm{{lnHeat: cure.LnHeat(a.TemperatureC), hours: age.Hours()}}
		j.moistureH = age.Hours() * moistureOnly.Rate(a.TemperatureC, a.VapourPressurePa(), exposure(p))
		j.unsureH = j.moistureH * cure.ExposureSpread(exposure(p))
	}
	j.place = cure.Place{Exposure: p.Exposure}
	return j.Lived()
}
