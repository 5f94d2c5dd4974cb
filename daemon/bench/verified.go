package bench

import (
	"math"
	"slices"
	"strings"
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/model/air"
	"potlifed/model/health"
	"potlifed/model/verify"
)

const (
	// meterAccuracyPct is the accuracy of a reference meter that nobody has named it of, in % RH: that
	// of a good hand-held meter (an assumption).
	meterAccuracyPct = 1
	// repeatsPct is the standard uncertainty in % RH of what a sensor reads when it is put to the same
	// humidity again: its hysteresis, of about 1 % for the usual chips, as a rectangular half-width.
	repeatsPct = 0.6

	// samePointPct is how near a point must be to an earlier one, in % RH, to take its place.
	samePointPct = 10
	// oneCheck is how long the points of one check may be apart: the salts take hours each.
	oneCheck = 14 * 24 * time.Hour
)

// verify records a point of a check of a sensor's humidity, and judges the check as far as it has
// got.
func (b *Bench) verify(now time.Time, by actor.Name, c request.VerifySensor) (any, error) {
	s, known := b.sensors[c.Sensor]
	if !known {
		return nil, noSuchSensor(c.Sensor)
	}
	// A reading that was set aside is newer than s.air, which is then of another place than the reference.
	if s.last.IsZero() || now.Sub(s.last) > s.fresh() || s.failing > 0 {
		return nil, request.Refuse(request.NotNow, "no reading to check", "%s has given no reading just now that is taken for true, so that there is nothing to compare with the reference; wait for one, then record the check again; a sensor that is carried to a reference is out of service for that time", s.ID).Saying("nothing-to-check", "sensor", s.ID)
	}
	reference, standard, err := s.reference(c)
	if err != nil {
		return nil, err
	}
	override := strings.TrimSpace(c.Override)
	if c.Salt != "" && override == "" {
		if err := s.atRest(now); err != nil {
			return nil, err
		}
	}
	read := s.air
	e := record.SensorVerified{
		Sensor: s.ID, HumidityPct: reference, TemperatureC: c.TemperatureC, Note: strings.TrimSpace(c.Note), Salt: c.Salt, Override: override,
		Read: &read, AllowedPct: s.Accuracy.HumidityAccuracyPct + checkAllowancePct,
	}
	e.Failed = math.Abs(read.HumidityPct-reference) > e.AllowedPct
	e.Points = joined(b.state, s.ID, record.CheckPoint{
		At: now, Salt: c.Salt, RawPct: s.raw.HumidityPct, ReadPct: read.HumidityPct, ReferencePct: reference,
		StandardPct: math.Hypot(standard, repeatsPct), AllowedPct: e.AllowedPct, Failed: e.Failed,
		By: by, Note: e.Note, Override: e.Override,
	})
	e.Finding, e.Offer = judged(e.Points)
	b.decide(now, by, e)
	return b.deviceView(now, s.ID), nil
}

func noSuchSensor(id string) error {
	return request.Refuse(request.NotFound, "no such sensor", "there is no sensor %q in the configuration", id)
}

// reference returns the relative humidity of a check's reference in %, and its standard uncertainty.
func (s *sensor) reference(c request.VerifySensor) (pct, standardPct float64, err error) {
	at := air.State{TemperatureC: s.air.TemperatureC}
	if c.TemperatureC != nil {
		at.TemperatureC = *c.TemperatureC
	}
	switch {
	case c.Salt != "" && c.HumidityPct != nil:
		return 0, 0, request.Refuse(request.Invalid, "the reference", "salt and humidity_pct: want one of them").Saying("reference-wanted")
	case c.Salt != "":
		salt, known := verify.FindSalt(c.Salt)
		if !known {
			return 0, 0, request.Refuse(request.Invalid, "salt", "there is no salt %q; want one of %s", c.Salt, verify.SaltIDs())
		}
		pct, standardPct, err := salt.HumidityPct(at.TemperatureC)
		if err != nil {
			return 0, 0, request.Refuse(request.Invalid, "the reference", "%v", err).Saying("salt-temperature", "temperature_c", at.TemperatureC)
		}
		return pct, standardPct, nil
	case c.HumidityPct == nil:
		return 0, 0, request.Refuse(request.Invalid, "humidity_pct", "humidity_pct or salt is wanted: what the reference says, in %% RH").Saying("reference-wanted")
	}
	at.HumidityPct = *c.HumidityPct
	if err := at.Valid(); err != nil {
		return 0, 0, request.Refuse(request.Invalid, "the reference", "%v", err)
	}
	accuracy := float64(meterAccuracyPct)
	if c.AccuracyPct != nil {
		accuracy = *c.AccuracyPct
	}
	return at.HumidityPct, accuracy / math.Sqrt(3), nil
}

// atRest refuses a point over a salt while the sensor's reading still moves.
func (s *sensor) atRest(now time.Time) error {
	known, pct, kelvins := s.rest.over(now, verify.Rest)
	if known >= verify.Rest && pct <= verify.RestPct && kelvins <= verify.RestK {
		return nil
	}
	if known < verify.Rest {
		return request.Refuse(request.NotNow, "not at rest", "%s has been read for %v; a reading over a salt counts once it has been at rest for %v, usually after %v in the closed jar",
			s.ID, known.Round(time.Second), verify.Rest, verify.Wait).Saying("not-at-rest", "sensor", s.ID, "rest", verify.Rest, "wait", verify.Wait)
	}
	return request.Refuse(request.NotNow, "not at rest", "%s moved by %.1f %% RH and %.1f K within %v; a reading over a salt counts once it has been at rest, usually after %v in the closed jar",
		s.ID, pct, kelvins, verify.Rest, verify.Wait).Saying("not-at-rest", "sensor", s.ID, "rest", verify.Rest, "wait", verify.Wait)
}

