package learn

import (
	"math"
	"testing"
	"time"

	"potlifed/model/air"
	"potlifed/model/cure"
)

// R survival 3.5-3, survreg(dist = "lognormal"), is the reference for the censored lognormal
// fit: in steady air D = t/L, and ln t is linear in what the parameters multiply. Values are its
// own unless a row says otherwise.

const gasConstant = 8.314462618e-3 // kJ/(mol K)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s = %.9g, want %.9g ± %g", what, got, want, tolerance)
	}
}

func usualInk(t testing.TB) cure.Ink {
	t.Helper()
	ink, err := cure.Sheet{Shortest: 6 * time.Hour, Longest: 8 * time.Hour}.Calibrate()
	if err != nil {
		t.Fatal(err)
	}
	return ink
}

// fitOne fits one pair by itself.
func fitOne(pair Pair, options ...Option) Result { return FitShop([]Pair{pair}, options...)[0] }

// heated is a dry batch that stands at lnHeat for some hours: any regression on one variable.
func heated(hours, lnHeat float64, ended bool) Record {
	lived := Lived{heat: []warm{{lnHeat: lnHeat, hours: hours}}, atLnHeat: lnHeat}
	kind := Alive
	if ended {
		kind = Ended
	}
	return Record{Kind: kind, To: lived}
}

// plainFit is the likelihood alone with the moisture share held at 0.
func plainFit(t *testing.T, records []Record) Result {
	t.Helper()
	r := fitOne(Pair{Ink: "test", Assumed: true, Sheet: usualInk(t), Records: records}, PriorNone())
	if r.Fault != "" {
		t.Fatal(r.Fault)
	}
	return r
}

// motorettes: temperature in °C, hours, whether it failed. Nelson & Hahn 1972, Technometrics
// 14:247, as in R's MASS (motors).
func motorettes() [][3]float64 {
	var rows [][3]float64
	add := func(temperature, failed float64, hours ...float64) {
		for _, h := range hours {
			rows = append(rows, [3]float64{temperature, h, failed})
		}
	}
	for range 10 {
		add(150, 0, 8064)
	}
	add(170, 1, 1764, 2772, 3444, 3542, 3780, 4860, 5196)
	add(170, 0, 5448, 5448, 5448)
	add(190, 1, 408, 408, 1344, 1344, 1440)
	add(190, 0, 1680, 1680, 1680, 1680, 1680)
	add(220, 1, 408, 408, 504, 504, 504)
	add(220, 0, 528, 528, 528, 528, 528)
	return rows
}

func TestMotorettes(t *testing.T) {
	// The reference counts kelvin from 273.2.
	const zero = 273.2
	lnHeat := func(celsius float64) float64 { return (1/293.15 - 1/(celsius+zero)) / gasConstant }
	var records []Record
	for _, row := range motorettes() {
		records = append(records, heated(row[1], lnHeat(row[0]), row[2] == 1))
	}
	r := plainFit(t, records)
	slope := r.ActivationKJPerMol.Value / gasConstant / 1000
	intercept := math.Log(r.LRefH.Value) - slope*1000/293.15
	near(t, "slope", slope, 9.92701, 1e-5)
	near(t, "intercept", intercept, -13.85983, 1e-5)
	near(t, "ln sigma", math.Log(r.Sigma.Value), -0.516190, 1e-6)
	near(t, "log-likelihood", r.LogLikelihood, -148.53743, 1e-5)
	near(t, "se of slope", *r.ActivationKJPerMol.SE/gasConstant/1000, 1.00546, 1e-5)
	near(t, "se of ln sigma", *r.Sigma.SE/r.Sigma.Value, 0.18267, 1e-5)
	// intercept = ln L - 1000/293.15 · slope; at 20 °C life and ln L_ref are the same.
	shift := 1 / 293.15 / gasConstant
	c := r.covariance
	near(t, "se of intercept", math.Sqrt(c[pLife][pLife]-2*shift*c[pLife][pActivation]+shift*shift*c[pActivation][pActivation]), 2.18007, 1e-5)
	// Schmee & Hahn 1979, Technometrics 21:417, in common logarithms (from memory).
	near(t, "log10 intercept", intercept/math.Ln10, -6.019, 1e-3)
	near(t, "log10 slope", slope/math.Ln10, 4.311, 1e-3)
	near(t, "log10 sigma", r.Sigma.Value/math.Ln10, 0.2592, 1e-4)
	for i, want := range []float64{21936.7, 47133.3, 101270.7} {
		z := []float64{-1.2815515655446004, 0, 1.2815515655446004}[i]
		life := r.LRefH.Value * math.Exp(-r.ActivationKJPerMol.Value*lnHeat(130)+z*r.Sigma.Value)
		near(t, "life at 130 °C", life, want, 0.5)
	}
	if r.Ends != 17 || r.Censored != 23 || r.MoistureShare.Learned || r.MoistureShare.SE != nil || !r.ActivationKJPerMol.Learned {
		t.Errorf("%+v", r)
	}
}

