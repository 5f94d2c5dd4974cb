package cure_test

import (
	"encoding/csv"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"potlifed/model/air"
)

var update = flag.Bool("update", false, "rewrite the made-up climates")

// climate is air at whole hours from start on, linear between.
type climate struct {
	start time.Time
	hours []air.State
}

func (c climate) end() time.Time { return c.start.Add(time.Duration(len(c.hours)-1) * time.Hour) }

// at is the air at an instant, which must lie inside.
func (c climate) at(t time.Time) air.State {
	h := t.Sub(c.start).Hours()
	k := min(int(h), len(c.hours)-2)
	return air.Lerp(c.hours[k], c.hours[k+1], h-float64(k))
}

// humidity is the relative humidity in % of air with a vapour pressure in Pa.
func humidity(celsius, vapourPa float64) float64 {
	return min(100*vapourPa/air.SaturationPressurePa(celsius), 100)
}

// building lets a year of outdoor air through a first-order building: it follows with a time
// constant of six hours and is heated to 18 °C at least; the people in it add 200 Pa of vapour.
func (c climate) building() climate {
	const constantH, leastC, addedPa = 6.0, 18.0, 200.0
	in := climate{start: c.start, hours: make([]air.State, len(c.hours))}
	inside := max(c.hours[0].TemperatureC, leastC)
	for i, out := range c.hours {
		if i > 0 {
			mean := (c.hours[i-1].TemperatureC + out.TemperatureC) / 2
			inside = max(mean+(inside-mean)*math.Exp(-1/constantH), leastC)
		}
		in.hours[i] = air.State{TemperatureC: inside, HumidityPct: humidity(inside, out.VapourPressurePa()+addedPa)}
	}
	return in
}

// readClimate reads time,temperature_c,humidity_pct. Hours that the file lacks are filled in
// straight lines.
func readClimate(t testing.TB, name string) climate {
	t.Helper()
	file, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil || len(rows) < 3 {
		t.Fatalf("%s: %d rows, %v", name, len(rows), err)
	}
	var c climate
	for _, row := range rows[1:] {
		at, err := time.Parse(time.RFC3339, row[0])
		celsius, err1 := strconv.ParseFloat(row[1], 64)
		pct, err2 := strconv.ParseFloat(row[2], 64)
		if err != nil || err1 != nil || err2 != nil {
			t.Fatalf("%s: row %v", name, row)
		}
		a := air.State{TemperatureC: celsius, HumidityPct: pct}
		if len(c.hours) == 0 {
			c.start, c.hours = at, []air.State{a}
			continue
		}
		missing, last := int(at.Sub(c.end()).Hours()), c.hours[len(c.hours)-1]
		for k := 1; k <= missing; k++ {
			c.hours = append(c.hours, air.Lerp(last, a, float64(k)/float64(missing)))
		}
	}
	return c
}

// The made-up climates are rooms, not outdoor air, for a year of hours. Behind each stands
// weather: a season, a day, and two slow random walks that are pulled back (Ornstein-Uhlenbeck,
// 40 hours), one of the temperature and one of how far the dew point lies below it. The building
// is of first order again, its vapour follows the outside with three hours; what is done in it
// differs.
type madeUp struct {
	name                              string
	seed                              uint64
	meanC, seasonK, dayK, weatherK    float64 // outdoors: mean, half swing of the year and of a summer's day, spread of the weather
	depressionK, depressionSpreadK    float64 // dew point below temperature
	buildingH                         float64 // time constant
	heatedToC, coolingFromC, driedPct float64 // while people are there
	nightC                            float64 // heated to at other times
	vapourPa                          float64 // added by people
	weekends                          bool    // work on them too
}

var madeUpClimates = []madeUp{
	{name: "coast", seed: 1, meanC: 11, seasonK: 7, dayK: 3.5, weatherK: 3, depressionK: 4, depressionSpreadK: 2,
		buildingH: 8, heatedToC: 19, coolingFromC: 40, driedPct: 100, nightC: 16, vapourPa: 150},
	{name: "cooled", seed: 2, meanC: 20, seasonK: 9, dayK: 5, weatherK: 3, depressionK: 4, depressionSpreadK: 2,
		buildingH: 5, heatedToC: 20, coolingFromC: 24, driedPct: 55, nightC: 15, vapourPa: 200},
	{name: "shed", seed: 3, meanC: 10, seasonK: 12, dayK: 6, weatherK: 4, depressionK: 6, depressionSpreadK: 3,
		buildingH: 3, heatedToC: 17, coolingFromC: 40, driedPct: 100, nightC: 8, vapourPa: 100, weekends: true},
}

