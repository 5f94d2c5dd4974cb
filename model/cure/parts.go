package cure

import (
	"cmp"
	"math"
	"slices"
	"time"

	"potlifed/model/air"
)

// The parts of a band; see [Ensemble.Explain].
const (
	PartScatter  = "batch-scatter" // from one batch of an ink to the next
	PartLot      = "lot"           // from one lot of ink or hardener to the next, of lots without an end yet
	PartLife     = "life"          // of the ink, by its data sheet or by past batches
	PartEnergy   = "energy"        // the activation energy
	PartMoisture = "moisture"      // the share of the life that moisture determines
	PartAir      = "air-to-come"   // and air that was not measured
	PartSensor   = "sensor"
	PartExposure = "exposure" // how open the cup is
	PartWeighing = "weighing" // the mixing ratio
	PartCup      = "cup"      // how fast it follows the air
	PartAdhesion = "adhesion" // the end at which prints do not adhere any more, where tests tell of one
	PartOther    = "other"    // what the parts do together
)

// Part is a share of the variance of a batch's end.
type Part struct {
	Part  string  `json:"part" enum:"batch-scatter,lot,life,energy,moisture,air-to-come,sensor,exposure,weighing,cup,adhesion,other" doc:"what is not known"`
	Share float64 `json:"share" doc:"share of the variance of the end, 0 to 1; all parts add up to 1"`
}

var partOfDraw = [draws]string{
	drawLife: PartLife, drawShare: PartMoisture, drawActivation: PartEnergy, drawDriftHumidity: PartAir, drawDriftTemperature: PartAir,
	drawBiasHumidity: PartSensor, drawBiasTemperature: PartSensor, drawExposure: PartExposure, drawWorst: PartAir, drawLag: PartCup,
	drawGap: PartAir, drawSigma: PartOther,
}

// Explained is where the width of a band comes from.
type Explained struct {
	LnSpread float64 `json:"ln_spread" doc:"standard deviation of the logarithm of the batch's age at its end"`
	Parts    []Part  `json:"parts" doc:"what the width of the band comes from, the largest part first"`
	// Narrowings are the things that would make the band narrower by 1 % or more, the best first.
	Narrowings []Narrowing `json:"narrowings" doc:"what would make the band narrower, the best first"`
}

// Explain returns what the width of the band comes from, the largest part first, as shares of the variance
// of ln age at the end, and what would make it narrower. The air is that of [Ensemble.Forecast]. weighing is
// the relative standard uncertainty of the mixing ratio that the ensemble was made with. ok is false for an
// ensemble with another number of members than New draws.
//
// The draws of the members are uncorrelated and of variance 1, so that the square of the mean product of
// a draw and the member's own ln end is the variance that this draw explains alone (the first-order
// index of a linear regression). Scatter, lots and weighing add to it, since they are independent of the
// members. What is left is PartOther. What somebody saw of the batch, a look or a flow time, is left out:
// the shares are those of the band before it.
//
// Where tests tell of an adhesion end, the band is that of the earlier of the two ends, and so are the parts:
// PartAdhesion is the variance that the adhesion end explains alone, and the others share the rest as they share the
// variance of the visible end.
func (c *Ensemble) Explain(p Place, now air.State, held time.Duration, weighing float64, options ...ForecastOption) (e Explained, ok bool) {
	if len(c.members) != Members {
		return Explained{}, false
	}
	e.LnSpread, e.Parts = c.parts(p, now, held, weighing, options...)
	learned := 0.0
	if c.adheres != nil {
		e, learned = c.adheres.explain(e, c.ink.LRefH)
	}
	e.Narrowings = c.ink.narrowings(e, now.TemperatureC, c.heard != nil, learned)
	return e, true
}

