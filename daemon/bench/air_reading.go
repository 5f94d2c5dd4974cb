package bench

import (
	"errors"
	"slices"
	"time"

	"potlifed/model/air"
	"potlifed/model/health"
)

// airReading is one reading of a sensor, or why there is none.
type airReading struct {
	sensor string
	air    air.State
	took   time.Duration
	err    error
	fault  health.Fault  // what kind of error err is
	at     time.Duration // CLOCK_BOOTTIME
}

func (r airReading) enter(b *Bench, now time.Time) {
	s, known := b.sensors[r.sensor]
	if !known {
		return
	}
	s.took, b.relight = r.took, true
	err := r.err
	if err == nil {
		if err = r.air.Valid(); err == nil { // outside physics: never a value
			if inMaintenance(b.state, s.ID) { // it is carried about, or lies in a salt jar
				s.judge = air.Judge{}
			}
			var why string
			if s.judge, why = s.judge.Next(r.air, r.at); why != "" {
				err = errors.New(why)
			}
		}
		if err != nil {
			r.fault = health.Implausible
		}
	}
	if err != nil {
		s.failed(r, err, b)
		return
	}
	s.ok++
	s.failing, s.failure, s.fault, s.suspect = 0, "", "", time.Time{}
	at := b.clock.at(r.at)
	if !at.After(s.last) {
		return
	}
	s.last, s.air, s.raw, s.mono = at, r.air, r.air, r.at
	s.air.HumidityPct = b.state.Corrections[s.ID].Apply(r.air.HumidityPct)
	s.rest.add(r.air, at)
	if inMaintenance(b.state, s.ID) { // what it reads in a jar is not the air of its room
		return
	}
	b.followSensor(s, at)
	z := b.zones[s.Zone]
	speak := b.speakers(z, at)
	if !slices.Contains(speak, s) {
		return
	}
	a := s.air
	if len(speak) > 1 {
		a = b.together(speak, at).State
	}
	with := b.airSensors(z)
	with.Fresh = max(z.fresh(), s.fresh())
	b.closeSteps(z, z.path.Read(closedPath(b.state, z), a, at, with))
	z.source, z.speak = s, speak
}

// failed enters a reading that is no value: err says why.
func (s *sensor) failed(r airReading, err error, b *Bench) {
	if r.fault == health.Implausible {
		s.rejected++
	} else {
		s.errors++
	}
	if s.failing++; s.failing == 1 {
		s.failedAt = r.at
	}
	if r.at-s.failedAt <= outageCounts && !inMaintenance(b.state, s.ID) {
		s.health.watch.Fail()
	}
	s.failure, s.fault = err.Error(), r.fault
	switch {
	case r.fault != health.Implausible:
		s.suspect = time.Time{}
	case s.suspect.IsZero():
		s.suspect = b.clock.at(r.at)
	}
}
