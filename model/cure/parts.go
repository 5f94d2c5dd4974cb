package cure

import (
	"cmp"
	"math"
	"slices"
	"time"

	"potlifed/model/air"
)

// The parts of a band; see [Ensemble.Parts].
const (
	PartScatter  = "batch-scatter" // from one batch of an ink to the next
	PartLife     = "life"          // of the ink, by its data sheet or by past batches
	PartEnergy   = "energy"        // the activation energy
	PartMoisture = "moisture"      // the share of the life that moisture determines
	PartAir      = "air-to-come"   // and air that was not measured
	PartSensor   = "sensor"
	PartExposure = "exposure" // how open the cup is
	PartWeighing = "weighing" // the mixing ratio
	PartCup      = "cup"      // how fast it follows the air
	PartOther    = "other"    // what the parts do together
)

// Part is a share of the variance of a batch's end.
type Part struct {
	Part  string  `json:"part" enum:"batch-scatter,life,energy,moisture,air-to-come,sensor,exposure,weighing,cup,other" doc:"what is not known"`
	Share float64 `json:"share" doc:"share of the variance of the end, 0 to 1; all parts add up to 1"`
}

var partOfDraw = [draws]string{
	drawLife: PartLife, drawShare: PartMoisture, drawActivation: PartEnergy, drawDriftHumidity: PartAir, drawDriftTemperature: PartAir,
	drawBiasHumidity: PartSensor, drawBiasTemperature: PartSensor, drawExposure: PartExposure, drawWorst: PartAir, drawLag: PartCup,
	drawGap: PartAir, drawSigma: PartOther,
}

// Parts returns what the width of the band comes from, the largest part first, as shares of the variance
// of ln age at the end. The air is that of [Ensemble.Forecast]. weighing is the relative standard
// uncertainty of the mixing ratio that the ensemble was made with. Parts is nil for an ensemble with
// another number of members than New draws.
//
// The draws of the members are uncorrelated and of variance 1, so that the square of the mean product of
// a draw and the member's own ln end is the variance that this draw explains alone (the first-order
// index of a linear regression). Scatter and weighing add to it, since they are independent of the
// members. What is left is PartOther. What somebody saw of the batch, a look or another observation, is
// left out: the shares are those of the band before it.
func (c *Ensemble) Parts(p Place, now air.State, held time.Duration, weighing float64, options ...ForecastOption) []Part {
	if len(c.members) != Members {
		return nil
	}
	lnEnd := c.memberEnds(p, now.Clamp(), held, options...)
	variance := map[string]float64{}
	mean, scatter := 0.0, 0.0
	for i := range c.members {
		mean += lnEnd[i] / Members
		scatter += c.members[i].sigma * c.members[i].sigma / Members
	}
	between := 0.0
	for i := range lnEnd {
		between += (lnEnd[i] - mean) * (lnEnd[i] - mean) / Members
	}
	left := between
	for draw, x := range design(generator, Members) {
		slope := dot(x, lnEnd) / Members
		explained := min(slope*slope, left)
		variance[partOfDraw[draw]] += explained
		left -= explained
	}
	variance[PartOther] += left
	variance[PartWeighing] = min(weighing*weighing, scatter)
	variance[PartScatter] = scatter - variance[PartWeighing]
	parts := make([]Part, 0, len(variance))
	for name, v := range variance {
		if share := v / (between + scatter); share > 1e-6 {
			parts = append(parts, Part{Part: name, Share: share})
		}
	}
	slices.SortFunc(parts, func(a, b Part) int { return cmp.Or(cmp.Compare(b.Share, a.Share), cmp.Compare(a.Part, b.Part)) })
	return parts
}

