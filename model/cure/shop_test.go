package cure_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"sync"
	"time"

	"potlifed/model/air"
	"potlifed/model/cure"
)

// truth is one batch as it really is: what the shop does not know.
type truth struct {
	ink      cure.Ink // lived with its centre; the spreads mean nothing
	endDose  float64
	bias     air.State // the sensor reads the air less this
	lag      time.Duration
	exposure float64
	// The moisture path's share of the rate at the reference and exposure 1, first is what the
	// ink has; second goes with the square of the vapour pressure, and constant with heat alone.
	// Both are 0 for a first-order ink.
	second, constant float64
}

// nature draws a truth from the prior of an ink, or from somewhere else.
type nature struct {
	// secondOrder: the moisture path goes with the square of the vapour pressure; see truth.bend.
	secondOrder order
	// endLn is the logarithm of an end dose whose spread is 1 before it is scaled by sigma.
	endLn func(rng *rand.Rand) float64
	// lifeLn is added to the logarithm of the life.
	lifeLn func(rng *rand.Rand) float64
	// fixed takes ink parameters from their centres, moved by so many of their spreads.
	fixed                                  bool
	lifeSd, shareSd, activationSd, sigmaSd float64
}

// order says how a moisture path of second order is tied to one of first.
type order int

const (
	_ order = iota // first order, the model's own
	// keepsSheet: both have the same life at the two ends of the data sheet. The sheet was
	// measured with the ink as it is.
	keepsSheet
	// keepsShare: both have the same rate at the reference, and the sheet's ends are wrong by up
	// to a quarter.
	keepsShare
)

func normal(rng *rand.Rand) float64 { return rng.NormFloat64() }

// ordinary is nature as the priors have it.
func ordinary() nature { return nature{endLn: normal} }

// student is a heavy-tailed draw: Student's t with three degrees of freedom.
func student(rng *rand.Rand) float64 {
	chi := 0.0
	for range 3 {
		z := rng.NormFloat64()
		chi += z * z
	}
	return rng.NormFloat64() / math.Sqrt(chi/3)
}

// cut is a normal draw inside limits, by trial.
func cut(rng *rand.Rand, centre, spread, least, most float64) float64 {
	for {
		if v := centre + spread*rng.NormFloat64(); v >= least && v <= most {
			return v
		}
	}
}

// situation is what the shop knows when a batch is mixed.
type situation struct {
	sheet    cure.Sheet
	ink      cure.Ink
	sensor   cure.Sensor
	place    cure.Place
	weighing float64
}

var (
	sheets = []cure.Sheet{
		{Shortest: 6 * time.Hour, Longest: 8 * time.Hour},
		{About: 8 * time.Hour},
		{Shortest: 5 * time.Hour, Longest: 8 * time.Hour, AtTemperatureC: 23, DryPct: 30, HumidPct: 80},
	}
	sensors = []cure.Sensor{
		{TemperatureAccuracyC: 0.3, HumidityAccuracyPct: 2},
		{TemperatureAccuracyC: 0.5, HumidityAccuracyPct: 3, OverdueMonths: 3},
	}
	places = []cure.Place{
		{Exposure: 1, Lag: 25 * time.Minute}, {Exposure: 1, Lag: 10 * time.Minute}, {Exposure: 0.5, Lag: 25 * time.Minute},
	}
)

func anySituation(rng *rand.Rand) situation {
	s := situation{
		sheet: sheets[rng.IntN(len(sheets))], sensor: sensors[rng.IntN(len(sensors))], place: places[rng.IntN(len(places))],
		weighing: []float64{0.01, 0.03, 0.07}[rng.IntN(3)],
	}
	var err error
	if s.ink, err = s.sheet.Calibrate(); err != nil {
		panic(err)
	}
	return s
}

