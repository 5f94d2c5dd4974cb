package cure

import (
	"math"

	"potlifed/model/air"
)

const (
	// lagFactorSpread: the cup's time constant is known to a factor of 1.6.
	lagFactorSpread = 1.6
	// exposureLnSpread is the spread of ln phi for a covered cup. An open cup (phi 1) is the
	// reference itself and has no spread.
	exposureLnSpread = 0.4
	// placeHumiditySpread is the uncertainty in % RH that comes from the sensor not being in the
	// cup.
	placeHumiditySpread = 2.0
	// overdueHumiditySpreadPerMonth is how much the uncertainty of a humidity sensor grows per
	// month that its check is overdue, in % RH.
	overdueHumiditySpreadPerMonth = 1.0

	// The length of an unknown gap, in which the power was off and the clock not set. It is
	// taken as lognormal with a median of half an hour and a ln spread of 1.5, so that eight in
	// ten such gaps last between 4 minutes and 3½ hours. An assumption.
	gapMedianH  = 0.5
	gapLnSpread = 1.5
)

// Sensor holds what is known of the instrument that measures the air.
type Sensor struct {
	// TemperatureAccuracyC and HumidityAccuracyPct are the accuracies in K and % RH that the
	// maker states, taken as rectangular half-widths: spread a/√3.
	TemperatureAccuracyC float64 `json:"temperature_accuracy_c" doc:"accuracy in °C, plus or minus"`
	HumidityAccuracyPct  float64 `json:"humidity_accuracy_pct" doc:"accuracy in % relative humidity, plus or minus"`
	// OverdueMonths is by how many months the humidity check is late: the spread grows by 1 % RH
	// per month.
	OverdueMonths float64 `json:"overdue_months" doc:"months that the check of the sensor is overdue"`
	// Exact: the air is given and not measured. It has no error of a sensor or its place.
	Exact bool `json:"exact" doc:"the air is known exactly; used for simulations"`
}

// spreads returns the standard uncertainties of what the sensor reads, in K and % RH.
func (s Sensor) spreads() (temperatureK, humidityPct float64) {
	if s.Exact {
		return 0, 0
	}
	atLeastZero := func(v float64) float64 { return max(v, 0) }
	humidity := math.Hypot(atLeastZero(s.HumidityAccuracyPct)/math.Sqrt(3), placeHumiditySpread)
	return atLeastZero(s.TemperatureAccuracyC) / math.Sqrt(3), humidity + overdueHumiditySpreadPerMonth*atLeastZero(s.OverdueMonths)
}

// member is one plausible batch. What was drawn for it when the ensemble was made never changes.
type member struct {
	lRefH, share, activation, sigma float64 // h, -, kJ/mol, -
	biasTemperature, biasHumidity   float64 // K, % RH: the true air minus the sensor's reading
	driftTemperature, driftHumidity float64 // standard normal
	lagFactor                       float64
	exposureU, worstU               float64 // 0..1
	gapH                            float64 // h

	// Calculated from the fields above.
	heat, moisture float64 // 1/h at k = 1; 1/(h Pa) at exposure 1
	activationK    float64
	inverse        float64 // 1/(sigma √2)
	towardsWorst   float64 // see towardsWorst
	perLagFactor   float64 // 1/lagFactor
}

// stored returns the drawn fields in the order in which an ensemble is stored.
func (m *member) stored() [12]*float64 {
	return [12]*float64{&m.lRefH, &m.share, &m.activation, &m.sigma, &m.biasTemperature, &m.biasHumidity, &m.driftTemperature,
		&m.driftHumidity, &m.lagFactor, &m.exposureU, &m.worstU, &m.gapH}
}

// derive calculates the other fields.
func (m *member) derive() {
	m.heat = (1 - m.share) / m.lRefH
	m.moisture = m.share / (m.lRefH * referenceVapourPa)
	m.activationK = m.activation / gasConstant
	m.inverse = 1 / (m.sigma * math.Sqrt2)
	m.towardsWorst = towardsWorst(m.worstU)
	m.perLagFactor = 1 / m.lagFactor
}

