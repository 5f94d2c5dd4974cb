package cure

import (
	"math"
	"testing"
	"time"

	"potlifed/model/air"
)

// korobov is the generator of a larger lattice of the same kind, the powers of one odd number.
func korobov(a, n int) [draws]int {
	var z [draws]int
	power := 1
	for i := range z {
		z[i] = power
		power = power * a % (2 * n)
	}
	return z
}

// agreementCase is a batch's story up to the moment that ends are asked for.
type agreementCase struct {
	name     string
	sheet    Sheet
	sensor   Sensor
	weighing float64
	place    Place
	air      []air.State // hour by hour, linear between, then steady
	options  []ForecastOption
}

var agreementCases = []agreementCase{
	{
		name:  "two figures, still air, nothing else unknown",
		sheet: Sheet{Shortest: 6 * time.Hour, Longest: 8 * time.Hour}, sensor: Sensor{Exact: true}, place: Place{Exposure: 1},
		air: []air.State{{TemperatureC: 20, HumidityPct: 50}, {TemperatureC: 20, HumidityPct: 50}}, options: []ForecastOption{WithoutDrift()},
	},
	{
		name:  "two figures, shop air, usual sensor, drift",
		sheet: Sheet{Shortest: 6 * time.Hour, Longest: 8 * time.Hour}, sensor: Sensor{TemperatureAccuracyC: 0.3, HumidityAccuracyPct: 2},
		place: Place{Exposure: 1, Lag: 25 * time.Minute}, weighing: 0.03,
		air: []air.State{{TemperatureC: 21, HumidityPct: 45}, {TemperatureC: 23, HumidityPct: 55}, {TemperatureC: 24, HumidityPct: 60}},
	},
	{
		name:  "one figure, hot and humid, covered, poor sensor",
		sheet: Sheet{About: 8 * time.Hour}, sensor: Sensor{TemperatureAccuracyC: 2, HumidityAccuracyPct: 5},
		place: Place{Exposure: 0.5, Lag: 10 * time.Minute}, weighing: 0.07,
		air: []air.State{{TemperatureC: 24, HumidityPct: 60}, {TemperatureC: 30, HumidityPct: 75}, {TemperatureC: 31, HumidityPct: 80}},
	},
	{
		name:  "one figure, cold and dry",
		sheet: Sheet{About: 6 * time.Hour, ActivationKJPerMol: 60}, sensor: Sensor{TemperatureAccuracyC: 0.5, HumidityAccuracyPct: 3},
		place: Place{Exposure: 1, Lag: 25 * time.Minute},
		air:   []air.State{{TemperatureC: 15, HumidityPct: 30}, {TemperatureC: 14, HumidityPct: 25}},
	},
	{
		name:  "sheet at 23, stale air",
		sheet: Sheet{Shortest: 5 * time.Hour, Longest: 8 * time.Hour, AtTemperatureC: 23, DryPct: 30, HumidPct: 80}, sensor: Sensor{HumidityAccuracyPct: 2},
		place:   Place{Exposure: 1, Lag: 25 * time.Minute},
		air:     []air.State{{TemperatureC: 22, HumidityPct: 45}, {TemperatureC: 22, HumidityPct: 45}},
		options: []ForecastOption{TowardsWorst(air.State{TemperatureC: 26, HumidityPct: 65})},
	},
}

// story lives until an age, calls the batch good there if that is not the start, and returns the
// ensemble and the last air.
func (ac agreementCase) story(t testing.TB, n int, z [draws]int, goodAt time.Duration) (*Ensemble, air.State) {
	t.Helper()
	ink, err := ac.sheet.Calibrate()
	if err != nil {
		t.Fatal(err)
	}
	c := newEnsemble(ink, drawMembers(ink, ac.sensor, ac.weighing, n, z), ac.air[0])
	now := ac.air[0]
	for i := 0; c.Age() < goodAt; i++ {
		next := ac.air[min(i+1, len(ac.air)-1)]
		duration := min(time.Hour, goodAt-c.Age())
		next = air.Lerp(now, next, duration.Hours())
		c.Advance(ac.place, Step{Duration: duration, From: now, To: next, Kind: Measured})
		now = next
	}
	if goodAt > 0 {
		c.Good()
	}
	return c, now
}

// ageOfSurvival is the age in whole minutes at which a share of all batches of the case is still alive.
func (ac agreementCase) ageOfSurvival(t testing.TB, n int, z [draws]int, survival float64) time.Duration {
	least, most := time.Duration(0), time.Duration(6000)
	for most-least > 1 {
		middle := (least + most) / 2
		c, _ := ac.story(t, n, z, middle*time.Minute)
		if middle == 0 || c.survivalAtGood() >= survival {
			least = middle
		} else {
			most = middle
		}
	}
	return least * time.Minute
}

func relative(a, b Ends) [3]float64 {
	r := func(a, b time.Duration) float64 { return 100 * (float64(a)/float64(b) - 1) }
	return [3]float64{r(a.Low, b.Low), r(a.Expected, b.Expected), r(a.High, b.High)}
}

// Counted from mixing, the ends of 128 members agree with those of 8,192 within 1 % while at
// least half of all batches were alive when this one was last known good, within 2 % at a tenth.
func TestEndsAgreeWith8192Members(t *testing.T) {
	for _, ac := range agreementCases {
		for _, survival := range []float64{1, 0.9, 0.5, 0.1} {
			goodAt := time.Duration(0)
			if survival < 1 {
				goodAt = ac.ageOfSurvival(t, 1024, korobov(363, 1024), survival)
			}
			few, now := ac.story(t, Members, generator, goodAt)
			many, _ := ac.story(t, 8192, korobov(1203, 8192), goodAt)
			off := relative(few.Forecast(ac.place, now, 0, ac.options...), many.Forecast(ac.place, now, 0, ac.options...))
			tolerance := 1.0
			if survival < 0.5 {
				tolerance = 2
			}
			for level, percent := range off {
				if math.Abs(percent) > tolerance {
					t.Errorf("%s, alive %v at %v: level %d is %+.2f %% off", ac.name, survival, goodAt, level, percent)
				}
			}
		}
	}
}