// draw makes the batch that the situation's knowledge is about.
func (n nature) draw(rng *rand.Rand, s situation) truth {
	t := truth{ink: s.ink, exposure: s.place.Exposure}
	life, sigma := 0.0, s.ink.Sigma
	if n.fixed {
		life = n.lifeSd * s.ink.LifeLnSpread
		t.ink.MoistureShare = min(max(s.ink.MoistureShare+n.shareSd*s.ink.MoistureSpread, cure.MinMoistureShare), cure.MaxMoistureShare)
		t.ink.ActivationKJPerMol += n.activationSd * s.ink.ActivationSpread
		sigma = min(max(sigma*math.Exp(n.sigmaSd*s.ink.SigmaLnSpread), cure.MinSigma), cure.MaxSigma)
	} else {
		life = s.ink.LifeLnSpread * rng.NormFloat64()
		t.ink.MoistureShare = cut(rng, s.ink.MoistureShare, s.ink.MoistureSpread, cure.MinMoistureShare, cure.MaxMoistureShare)
		t.ink.ActivationKJPerMol = cut(rng, s.ink.ActivationKJPerMol, s.ink.ActivationSpread, cure.MinActivationKJPerMol, cure.MaxActivationKJPerMol)
		sigma = math.Exp(cut(rng, math.Log(s.ink.Sigma), s.ink.SigmaLnSpread, math.Log(cure.MinSigma), math.Log(cure.MaxSigma)))
	}
	if n.lifeLn != nil {
		life += n.lifeLn(rng)
	}
	// The spread is of the life at the sheet's temperature and 50 %, so L_ref is such that this
	// life comes out.
	sheetAir := air.State{TemperatureC: s.ink.AtTemperatureC, HumidityPct: 50}
	open := cure.Place{Exposure: 1}
	t.ink.LRefH *= cure.StillAir(s.ink, open, sheetAir).LifeH / cure.StillAir(t.ink, open, sheetAir).LifeH * math.Exp(life)

	t.bend(n.secondOrder, s)
	t.endDose = math.Exp(math.Hypot(sigma, s.weighing) * n.endLn(rng))
	kelvin := s.sensor.TemperatureAccuracyC / math.Sqrt(3)
	pct := math.Hypot(s.sensor.HumidityAccuracyPct/math.Sqrt(3), 2) + s.sensor.OverdueMonths
	t.bias = air.State{TemperatureC: kelvin * rng.NormFloat64(), HumidityPct: pct * rng.NormFloat64()}
	t.lag = time.Duration(float64(s.place.Lag) * math.Exp(math.Log(1.6)*rng.NormFloat64()))
	if t.exposure < 1 {
		t.exposure = math.Exp(cut(rng, math.Log(t.exposure), 0.4, math.Inf(-1), 0))
	}
	return t
}

// referenceVapour is the vapour pressure at 20 °C and 50 %.
var referenceVapour = air.State{TemperatureC: 20, HumidityPct: 50}.VapourPressurePa()

// bend replaces a moisture path m e by c + b e² through the same rates at the sheet's dry and
// humid ends, b = m/(dry+humid), c = m dry humid/(dry+humid), or by the one that has the same
// rate at the reference.
func (t *truth) bend(how order, s situation) {
	share := t.ink.MoistureShare
	end := func(pct float64) float64 {
		return air.State{TemperatureC: s.ink.AtTemperatureC, HumidityPct: pct}.VapourPressurePa() / referenceVapour
	}
	dry, humid := end(cure.DefaultDryPct), end(cure.DefaultHumidPct)
	switch how {
	case keepsSheet:
		k := t.ink.Rate(s.ink.AtTemperatureC, 0, 1) * t.ink.LRefH / (1 - share) // heat's factor at the sheet's temperature
		t.second, t.constant = share/(dry+humid), share*dry*humid/(dry+humid)/k
	case keepsShare:
		t.second = share
	}
}

// rate is the share of the life spent in an hour.
func (t truth) rate(cupC, vapourPa float64) float64 {
	if t.second == 0 {
		return t.ink.Rate(cupC, vapourPa, t.exposure)
	}
	e := vapourPa / referenceVapour
	heat := t.ink.Rate(cupC, 0, t.exposure)
	return heat*(1+t.constant*t.exposure/(1-t.ink.MoistureShare)) + t.second*e*e*t.exposure/t.ink.LRefH
}

// reads is what the sensor says of the air.
func (t truth) reads(a air.State) air.State {
	return air.State{TemperatureC: a.TemperatureC - t.bias.TemperatureC, HumidityPct: a.HumidityPct - t.bias.HumidityPct}.Clamp()
}

// end lets the batch live in the real air until it is over: an integration of its own, quarter
// of an hour by quarter. ok is false when the climate is over first.
func (t truth) end(c climate, mixedAt time.Time) (age time.Duration, ok bool) {
	const step = 15 * time.Minute
	before := c.at(mixedAt)
	cup, dose := before.TemperatureC, 0.0
	x := math.Exp(-step.Hours() / t.lag.Hours())
	for mixedAt.Add(age + step).Before(c.end()) {
		after := c.at(mixedAt.Add(age + step))
		// The cup follows a ramp exactly; its middle stands for the step.
		behind := (after.TemperatureC - before.TemperatureC) * t.lag.Hours() / step.Hours()
		gap := cup - before.TemperatureC + behind
		middle := air.Lerp(before, after, 0.5)
		rate := t.rate(middle.TemperatureC-behind+gap*math.Sqrt(x), middle.VapourPressurePa())
		if next := dose + rate*step.Hours(); next >= t.endDose {
			return age + time.Duration((t.endDose-dose)/rate*float64(time.Hour)), true
		} else {
			dose = next
		}
		cup = after.TemperatureC - behind + gap*x
		before, age = after, age+step
	}
	return 0, false
}

// shop is a batch at one shop up to the moment that its ends are asked for.
type shop struct {
	situation
	truth    truth
	climate  climate
	mixedAt  time.Time
	ensemble *cure.Ensemble
	now      time.Time
	read     air.State // the last reading
	readAt   time.Time
	known    time.Duration // of the air's record before mixing
}

func newShop(s situation, t truth, c climate, mixedAt time.Time, known time.Duration) *shop {
	sh := readShop(s, t, c, mixedAt, known)
	sh.ensemble = cure.New(s.ink, s.sensor, s.weighing, sh.read)
	return sh
}