func TestOvarianCancerSurvival(t *testing.T) {
	// R survival's data set ovarian (Edmunson et al. 1979): days, died, age. Age stands for a
	// temperature whose lnHeat is scale·age, so the slope is -activation·scale.
	const scale = 1e-3
	rows := [][3]float64{
		{59, 1, 72.3315}, {115, 1, 74.4932}, {156, 1, 66.4658}, {421, 0, 53.3644}, {431, 1, 50.3397}, {448, 0, 56.4301}, {464, 1, 56.9370},
		{475, 1, 59.8548}, {477, 0, 64.1753}, {563, 1, 55.1781}, {638, 1, 56.7562}, {744, 0, 50.1096}, {769, 0, 59.6301}, {770, 0, 57.0521},
		{803, 0, 39.2712}, {855, 0, 43.1233}, {1040, 0, 38.8932}, {1106, 0, 44.6000}, {1129, 0, 53.9068}, {1206, 0, 44.2055}, {1227, 0, 59.5890},
		{268, 1, 74.5041}, {329, 1, 43.1370}, {353, 1, 63.2192}, {365, 1, 64.4247}, {377, 0, 58.3096},
	}
	var records []Record
	for _, row := range rows {
		records = append(records, heated(row[0], scale*row[2], row[1] == 1))
	}
	r := plainFit(t, records)
	near(t, "intercept", math.Log(r.LRefH.Value), 11.370712, 1e-5)
	near(t, "age", -scale*r.ActivationKJPerMol.Value, -0.0838201, 1e-6)
	near(t, "sigma", r.Sigma.Value, 0.806353, 1e-5)
	near(t, "log-likelihood", r.LogLikelihood, -89.734924, 1e-5)
	near(t, "se of intercept", *r.LRefH.SE/r.LRefH.Value, 1.2755806, 1e-5)
	near(t, "se of age", scale**r.ActivationKJPerMol.SE, 0.0209550, 1e-6)
}

// sixBatches are in 20 °C and 50 %.
func sixBatches() []Record {
	var records []Record
	for i, hours := range []float64{6.5, 7.2, 8.0, 6.9, 5.0, 7.5} {
		kind := Ended
		if i >= 4 {
			kind = Alive
		}
		records = append(records, Record{Kind: kind, To: steady(20, 50, hours)})
	}
	return records
}

func steady(temperature, humidity, hours float64) Lived {
	return Steady(cure.Place{Exposure: 1}, air.State{TemperatureC: temperature, HumidityPct: humidity}, time.Duration(math.Round(hours*3600e9)))
}

func TestWithoutCovariate(t *testing.T) {
	r := plainFit(t, sixBatches())
	near(t, "mu", math.Log(r.LRefH.Value), 1.985623, 1e-6)
	near(t, "sigma", r.Sigma.Value, 0.0826509, 1e-7)
	near(t, "log-likelihood", r.LogLikelihood, -4.393855, 1e-6)
	near(t, "se of mu", *r.LRefH.SE/r.LRefH.Value, 0.038425, 1e-6)
	near(t, "se of ln sigma", *r.Sigma.SE/r.Sigma.Value, 0.362940, 1e-6)
	if r.ActivationKJPerMol.SE != nil || r.MoistureShare.SE != nil {
		t.Error("one climate shows neither activation energy nor share")
	}
}

