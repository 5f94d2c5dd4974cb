package cure

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"potlifed/model/air"
)

func TestLnHeatIsTheArrheniusExponent(t *testing.T) {
	for _, temperature := range []float64{-40, 0, 20, 23, 35, 85} {
		if got, want := math.Exp(50*LnHeat(temperature)), arrhenius(50/gasConstant, temperature); math.Abs(got/want-1) > 1e-12 {
			t.Errorf("%v °C: %v, want %v", temperature, got, want)
		}
	}
}

// What Trace takes apart and an ink puts together again is the nominal's spent life.
func TestTraceGivesTheNominalDose(t *testing.T) {
	ink, err := Sheet{Shortest: 6 * time.Hour, Longest: 8 * time.Hour}.Calibrate()
	if err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(t *rapid.T) {
		state := func(name string) air.State {
			return air.State{TemperatureC: rapid.Float64Range(5, 40).Draw(t, name), HumidityPct: rapid.Float64Range(0, 100).Draw(t, name)}
		}
		start := state("start")
		place := Place{
			Exposure: rapid.Float64Range(0.1, 1).Draw(t, "exposure"),
			Lag:      rapid.SampledFrom([]time.Duration{0, 5 * time.Minute, 25 * time.Minute, time.Hour}).Draw(t, "lag"),
		}
		ensemble := New(ink, Sensor{Exact: true}, 0, start)
		cup, heat, moisture := start.TemperatureC, 0.0, 0.0
		for range rapid.IntRange(1, 5).Draw(t, "steps") {
			step := Step{
				Duration: time.Duration(rapid.Float64Range(0.01, 12).Draw(t, "hours") * float64(time.Hour)),
				From:     start, To: state("to"), Worst: state("worst"),
				Kind: rapid.SampledFrom([]StepKind{Measured, Held, Stale, Bridged}).Draw(t, "kind"),
			}
			ensemble.Advance(place, step)
			var wet float64
			wet, cup = Trace(place, step, cup, func(hours, cupC float64) { heat += hours * math.Exp(ink.ActivationKJPerMol*LnHeat(cupC)) })
			moisture += wet
			start = step.To
		}
		dose := ((1-ink.MoistureShare)*heat + ink.MoistureShare*moisture) / ink.LRefH
		if math.Abs(dose/ensemble.Spent()-1) > 1e-5 {
			t.Fatalf("dose %.12g, nominal %.12g", dose, ensemble.Spent())
		}
		if math.Abs(cup-ensemble.CupTemperatureC()) > 1e-9 {
			t.Fatalf("cup %v, nominal %v", cup, ensemble.CupTemperatureC())
		}
	})
}