// readShop is a shop whose air is read and whose batch nobody asks about.
func readShop(s situation, t truth, c climate, mixedAt time.Time, known time.Duration) *shop {
	return &shop{situation: s, truth: t, climate: c, mixedAt: mixedAt, now: mixedAt, read: t.reads(c.at(mixedAt)), readAt: mixedAt, known: known}
}

// eachReading goes from reading to reading up to an instant, while use goes along.
func (s *shop) eachReading(until time.Time, use func(cure.Step) bool) {
	for s.now.Before(until) {
		next := s.now.Truncate(30 * time.Minute).Add(30 * time.Minute)
		if next.After(until) {
			next = until
		}
		reading := s.truth.reads(s.climate.at(next))
		step := cure.Step{Duration: next.Sub(s.now), From: s.read, To: reading, Kind: cure.Measured}
		s.now, s.read, s.readAt = next, reading, next
		if !use(step) {
			return
		}
	}
}

// measure lives on with the sensor read, until an instant or until the nominal has spent so much.
func (s *shop) measure(until time.Time, spent float64) {
	if s.ensemble.Spent() >= spent {
		return
	}
	s.eachReading(until, func(step cure.Step) bool {
		s.ensemble.Advance(s.place, step)
		return s.ensemble.Spent() < spent
	})
}

// silent lives on without the sensor, as the bench does: the last values hold for five minutes,
// and then nobody knows.
func (s *shop) silent(d time.Duration) {
	const staleAfter = 5 * time.Minute
	worst := s.worst()
	s.ensemble.Advance(s.place, cure.Step{Duration: staleAfter, From: s.read, To: s.read, Kind: cure.Held})
	s.ensemble.Advance(s.place, cure.Step{Duration: d - staleAfter, From: s.read, To: s.read, Kind: cure.Stale, Worst: worst})
	s.now = s.now.Add(d)
}

// worst is the warmest and the most humid reading of the last day.
func (s *shop) worst() air.State {
	worst := s.read
	for h := range 24 {
		a := s.truth.reads(s.climate.at(s.readAt.Add(-time.Duration(h+1) * time.Hour)))
		worst.TemperatureC, worst.HumidityPct = max(worst.TemperatureC, a.TemperatureC), max(worst.HumidityPct, a.HumidityPct)
	}
	return worst
}

// down lives on without the daemon and reads the air again afterwards.
func (s *shop) down(d time.Duration) {
	s.now = s.now.Add(d)
	reading := s.truth.reads(s.climate.at(s.now))
	step := cure.Step{Duration: d, From: s.read, To: reading, Kind: cure.Bridged}
	if habit, ok := s.habit(); ok {
		perRoot := habit.PerRootHour()
		step.DriftK, step.DriftPct = perRoot.TemperatureC, perRoot.HumidityPct
	}
	s.ensemble.Advance(s.place, step)
	s.read, s.readAt = reading, s.now
}

// history is what the shop has recorded of its air up to an instant.
func (s *shop) history(until time.Time) air.History {
	var h air.History
	known := min(s.known+until.Sub(s.mixedAt), 16*24*time.Hour)
	for at := until.Add(-known).Truncate(time.Hour); at.Before(until.Add(-time.Hour)); at = at.Add(time.Hour) {
		h = h.With(at, 0, s.truth.reads(s.climate.at(at)), s.truth.reads(s.climate.at(at)))
	}
	return h
}

// habitOf is the record that a habit was learned from: where, read by which sensor, and from when to when.
type habitOf struct {
	start        time.Time
	hours        *air.State
	bias         air.State
	mixed, until time.Time
	known        time.Duration
}

// habits keeps the last habits, since the same batch is asked about with and without what somebody knows of it.
var habits struct {
	sync.Mutex
	of    [8]habitOf
	habit [8]*air.Habit
	next  int
}

// habit is what the shop's record says of its air at the last reading.
func (s *shop) habit() (*air.Habit, bool) {
	of := habitOf{s.climate.start, &s.climate.hours[0], s.truth.bias, s.mixedAt, s.readAt, s.known}
	habits.Lock()
	defer habits.Unlock()
	if i := slices.Index(habits.of[:], of); i >= 0 {
		return habits.habit[i], habits.habit[i] != nil
	}
	habit, _ := s.history(s.readAt).Habit()
	habits.of[habits.next], habits.habit[habits.next] = of, habit
	habits.next = (habits.next + 1) % len(habits.of)
	return habit, habit != nil
}

// forecast is what the bench says now.
func (s *shop) forecast() cure.Ends {
	var options []cure.ForecastOption
	if habit, ok := s.habit(); ok {
		options = append(options, cure.Along(habit.Ahead(s.read, s.readAt)))
	}
	age := s.now.Sub(s.readAt)
	if age > 5*time.Minute {
		options = append(options, cure.TowardsWorst(s.worst()))
	}
	return s.ensemble.Forecast(s.place, s.read, age, options...)
}