// memberEnds returns ln of the age in hours at which each member has spent its life.
func (c *Ensemble) memberEnds(p Place, now air.State, held time.Duration, options ...ForecastOption) []float64 {
	var view outlook
	for _, option := range options {
		option(&view)
	}
	phi, age := c.exposures(p.exposure()), c.age.Hours()
	before, after := newState(len(c.members)), newState(len(c.members))
	after.copyFrom(c.now)
	ends := make([]float64, len(c.members))
	open := 0
	for i := range ends {
		if d := spent(after.dose, c.gap, i); d >= 1 {
			ends[i] = math.Log(max(age, 1e-3) / d)
			continue
		}
		ends[i] = math.NaN()
		open++
	}
	scale := max(1/c.Rate(p, now), 1e-2)
	for k, t := 1, 0.0; t < Horizon.Hours() && open > 0; k++ {
		next := view.next(t, scale*float64(k*k)/(gridPerLife*gridPerLife), Horizon.Hours())
		pc := view.piece(now, max(held, 0).Hours(), t, next)
		pc.lagH = p.lagH()
		before.copyFrom(after)
		after.advance(c.members, phi, &pc)
		for i := range ends {
			from, to := spent(before.dose, c.gap, i), spent(after.dose, c.gap, i)
			if math.IsNaN(ends[i]) && to >= 1 {
				ends[i] = math.Log(age + t + (1-from)/(to-from)*(next-t))
				open--
			}
		}
		t = next
	}
	for i := range ends {
		if math.IsNaN(ends[i]) {
			ends[i] = math.Log(age + Horizon.Hours())
		}
	}
	return ends
}

// The things that would make a band narrower; see [Ink.Narrowings].
const (
	NarrowTwoFigures   = "two-figures"         // the shortest and the longest life of the data sheet
	NarrowNearerFigure = "nearer-figure"       // a figure of the sheet at a temperature nearer to the shop's
	NarrowEnds         = "four-ends"           // four ends of batches, recorded
	NarrowForecast     = "knowing-the-air"     // readings, and a forecast of the air
	NarrowSensor       = "better-sensor"       // a check of the sensor, or a better one
	NarrowWeighing     = "finer-scale"         // smaller steps, or more in the cup
	NarrowExposure     = "one-way-of-covering" // the cup open, or always covered in the same way
)

// Narrowing is what would make a band narrower, and by how much.
type Narrowing struct {
	By string `json:"by" enum:"two-figures,nearer-figure,four-ends,knowing-the-air,better-sensor,finer-scale,one-way-of-covering" doc:"what would make the band narrower"`
	// Width is the width of the band with it, divided by that without.
	Width float64 `json:"width" doc:"width of the band with it, divided by that without"`
}

// Narrowings returns what would make a band of these parts narrower by 1 % or more, in a shop at a
// temperature in °C, the best first.
//
// Two figures in place of one halve the spread of the life, and a figure at the shop's temperature takes
// the energy out. Four ends leave 1/(1/v + 4/sigma²) of the life's variance v. The others are taken to
// remove half of the variance of their part, an assumption.
func (i Ink) Narrowings(parts []Part, shopC float64) []Narrowing {
	share := map[string]float64{}
	for _, p := range parts {
		share[p.Part] = p.Share
	}
	removes := map[string]float64{
		NarrowForecast: share[PartAir] / 2, NarrowSensor: share[PartSensor] / 2, NarrowWeighing: share[PartWeighing] / 2,
		NarrowExposure: share[PartExposure] / 2,
	}
	if v := share[PartLife]; v > 0 && share[PartScatter] > 0 {
		removes[NarrowEnds] = v - 1/(1/v+4/share[PartScatter])
	}
	if i.LifeLnSpread >= lifeSpreadOfOneFigure {
		const ratio = lifeSpreadOfTwoFigures / lifeSpreadOfOneFigure
		removes[NarrowTwoFigures] = share[PartLife] * (1 - ratio*ratio)
	}
	if i.FarFrom(shopC) {
		removes[NarrowNearerFigure] = share[PartEnergy]
	}
	var all []Narrowing
	for by, removed := range removes {
		if width := math.Sqrt(max(1-removed, 0)); width <= 0.99 {
			all = append(all, Narrowing{By: by, Width: width})
		}
	}
	slices.SortFunc(all, func(a, b Narrowing) int { return cmp.Or(cmp.Compare(a.Width, b.Width), cmp.Compare(a.By, b.By)) })
	return all
}
