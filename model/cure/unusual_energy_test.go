package cure_test

import (
	"math/rand/v2"
	"testing"
	"time"

	"potlifed/model/cure"
)

// unheated are two shops that nobody heats or cools, in a tropical and in a cool town, from the same
// generator as the files in testdata.
var unheated = []madeUp{
	{name: "hot", seed: 11, meanC: 27, seasonK: 1, dayK: 3.5, weatherK: 1, depressionK: 3, depressionSpreadK: 1,
		buildingH: 5, heatedToC: -50, coolingFromC: 60, driedPct: 100, nightC: -50, vapourPa: 150, weekends: true},
	{name: "cold", seed: 12, meanC: 8, seasonK: 9, dayK: 4, weatherK: 3, depressionK: 4, depressionSpreadK: 2,
		buildingH: 5, heatedToC: -50, coolingFromC: 60, driedPct: 100, nightC: -50, vapourPa: 150, weekends: true},
}

// On the first day, with a data sheet at 20 °C and a shop far from there, the band holds the ends of
// inks whose activation energy is anywhere in the published range of 35 to 80 kJ/mol. An energy at one
// end of it is reported as it is: nothing but a figure at another temperature, or batches, can tell.
func TestBandsOfUnusualEnergiesInHotAndColdShops(t *testing.T) {
	t.Parallel() // it computes for long with all simulations
	const anyEnergy = 0
	batches := simulated(t, 1000, 60)
	for _, m := range unheated {
		c := m.generate()
		for _, energy := range []float64{anyEnergy, 50, 35, 80} {
			if energy != anyEnergy && !long {
				continue // it is only reported
			}
			var all tally
			batches := batches
			if energy != anyEnergy {
				batches /= 4
			}
			for batch := range batches {
				rng := rand.New(rand.NewPCG(seedEnergy, uint64(batch)))
				for {
					if shot, ok := take(c, withEnergy(energy), 0, rng); ok {
						all.add(shot)
						break
					}
				}
			}
			t.Logf("%s shop, %v kJ/mol (0: 35 to 80)\n%s", m.name, energy, all.String())
			if energy != anyEnergy {
				continue
			}
			if got, margin := all.coverage(), sampling(80, all.n); !(got >= 75-margin && got <= 85+margin) {
				t.Errorf("%s shop: the band holds %.1f %% of %d ends, want 75 to 85 ± %.1f", m.name, got, all.n, margin)
			}
			if got, margin := all.belowShare(), sampling(10, all.n); !(got <= 15+margin) {
				t.Errorf("%s shop: %.1f %% of %d end before low, want at most 15 ± %.1f", m.name, got, all.n, margin)
			}
		}
	}
}

// withEnergy draws batches of a first day whose ink has this activation energy, or any between 35 and
// 80 kJ/mol for 0, and the life of its data sheet.
func withEnergy(energy float64) maker {
	return func(rng *rand.Rand) (situation, truth) {
		s := anySituation(rng)
		s.sheet = cure.Sheet{Shortest: 6 * time.Hour, Longest: 8 * time.Hour}
		var err error
		if s.ink, err = s.sheet.Calibrate(); err != nil {
			panic(err)
		}
		energy := energy
		if energy == 0 {
			energy = 35 + 45*rng.Float64()
		}
		really, open := s, cure.Place{Exposure: 1}
		really.ink.ActivationKJPerMol, really.ink.ActivationSpread = energy, 0
		really.ink.LRefH *= cure.StillAir(s.ink, open, s.ink.KnownIn()).LifeH / cure.StillAir(really.ink, open, s.ink.KnownIn()).LifeH
		return s, ordinary().draw(rng, really)
	}
}
