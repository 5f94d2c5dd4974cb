package bench

import (
	"math"
	"strings"
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/model/air"
)

func (b *Bench) verify(now time.Time, by actor.Name, c request.VerifySensor) (any, error) {
	s, known := b.sensors[c.Sensor]
	if !known {
		return nil, request.Refuse(request.NotFound, "no such sensor", "there is no sensor %q in the configuration", c.Sensor)
	}
	reference := air.State{TemperatureC: s.air.TemperatureC}
	if c.TemperatureC != nil {
		reference.TemperatureC = *c.TemperatureC
	}
	if c.HumidityPct == nil {
		return nil, request.Refuse(request.Invalid, "humidity_pct", "humidity_pct is wanted: what the reference says, in %% RH").Saying("reference-wanted")
	}
	reference.HumidityPct = *c.HumidityPct
	if err := reference.Valid(); err != nil {
		return nil, request.Refuse(request.Invalid, "the reference", "%v", err)
	}
	if s.last.IsZero() || now.Sub(s.last) > s.fresh() {
		return nil, request.Refuse(request.NotNow, "no reading to check", "%s has given no reading just now, so that there is nothing to compare with the reference; wait for one, then record the check again", s.ID).Saying("nothing-to-check", "sensor", s.ID)
	}
	read := s.air
	e := record.SensorVerified{
		Sensor: s.ID, HumidityPct: *c.HumidityPct, TemperatureC: c.TemperatureC, Note: strings.TrimSpace(c.Note),
		Read: &read, AllowedPct: s.Accuracy.HumidityAccuracyPct + checkAllowancePct,
	}
	e.Failed = math.Abs(read.HumidityPct-e.HumidityPct) > e.AllowedPct
	b.decide(now, by, e)
	return b.deviceView(now, s.ID), nil
}