// joined returns the points of a sensor's check with a new one. It takes the place of an earlier one
// near the same humidity; one against a meter also of an earlier one against a meter that had the
// same reading, as both cannot be right. A point that failed stays until one near it passes; one
// that passed stays for as long as a check may take.
func joined(s record.State, sensor string, p record.CheckPoint) []record.CheckPoint {
	points := slices.Clone(s.Checks[sensor].Points)
	if f, failed := s.FailedChecks[sensor]; failed && len(points) == 0 { // of a version that kept no points
		points = append(points, record.CheckPoint{
			At: f.At, RawPct: f.ReadPct, ReadPct: f.ReadPct, ReferencePct: f.ReferencePct, AllowedPct: f.AllowedPct, Failed: true,
			StandardPct: math.Hypot(meterAccuracyPct/math.Sqrt(3), repeatsPct),
		})
	}
	points = slices.DeleteFunc(points, func(old record.CheckPoint) bool {
		near := math.Abs(old.ReferencePct-p.ReferencePct) <= samePointPct
		again := old.Salt == "" && p.Salt == "" && math.Abs(old.RawPct-p.RawPct) <= samePointPct
		return near || again || !old.Failed && p.At.Sub(old.At) > oneCheck
	})
	points = append(points, p)
	slices.SortFunc(points, func(x, y record.CheckPoint) int {
		if x.ReferencePct < y.ReferencePct {
			return -1
		}
		return 1
	})
	return points
}

// judged returns what the points of a check say, and the correction that they lead to where the
// check failed and a correction helps. To a sensor that solvent has changed none is offered: it
// may recover, and would then read too much.
func judged(points []record.CheckPoint) (verify.Finding, *verify.LinearCorrection) {
	var raw, read []verify.Point
	allowed, failed := 0.0, false
	for _, p := range points {
		raw = append(raw, verify.Point{RawPct: p.RawPct, ReferencePct: p.ReferencePct, StandardPct: p.StandardPct})
		read = append(read, verify.Point{RawPct: p.ReadPct, ReferencePct: p.ReferencePct, StandardPct: p.StandardPct})
		allowed, failed = max(allowed, p.AllowedPct), failed || p.Failed
	}
	if !failed {
		return verify.NothingFound, nil
	}
	finding := verify.Find(read, allowed)
	if finding == verify.Solvent {
		return finding, nil
	}
	c, err := verify.Correct(raw)
	if err != nil || !c.Fit() || !passes(points, c) {
		return finding, nil
	}
	return finding, &c
}

// passes reports whether every point passes with a correction.
func passes(points []record.CheckPoint, c verify.LinearCorrection) bool {
	return !slices.ContainsFunc(corrected(points, c), func(p record.CheckPoint) bool { return p.Failed })
}

// corrected returns points as the sensor reads them with a correction.
func corrected(points []record.CheckPoint, c verify.LinearCorrection) []record.CheckPoint {
	points = slices.Clone(points)
	for i, p := range points {
		points[i].ReadPct = c.Apply(p.RawPct)
		points[i].Failed = math.Abs(points[i].ReadPct-p.ReferencePct) > p.AllowedPct
	}
	return points
}

func (b *Bench) acceptCorrection(now time.Time, by actor.Name, c request.AcceptCorrection) (any, error) {
	if _, known := b.sensors[c.Sensor]; !known {
		return nil, noSuchSensor(c.Sensor)
	}
	check := b.state.Checks[c.Sensor]
	if check.Offer == nil {
		return nil, request.Refuse(request.NotNow, "no correction", "the newest check of %s leads to no correction", c.Sensor).Saying("no-correction", "sensor", c.Sensor)
	}
	b.decide(now, by, record.CorrectionAccepted{Sensor: c.Sensor, Correction: *check.Offer, Points: corrected(check.Points, *check.Offer)})
	return b.deviceView(now, c.Sensor), nil
}

func (b *Bench) revokeCorrection(now time.Time, by actor.Name, c request.RevokeCorrection) (any, error) {
	if _, known := b.sensors[c.Sensor]; !known {
		return nil, noSuchSensor(c.Sensor)
	}
	if _, ok := b.state.Corrections[c.Sensor]; !ok {
		return nil, request.Refuse(request.NotNow, "not corrected", "the readings of %s are not corrected", c.Sensor).Saying("not-corrected", "sensor", c.Sensor)
	}
	points := corrected(b.state.Checks[c.Sensor].Points, verify.None)
	_, offer := judged(points)
	b.decide(now, by, record.CorrectionRevoked{Sensor: c.Sensor, Points: points, Offer: offer})
	return b.deviceView(now, c.Sensor), nil
}

func (b *Bench) replaceDevice(now time.Time, by actor.Name, c request.ReplaceDevice) (any, error) {
	if _, err := b.shop.deviceAlarms(c.Sensor); err != nil {
		return nil, err
	}
	b.decide(now, by, record.Replaced{Device: c.Sensor, Serial: strings.TrimSpace(c.Serial), Note: strings.TrimSpace(c.Note), Same: c.Same})
	if s, is := b.sensors[c.Sensor]; is && !c.Same {
		s.judge, s.rest, s.health = air.Judge{}, restful{}, wellbeing{}
	}
	if s, is := b.scales[c.Sensor]; is && !c.Same {
		s.pan, s.shown = health.NewPan(s.DivisionG), nil
	}
	return b.deviceView(now, c.Sensor), nil
}
