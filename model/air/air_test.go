package air

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// near fails the test when got is further than tolerance from want.
func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s = %.9g, want %.9g ± %g", what, got, want, tolerance)
	}
}

// if97Pa is the saturation pressure of IAPWS-IF97 region 4 (equation 30), an independent formula
// to hold Hyland-Wexler against.
func if97Pa(kelvin float64) float64 {
	n := [...]float64{0, 0.11670521452767e4, -0.72421316703206e6, -0.17073846940092e2, 0.12020824702470e5, -0.32325550322333e7,
		0.14915108613530e2, -0.48232657361591e4, 0.40511340542057e6, -0.23855557567849, 0.65017534844798e3}
	th := kelvin + n[9]/(kelvin-n[10])
	a := th*th + n[1]*th + n[2]
	b := n[3]*th*th + n[4]*th + n[5]
	c := n[6]*th*th + n[7]*th + n[8]
	return 1e6 * math.Pow(2*c/(-b+math.Sqrt(b*b-4*a*c)), 4)
}

// wmoPa is the short form of WMO No. 8, annex 4.B, about 0.3 % low at room temperature.
func wmoPa(celsius float64) float64 { return 611.2 * math.Exp(17.62*celsius/(243.12+celsius)) }

func TestSaturationPressureAgainstTables(t *testing.T) {
	// CRC Handbook of Chemistry and Physics 1992-93, vapour pressure of water, to 0.05 %.
	for celsius, want := range map[float64]float64{10: 1228.1, 15: 1705.6, 20: 2338.8, 23: 2810.4, 25: 3169.0, 30: 4245.5,
		35: 5626.7, 40: 7381.4} {
		near(t, "saturation pressure", SaturationPressurePa(celsius), want, want*0.0005)
	}
	// Triple point: Wexler 1976, J. Res. NBS 80A:775.
	near(t, "triple point", SaturationPressurePa(0.01), 611.657, 0.02)
	// psychrolib 1.1.1, GetSatVapPres.
	for celsius, want := range map[float64]float64{20: 2338.804, 25: 3169.216, 30: 4246.030} {
		near(t, "saturation pressure", SaturationPressurePa(celsius), want, 0.001)
	}
}

func TestSaturationPressureAgainstIF97(t *testing.T) {
	// IAPWS-IF97 table 35, then three values computed from its equation.
	near(t, "IF97 at 300 K", if97Pa(300), 3536.58941, 1e-5)
	for celsius, want := range map[float64]float64{20: 2339.21, 25: 3169.75, 30: 4246.69} {
		near(t, "IF97", if97Pa(celsius+273.15), want, 0.01)
	}
	for celsius := 0.0; celsius <= 85; celsius += 0.5 {
		want := if97Pa(celsius + 273.15)
		near(t, "Hyland-Wexler against IF97", SaturationPressurePa(celsius), want, want*3e-4)
	}
}

func TestSaturationPressureAgainstWMOShortForm(t *testing.T) {
	// Computed from the WMO form; it is a rougher formula and only bounds ours.
	for celsius, want := range map[float64]float64{20: 2332.60, 25: 3160.06, 30: 4233.72} {
		near(t, "WMO short form", wmoPa(celsius), want, 0.01)
		near(t, "Hyland-Wexler", SaturationPressurePa(celsius), want, want*0.0035)
	}
	// Supercooled water: the WMO form is stated down to -45 °C over water.
	for celsius := -40.0; celsius <= 0; celsius++ {
		near(t, "supercooled", SaturationPressurePa(celsius)/wmoPa(celsius), 1, 0.03)
	}
	// Its own dew point at 20 °C and 50 % in closed form.
	x := math.Log(0.5 * wmoPa(20) / 611.2)
	near(t, "WMO dew point", 243.12*x/(17.62-x), 9.255, 0.001)
}

func TestVapourPressureAndDensity(t *testing.T) {
	// psychrolib 1.1.1.
	near(t, "e 20/50", State{20, 50}.VapourPressurePa(), 1169.402, 0.001)
	near(t, "e 30/80", State{30, 80}.VapourPressurePa(), 3396.824, 0.001)
	// Computed from psychrolib's e; a published glossary prints 17.28 for the saturated value.
	near(t, "saturated density", State{20, 100}.VapourDensityGM3(), 17.29, 0.02)
	for state, want := range map[State]float64{{20, 50}: 8.643, {25, 60}: 13.819, {30, 80}: 24.279, {20, 30}: 5.186, {20, 80}: 13.829} {
		near(t, "vapour density", state.VapourDensityGM3(), want, 0.001)
	}
	// Humidity ratio from psychrolib's GetHumRatioFromRelHum, at 101325 Pa: an independent use of e.
	e := State{25, 50}.VapourPressurePa()
	near(t, "humidity ratio", 1000*0.621945*e/(101325-e), 9.881, 0.001)
}