// parts returns the standard deviation of ln age at the end, and its parts.
func (c *Ensemble) parts(p Place, now air.State, held time.Duration, weighing float64, options ...ForecastOption) (lnSpread float64, parts []Part) {
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
	variance[PartLot] = min(c.ink.LotLnSpread*c.ink.LotLnSpread, scatter-variance[PartWeighing])
	variance[PartScatter] = scatter - variance[PartWeighing] - variance[PartLot]
	for name, v := range variance {
		if share := v / (between + scatter); share > 1e-6 {
			parts = append(parts, Part{Part: name, Share: share})
		}
	}
	slices.SortFunc(parts, func(a, b Part) int { return cmp.Or(cmp.Compare(b.Share, a.Share), cmp.Compare(a.Part, b.Part)) })
	return math.Sqrt(between + scatter), parts
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

// The things that would make a band narrower; see [Ensemble.Explain].
const (
	NarrowFlowTimes    = "flow-times"          // flow times of the fresh mix and late in its life, two runs each
	NarrowLotEnds      = "ends-of-the-lot"     // four ends of batches of its lot, recorded
	NarrowTwoFigures   = "two-figures"         // the shortest and the longest life of the data sheet
	NarrowNearerFigure = "nearer-figure"       // a figure of the sheet at a temperature nearer to the shop's
	NarrowEnds         = "four-ends"           // four ends of batches, recorded
	NarrowForecast     = "knowing-the-air"     // readings, and a forecast of the air
	NarrowSensor       = "better-sensor"       // a check of the sensor, or a better one
	NarrowWeighing     = "finer-scale"         // smaller steps, or more in the cup
	NarrowExposure     = "one-way-of-covering" // the cup open, or always covered in the same way
	NarrowTests        = "adhesion-tests"      // tests of prints at a known age of their mix
)

// Narrowing is what would make a band narrower, and by how much.
type Narrowing struct {
	By string `json:"by" enum:"flow-times,ends-of-the-lot,two-figures,nearer-figure,four-ends,knowing-the-air,better-sensor,finer-scale,one-way-of-covering,adhesion-tests" doc:"what would make the band narrower"`
	// Width is the width of the band with it, divided by that without.
	Width float64 `json:"width" doc:"width of the band with it, divided by that without"`
}

// flowTimesLnSpread is how well two flow times tell ln age at the end, alone: one of the fresh mix and one at
// three quarters of its life, two runs each. In the simulated shops whose bands had a spread of 0.2 on
// average they made these 24 % narrower, and 1/(1/0.2² + 1/x²) = (0.76 · 0.2)² gives x.
const flowTimesLnSpread = 0.234

// narrowings returns what would make a band narrower by 1 % or more, in a shop at a temperature in °C, the
// best first. heard: flow times of the batch are known already. learned is the share of the variance that is gone once tests
// have told the ink's adhesion end.
//
// Two figures in place of one halve the spread of the life, and a figure at the shop's temperature takes
// the energy out. Four ends leave 1/(1/v + 4/sigma²) of the variance v of the life or the lot. Flow times tell
// nothing of the air to come. The others are taken to remove half of the variance of their part, an assumption.
func (i Ink) narrowings(e Explained, shopC float64, heard bool, learned float64) []Narrowing {
	share := map[string]float64{}
	for _, p := range e.Parts {
		share[p.Part] = p.Share
	}
	removes := map[string]float64{
		NarrowForecast: share[PartAir] / 2, NarrowSensor: share[PartSensor] / 2, NarrowWeighing: share[PartWeighing] / 2,
		NarrowExposure: share[PartExposure] / 2, NarrowTests: learned,
	}
	for by, v := range map[string]float64{NarrowEnds: share[PartLife], NarrowLotEnds: share[PartLot]} {
		if v > 0 && share[PartScatter] > 0 {
			removes[by] = v - 1/(1/v+4/share[PartScatter])
		}
	}
	if seen := (1 - share[PartAir]) * e.LnSpread * e.LnSpread; !heard && seen > 0 {
		removes[NarrowFlowTimes] = (1 - share[PartAir]) * seen / (seen + flowTimesLnSpread*flowTimesLnSpread)
	}
	if i.LifeLnSpread >= lifeSpreadOfOneFigure {
		const ratio = lifeSpreadOfTwoFigures / lifeSpreadOfOneFigure
		removes[NarrowTwoFigures] = share[PartLife] * (1 - ratio*ratio)
	}
	if i.FarFrom(shopC) {
		removes[NarrowNearerFigure] = share[PartEnergy]
	}
	all := []Narrowing{}
	for by, removed := range removes {
		if width := math.Sqrt(max(1-removed, 0)); width <= 0.99 {
			all = append(all, Narrowing{By: by, Width: width})
		}
	}
	slices.SortFunc(all, func(a, b Narrowing) int { return cmp.Or(cmp.Compare(a.Width, b.Width), cmp.Compare(a.By, b.By)) })
	return all
}
