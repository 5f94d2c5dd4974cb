package main

import (
	"fmt"
	"strings"

	"potlifed/model/air"
	"potlifed/model/cure"
)

var partWords = map[string]string{
	cure.PartScatter: "differences from one batch to the next", cure.PartLot: "differences from one lot to the next", cure.PartLife: "the ink's life", cure.PartEnergy: "the activation energy",
	cure.PartMoisture: "the share of moisture", cure.PartAir: "the air to come", cure.PartSensor: "the sensor", cure.PartExposure: "how open the cup is",
	cure.PartAdhesion: "how long prints adhere", cure.PartWeighing: "the mixing ratio", cure.PartCup: "how fast the cup follows the air", cure.PartOther: "several of these together",
}

var narrowWords = map[string]string{
	cure.NarrowFlowTimes:    "two runs of a flow cup on the fresh mix and two late in its life",
	cure.NarrowLotEnds:      "the ends of four batches of the lot, recorded (potlifed learn)",
	cure.NarrowTwoFigures:   "the shortest and the longest pot life from the data sheet, in place of one figure",
	cure.NarrowNearerFigure: "a figure of the data sheet at a temperature nearer to this air's",
	cure.NarrowEnds:         "the ends of four batches, recorded (potlifed learn)",
	cure.NarrowForecast:     "knowing the air to come",
	cure.NarrowSensor:       "a check of the sensor, or a better one",
	cure.NarrowWeighing:     "a scale with a finer division, or more ink in the cup",
	cure.NarrowExposure:     "a cup that is always covered in the same way",
	cure.NarrowTests:        "tests of prints, recorded with the age of their mix",
}

// writeExplained says where the width of the band comes from.
func writeExplained(b *strings.Builder, e cure.Explained) {
	b.WriteString("\nWhere the width of the band comes from, as shares of the variance\n")
	for _, p := range e.Parts {
		if p.Share >= 0.005 {
			fmt.Fprintf(b, "  %3.0f %%  %s\n", 100*p.Share, partWords[p.Part])
		}
	}
	if len(e.Narrowings) > 0 {
		best := e.Narrowings[0]
		fmt.Fprintf(b, "What would make it narrowest: %s (about %.0f %% narrower)\n", narrowWords[best.By], 100*(1-best.Width))
	}
}

// The air in which the model is checked, as the bench's alarm about air has it.
const checkedMinC, checkedMaxC, checkedMaxPct = 10.0, 35.0, 85.0

// cautionsOf returns what limits the figures, as sentences.
func cautionsOf(ink cure.Ink, a air.State) (say []string) {
	if a.TemperatureC < checkedMinC || a.TemperatureC > checkedMaxC || a.HumidityPct > checkedMaxPct {
		say = append(say, fmt.Sprintf("the model is not checked below %g °C, above %g °C or above %g %% relative humidity.", checkedMinC, checkedMaxC, checkedMaxPct))
	}
	if ink.FarFrom(a.TemperatureC) {
		far := fmt.Sprintf("%.4g °C is far from the %g °C of the data sheet: an ink whose activation energy is unusual ends before low more "+
			"often than one batch in ten, until the shop has learned from its batches. Ask for the pot life at the temperature nearest to your shop's.", a.TemperatureC, ink.AtTemperatureC)
		if centre, spread := ink.EnergyFrom(a.TemperatureC); centre > ink.ActivationKJPerMol {
			far += fmt.Sprintf(" Above %g °C low, expected and high are made from %g ± %g kJ/mol, the published energies, and come before nominal.", cure.UsualMaxC, centre, spread)
		}
		say = append(say, far)
	}
	if cure.StillAir(ink, cure.Place{Exposure: 1}, ink.KnownIn()).LifeH < cure.FastLife {
		fast := "a pot life under 3 h ends close to the gel point, and the mix warms itself: the more in the cup, the sooner it ends " +
			"(ISO 9514, Paints and varnishes: determination of the pot life of multicomponent coating systems, leaves such systems to " +
			"ISO 2535, Plastics: unsaturated-polyester resins, measurement of gel time at ambient temperature). Mix little at a time."
		if ink.BatchG == 0 {
			fast += " The figures hold for the quantity of the data sheet; --grams includes the heat of your mix."
		}
		say = append(say, fast)
	}
	return say
}