func TestLikelihoodOfFixedParameters(t *testing.T) {
	ink := usualInk(t)
	ink.LRefH = 7.0588235
	p := priorOf(ink)
	near(t, "log-likelihood", sum(sixBatches(), p.centre, &p.sheet).v, -5.544338, 1e-6)
}

func TestActivationEnergy(t *testing.T) {
	temperatures := []float64{18, 18, 20, 22, 22, 25, 25, 28, 30, 30}
	hours := []float64{9.1, 8.0, 7.4, 6.2, 5.0, 4.9, 5.3, 3.7, 3.5, 2.0}
	ended := []bool{true, false, true, true, false, true, true, true, true, false}
	var records []Record
	for i := range hours {
		records = append(records, heated(hours[i], cure.LnHeat(temperatures[i]), ended[i]))
	}
	r := plainFit(t, records)
	near(t, "ln L", math.Log(r.LRefH.Value), 2.016998, 1e-6)
	near(t, "Ea", r.ActivationKJPerMol.Value, 59.39469784, 1e-5)
	near(t, "sigma", r.Sigma.Value, 0.0391536, 1e-7)
	near(t, "log-likelihood", r.LogLikelihood, 0.878480, 1e-6)
	near(t, "se of ln L", *r.LRefH.SE/r.LRefH.Value, 0.020883, 1e-6)
	near(t, "se of Ea", *r.ActivationKJPerMol.SE, 2.7259, 1e-4)
	near(t, "se of ln sigma", *r.Sigma.SE/r.Sigma.Value, 0.26501, 1e-5)
}

// The same batches, some of which only ended between two looks: R survreg with Surv(type = "interval2").
func TestIntervals(t *testing.T) {
	temperatures := []float64{18, 18, 20, 22, 22, 25, 25, 28, 30, 30}
	from := []float64{9.1, 8.0, 7.0, 6.2, 5.0, 0, 5.3, 3.5, 3.5, 2.0}
	to := []float64{9.1, 0, 7.9, 6.2, 0, 5.4, 5.3, 3.9, 3.5, 0}
	var records []Record
	for i, temperature := range temperatures {
		record := heated(from[i], cure.LnHeat(temperature), false)
		switch {
		case from[i] == to[i]:
			record.Kind = Ended
		case from[i] == 0:
			record = heated(to[i], cure.LnHeat(temperature), false)
			record.Kind = Between
		case to[i] != 0:
			record = Record{Kind: Between, From: record.To, To: heated(to[i], cure.LnHeat(temperature), false).To}
		}
		records = append(records, record)
	}
	r := plainFit(t, records)
	near(t, "ln L", math.Log(r.LRefH.Value), 2.0245932, 1e-6)
	near(t, "Ea", r.ActivationKJPerMol.Value, 58.78306582, 1e-5)
	near(t, "ln sigma", math.Log(r.Sigma.Value), -3.3525237, 1e-6)
	near(t, "log-likelihood", r.LogLikelihood, -0.5799412466, 1e-6)
	near(t, "se of ln L", *r.LRefH.SE/r.LRefH.Value, 0.0212742, 1e-6)
	near(t, "se of Ea", *r.ActivationKJPerMol.SE, 2.631978222, 1e-4)
	near(t, "se of ln sigma", *r.Sigma.SE/r.Sigma.Value, 0.3310374, 1e-5)
}

// Two climates without scatter give the share exactly, computed from the two equations.
func TestHumidityShareOfTwoClimates(t *testing.T) {
	r := fitOne(Pair{Sheet: usualInk(t), Records: []Record{
		{Kind: Ended, To: steady(20, 30, 8)}, {Kind: Ended, To: steady(20, 80, 6)},
	}}, PriorNone())
	near(t, "share", r.MoistureShare.Value, 0.29412, 5e-6)
	near(t, "ln L_ref", math.Log(r.LRefH.Value), math.Log(7.058824), 1e-6)
	if r.Undetermined == "" || r.LRefH.SE != nil {
		t.Error("two ends fit two parameters: there is no scatter to judge by, and the result has to say so")
	}
}
