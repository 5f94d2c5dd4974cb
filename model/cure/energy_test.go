package cure

import (
	"math"
	"testing"
	"time"

	"potlifed/model/air"
)

// Above the usual temperatures an assumed activation energy is less sure, and higher; one that a shop has learned, or
// stated as higher, keeps its own.
func TestTheEnergyThatIsAssumedOfAHotShop(t *testing.T) {
	for _, row := range []struct{ startC, energy, known, wantEnergy, want float64 }{
		{18, 50, 10, 50, 10}, {22, 50, 10, 50, 10}, {26, 50, 10, 50, 10}, {16, 50, 10, 50, 10}, {-5, 50, 10, 50, 10},
		{27, 50, 10, 53.75, math.Sqrt(250)}, {28, 50, 10, 57.5, 20}, {40, 50, 10, 57.5, 20},
		{30, 45, 10, 52.5, 20}, {30, 55, 10, 57.5, 20}, {30, 70, 10, 70, 20},
		{30, 50, 4, 50 + 7.5*0.0256, math.Sqrt(16 + 300*0.0256)}, {30, 50, 0, 50, 0},
	} {
		got := Ink{ActivationKJPerMol: row.energy, ActivationSpread: row.known}.startingAt(row.startC)
		near(t, "energy", got.ActivationKJPerMol, row.wantEnergy, 1e-9)
		near(t, "spread", got.ActivationSpread, row.want, 1e-9)
	}
}

func TestFarFromTheSheet(t *testing.T) {
	for _, row := range []struct {
		sheetC, shopC, spread float64
		want                  bool
	}{
		{20, 22, 10, false}, {20, 26, 10, false}, {20, 28, 10, true}, {27, 28, 10, false}, {20, 17, 10, false}, {23, 12, 10, true}, {20, 28, 4, false},
	} {
		ink := Ink{AtTemperatureC: row.sheetC, ActivationSpread: row.spread}
		if got := ink.FarFrom(row.shopC); got != row.want {
			t.Errorf("sheet at %v °C, shop at %v °C, spread %v: %v", row.sheetC, row.shopC, row.spread, got)
		}
	}
}

// A figure at the shop's own temperature leaves the energy's part out of the band.
func TestASheetAtTheShopsTemperatureNarrowsTheBand(t *testing.T) {
	hot := air.State{TemperatureC: 30, HumidityPct: 60}
	relativeWidth := func(sheetC float64) float64 {
		ink, err := Sheet{Shortest: 6 * time.Hour, Longest: 8 * time.Hour, AtTemperatureC: sheetC, DryPct: 30, HumidPct: 80}.Calibrate()
		if err != nil {
			t.Fatal(err)
		}
		ends := New(ink, Sensor{Exact: true}, 0, hot).Forecast(Place{Exposure: 1}, hot, 0, WithoutDrift())
		return (ends.High - ends.Low).Hours() / ends.Expected.Hours()
	}
	if far, near := relativeWidth(20), relativeWidth(30); !(near < 0.9*far) {
		t.Errorf("width %v with a sheet at 20 °C, %v with one at 30 °C", far, near)
	}
}