// generate makes the year. It draws from a PCG with the climate's seed and nothing else.
func (m madeUp) generate() climate {
	rng := rand.New(rand.NewPCG(m.seed, 0))
	c := climate{start: time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)}
	const hours, weatherH, exchangeH, roundTo = 365*24 + 1, 40.0, 3.0, 10
	keep := math.Exp(-1 / weatherH)
	kick := math.Sqrt(1 - keep*keep)
	weather, dryness := rng.NormFloat64(), rng.NormFloat64()
	room, vapour := m.heatedToC, 800.0
	for h := range hours {
		at := c.start.Add(time.Duration(h) * time.Hour)
		year, day := 2*math.Pi*float64(h)/(365*24), 2*math.Pi*float64(h%24)/24
		season := -math.Cos(year - 0.35) // coldest three weeks into the year
		outC := m.meanC + m.seasonK*season + m.dayK*(0.7+0.3*season)*math.Cos(day-2*math.Pi*15/24) + m.weatherK*weather
		dewC := outC - max(m.depressionK*(1+0.5*math.Cos(day-2*math.Pi*15/24))+m.depressionSpreadK*dryness, 0.3)
		outside := air.SaturationPressurePa(dewC)

		working := at.Hour() >= 7 && at.Hour() < 18 && (m.weekends || at.Weekday() != time.Sunday && at.Weekday() != time.Saturday)
		room = outC + 2 + (room-outC-2)*math.Exp(-1/m.buildingH) // machines and sun: 2 K
		least := m.nightC
		if working {
			least = m.heatedToC
			room = min(room, m.coolingFromC)
			outside += m.vapourPa
		}
		room = max(room, min(least, room+3)) // a heater lifts 3 K an hour
		vapour = outside + (vapour-outside)*math.Exp(-1/exchangeH)
		pct := humidity(room, vapour)
		if working {
			pct = min(pct, m.driedPct)
		}
		vapour = pct / 100 * air.SaturationPressurePa(room) // what condensed or was dried is gone
		c.hours = append(c.hours, air.State{TemperatureC: math.Round(room*roundTo) / roundTo, HumidityPct: math.Round(pct*roundTo) / roundTo})
		weather, dryness = keep*weather+kick*rng.NormFloat64(), keep*dryness+kick*rng.NormFloat64()
	}
	return c
}

func (m madeUp) file() string {
	return filepath.Join("..", "..", "testdata", "climates", m.name+".csv")
}

// TestMadeUpClimatesAreTheGenerators holds the files to the generator; -update rewrites them.
func TestMadeUpClimatesAreTheGenerators(t *testing.T) {
	for _, m := range madeUpClimates {
		want := m.generate()
		if *update {
			var text strings.Builder
			text.WriteString("time,temperature_c,humidity_pct\n")
			for i, a := range want.hours {
				fmt.Fprintf(&text, "%s,%.1f,%.1f\n", want.start.Add(time.Duration(i)*time.Hour).Format(time.RFC3339), a.TemperatureC, a.HumidityPct)
			}
			if err := os.WriteFile(m.file(), []byte(text.String()), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		got := readClimate(t, m.file())
		if !got.start.Equal(want.start) || len(got.hours) != len(want.hours) {
			t.Fatalf("%s: %d hours from %v, want %d from %v", m.name, len(got.hours), got.start, len(want.hours), want.start)
		}
		for i, a := range want.hours {
			// A rounded digit may fall to the other side where multiply and add are fused.
			const digit = 0.101
			if math.Abs(a.TemperatureC-got.hours[i].TemperatureC) > digit || math.Abs(a.HumidityPct-got.hours[i].HumidityPct) > digit {
				t.Fatalf("%s: hour %d is %+v, generated %+v", m.name, i, got.hours[i], a)
			}
		}
	}
}

// recorded is the folder of recorded climates; where it is not named, the test is skipped.
func recorded(t *testing.T, name string) climate {
	t.Helper()
	folder := os.Getenv("POTLIFED_CLIMATES")
	if folder == "" {
		t.Skipf("POTLIFED_CLIMATES names no folder with %s", name)
	}
	return readClimate(t, filepath.Join(folder, name))
}