func TestDewPointAgainstPsychrolib(t *testing.T) {
	// psychrolib 1.1.1, GetTDewPointFromRelHum.
	for state, want := range map[State]float64{{20, 50}: 9.272, {25, 60}: 16.701, {20, 30}: 1.914, {30, 80}: 26.169} {
		got, ok := state.DewPointC()
		if !ok {
			t.Errorf("%v has no dew point", state)
		}
		near(t, "dew point", got, want, 0.01)
	}
}

func TestDryAirHasNoDewPoint(t *testing.T) {
	for _, state := range []State{{20, 0}, {20, -3}, {math.NaN(), 50}, {20, math.NaN()}, {math.Inf(1), 50}, {-300, 50}} {
		if got, ok := state.DewPointC(); ok {
			t.Errorf("%v: dew point %v, want none", state, got)
		}
	}
}

func TestVapourPressureIsTheRoomsWhateverWarmsTheSensor(t *testing.T) {
	// Computed with a second implementation: air of 20 °C and 50 % reads 44.22 % on a chip that
	// warms itself to 22 °C.
	room := State{20, 50}
	chip := State{22, 100 * room.VapourPressurePa() / SaturationPressurePa(22)}
	near(t, "chip's humidity", chip.HumidityPct, 44.22, 0.01)
	near(t, "chip's e", chip.VapourPressurePa(), 1169.40, 0.01)
}

func TestSaturationExpansion(t *testing.T) {
	for centre := MinTemperatureC; centre <= MaxTemperatureC; centre += 2.5 {
		around := SaturationAround(centre)
		for d := -6.0; d <= 6; d += 0.25 {
			tolerance := 2e-5
			if math.Abs(d) <= 2 {
				tolerance = 2e-7
			}
			near(t, "expansion", around.PressurePa(centre+d)/SaturationPressurePa(centre+d), 1, tolerance)
		}
	}
}

func TestValid(t *testing.T) {
	for _, state := range []State{{-40, 0}, {85, 100}, {20, 50}} {
		if err := state.Valid(); err != nil {
			t.Errorf("%v: %v", state, err)
		}
	}
	nan, inf := math.NaN(), math.Inf(1)
	for _, state := range []State{{-40.1, 50}, {85.1, 50}, {20, -0.1}, {20, 100.1}, {nan, 50}, {20, nan}, {inf, 50}, {-inf, 50}, {20, inf}} {
		if state.Valid() == nil {
			t.Errorf("%v passed as valid", state)
		}
		if err := state.Clamp().Valid(); err != nil {
			t.Errorf("%v clamped: %v", state, err)
		}
	}
}

func anyState() *rapid.Generator[State] {
	return rapid.Custom(func(t *rapid.T) State {
		return State{rapid.Float64Range(MinTemperatureC, MaxTemperatureC).Draw(t, "temperature"),
			rapid.Float64Range(MinHumidityPct, MaxHumidityPct).Draw(t, "humidity")}
	})
}

func TestDewPointInvertsSaturation(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		state := anyState().Draw(t, "state")
		dew, ok := state.DewPointC()
		if state.HumidityPct == 0 {
			if ok {
				t.Fatalf("dry air has the dew point %v", dew)
			}
			return
		}
		if !ok || dew > state.TemperatureC+1e-9 {
			t.Fatalf("dew point %v (%v) of %v", dew, ok, state)
		}
		if e := state.VapourPressurePa(); e > 1e-6 && math.Abs(SaturationPressurePa(dew)/e-1) > 1e-9 {
			t.Fatalf("saturation pressure at the dew point is %v, want %v", SaturationPressurePa(dew), e)
		}
	})
}

func TestWarmerOrMoreHumidAirHoldsMoreVapour(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := anyState().Draw(t, "a"), anyState().Draw(t, "b")
		low := State{min(a.TemperatureC, b.TemperatureC), min(a.HumidityPct, b.HumidityPct)}
		high := State{max(a.TemperatureC, b.TemperatureC), max(a.HumidityPct, b.HumidityPct)}
		if low.VapourPressurePa() > high.VapourPressurePa() {
			t.Fatalf("%v holds more than %v", low, high)
		}
	})
}

func TestLerp(t *testing.T) {
	a, b := State{20, 30}, State{30, 80}
	if Lerp(a, b, 0) != a || Lerp(a, b, 1) != b || Lerp(a, b, 0.5) != (State{25, 55}) {
		t.Errorf("%v %v %v", Lerp(a, b, 0), Lerp(a, b, 1), Lerp(a, b, 0.5))
	}
}

func BenchmarkSaturationPressure(b *testing.B) {
	sum := 0.0
	for b.Loop() {
		sum += SaturationPressurePa(23.4)
	}
	_ = sum
}