func TestMembersStayInsideTheirPriors(t *testing.T) {
	inks := []Ink{calibrate(t, usual), calibrate(t, Sheet{About: 8 * time.Hour, ActivationKJPerMol: 89}),
		calibrate(t, Sheet{Shortest: 3 * time.Hour, Longest: 8 * time.Hour})}
	inks[1].Sigma = 0.09
	for _, ink := range inks {
		for k, m := range drawMembers(ink, Sensor{TemperatureAccuracyC: 1}, 0, Members, generator) {
			for _, p := range []struct {
				name             string
				value, low, high float64
			}{
				{"Ea", m.activation, 25, 90}, {"s", m.share, 0, 0.75}, {"sigma", m.sigma, 0.08, 0.30},
				{"phi", m.exposure(0.5), 1e-6, 1}, {"phi", m.exposure(0.9), 1e-6, 1}, {"worst", m.worstU, 0, 1},
			} {
				if !(p.value >= p.low && p.value <= p.high) {
					t.Errorf("member %d: %s = %v", k, p.name, p.value)
				}
			}
		}
	}
}

func TestMembersHaveTheSpreadOfTheirPriors(t *testing.T) {
	ink := calibrate(t, usual)
	members := drawMembers(ink, Sensor{TemperatureAccuracyC: 0.3, HumidityAccuracyPct: 3}, 0, Members, generator)
	spread := func(value func(m *member) float64) (mean, sd float64) {
		for i := range members {
			mean += value(&members[i]) / Members
		}
		for i := range members {
			d := value(&members[i]) - mean
			sd += d * d / Members
		}
		return mean, math.Sqrt(sd)
	}
	for _, row := range []struct {
		name             string
		value            func(m *member) float64
		mean, sd, within float64
	}{
		{"ln life at the sheet's temperature", func(m *member) float64 {
			return math.Log(lifeIn(air.State{TemperatureC: 20, HumidityPct: 50}, m.lRefH, m.share, m.activationK))
		}, math.Log(7.0588), 0.10, 1e-4},
		{"s", func(m *member) float64 { return m.share }, 0.294, 0.12, 0.006},
		{"Ea", func(m *member) float64 { return m.activation }, 50, 10, 0.3},
		{"sensor °C", func(m *member) float64 { return m.biasTemperature }, 0, 0.3 / math.Sqrt(3), 1e-9},
		{"sensor %", func(m *member) float64 { return m.biasHumidity }, 0, math.Sqrt(3 + 4), 1e-9},
		{"ln tau", func(m *member) float64 { return math.Log(m.lagFactor) }, 0, math.Log(1.6), 1e-9},
	} {
		mean, sd := spread(row.value)
		near(t, row.name+" mean", mean, row.mean, row.within)
		near(t, row.name+" spread", sd, row.sd, row.within)
	}
}

func TestWeighingWidensSigmaInQuadrature(t *testing.T) {
	ink := calibrate(t, usual)
	plain, coarse := drawMembers(ink, Sensor{}, 0, Members, generator), drawMembers(ink, Sensor{}, 0.068, Members, generator)
	for i := range plain {
		near(t, "sigma", coarse[i].sigma, math.Sqrt(plain[i].sigma*plain[i].sigma+0.068*0.068), 1e-15)
	}
}

func TestOverdueSensorIsLessSure(t *testing.T) {
	_, fresh := Sensor{HumidityAccuracyPct: 2}.spreads()
	_, late := Sensor{HumidityAccuracyPct: 2, OverdueMonths: 3}.spreads()
	near(t, "spread after three months", late-fresh, 3, 1e-12)
}

func TestTruncatedNormal(t *testing.T) {
	for _, row := range []struct{ centre, spread, low, high float64 }{{50, 10, 25, 90}, {0.96, 0.12, 0, 0.75}, {-3, 0.1, 0, 1}, {5, 0.01, 0, 1}, {0.5, 0, 0, 1}} {
		before := math.Inf(-1)
		for u := 1.0 / 256; u < 1; u += 1.0 / 128 {
			v := TruncatedNormal(u, row.centre, row.spread, row.low, row.high)
			if !(v >= row.low && v <= row.high && v >= before) {
				t.Fatalf("%+v: quantile %v is %v after %v", row, u, v, before)
			}
			before = v
		}
	}
	// The quantile undoes the cut distribution's own function.
	v := TruncatedNormal(0.3, 0.294, 0.12, 0, 0.75)
	a, b := normalCDF((0-0.294)/0.12), normalCDF((0.75-0.294)/0.12)
	near(t, "distribution at the quantile", (normalCDF((v-0.294)/0.12)-a)/(b-a), 0.3, 1e-12)
}

// The spread of an exposure is that of what the members draw.
func TestExposureSpreadIsThatOfTheMembers(t *testing.T) {
	for _, phi := range []float64{0.2, 0.5, 0.9} {
		const n = 20000
		mean, square := 0.0, 0.0
		for k := range n {
			m := member{exposureU: (float64(k) + 0.5) / n}
			x := math.Log(m.exposure(phi))
			mean += x / n
			square += x * x / n
		}
		near(t, "spread", ExposureSpread(phi), math.Sqrt(square-mean*mean), 1e-4)
	}
	for _, phi := range []float64{1, 2, 0, -1, math.NaN()} {
		near(t, "no spread", ExposureSpread(phi), 0, 0)
	}
}