// beyondLast is how far the air that nobody measures may lie on the other side of the last values, as
// a share of the way from them to the worst air of the last day.
const beyondLast = 0.15

// towardsWorst returns where on the way from the last values to the worst air of the last day a member
// has its air while nobody measures it: from -beyondLast to 1, most often near the last values. A
// uniform share of the way made the bands of such batches too early: in the back-tests they held 75 %
// of the ends, and 18 % came after the band. With the square, and with a little room on the other side,
// they hold 80 %. Both figures are chosen for that; there is no other source.
func towardsWorst(u float64) float64 { return (1+beyondLast)*u*u - beyondLast }

// drawMembers draws n members around an ink with the generator of a lattice.
func drawMembers(ink Ink, sensor Sensor, weighing float64, n int, z [draws]int) []member {
	temperatureSpread, humiditySpread := sensor.spreads()
	known := ink.KnownIn()
	knownLife := lifeIn(known, ink.LRefH, ink.MoistureShare, ink.activationK())
	minSigma, maxSigma := ink.sigmaBounds()
	x := design(z, n)
	members := make([]member, n)
	for k := range members {
		normal := func(draw int) float64 { return x[draw][k] }
		u := func(draw int) float64 { return normalCDF(normal(draw)) }
		m := &members[k]
		m.share = TruncatedNormal(u(drawShare), ink.MoistureShare, ink.MoistureSpread, MinMoistureShare, MaxMoistureShare)
		m.activation = TruncatedNormal(u(drawActivation), ink.ActivationKJPerMol, ink.ActivationSpread,
			MinActivationKJPerMol, MaxActivationKJPerMol)
		// The sheet gives the life in its own air. L_ref follows from it with the member's own
		// paths.
		life := knownLife * math.Exp(ink.LifeLnSpread*normal(drawLife))
		m.lRefH = lRefFor(known, life, m.share, m.activation/gasConstant)
		lnSigma := TruncatedNormal(u(drawSigma), math.Log(ink.Sigma), ink.SigmaLnSpread, math.Log(minSigma), math.Log(maxSigma))
		m.sigma = math.Hypot(min(max(math.Exp(lnSigma), minSigma), maxSigma), weighing)
		m.biasTemperature = temperatureSpread * normal(drawBiasTemperature)
		m.biasHumidity = humiditySpread * normal(drawBiasHumidity)
		m.driftTemperature = normal(drawDriftTemperature)
		m.driftHumidity = normal(drawDriftHumidity)
		m.lagFactor = math.Exp(math.Log(lagFactorSpread) * normal(drawLag))
		m.exposureU = u(drawExposure)
		m.worstU = u(drawWorst)
		m.gapH = gapMedianH * math.Exp(gapLnSpread*normal(drawGap))
		m.derive()
	}
	return members
}

// exposure returns the member's own phi for that of a place.
func (m *member) exposure(phi float64) float64 {
	if phi >= 1 {
		return 1
	}
	return math.Exp(TruncatedNormal(m.exposureU, math.Log(phi), exposureLnSpread, math.Inf(-1), 0))
}

// ExposureSpread returns the relative standard uncertainty of the exposure of a place: the
// spread of ln phi, which is normal around the given value and truncated at that of an open cup.
// It is 0 for an open cup.
func ExposureSpread(phi float64) float64 {
	if !(phi > 0 && phi < 1) {
		return 0
	}
	// Variance of a normal distribution cut off above at b (Johnson, Kotz & Balakrishnan,
	// Continuous Univariate Distributions 1, section 10.1; from memory): 1 - b h - h², h =
	// phi(b)/Phi(b).
	b := -math.Log(phi) / exposureLnSpread
	h := math.Exp(-b*b/2) / math.Sqrt(2*math.Pi) / normalCDF(b)
	return exposureLnSpread * math.Sqrt(max(1-b*h-h*h, 0))
}

// reading returns the air as the member has it when the sensor reads a.
func (m *member) reading(a air.State) air.State {
	return air.State{TemperatureC: a.TemperatureC + m.biasTemperature, HumidityPct: a.HumidityPct + m.biasHumidity}.Clamp()
}
