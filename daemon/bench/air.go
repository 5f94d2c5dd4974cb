package bench

import (
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/record"
	"potlifed/daemon/view"
	"potlifed/model/air"
	"potlifed/model/airpath"
	"potlifed/model/alarm"
)

// zone is a place whose air is of interest: its sensors and the open end of its path. It
// rebuilds itself after a start; the closed steps are in the state.
type zone struct {
	id      string
	sensors []*sensor
	path    airpath.Path
	said    said
	source  *sensor   // the sensor of the newest reading on the path; nil before the first in this run
	speak   []*sensor // the sensors whose mean the newest value on the path is; source is one of them
	lost    bool      // the newest reading of this run is older than staleAfter
}

// primary is the sensor that speaks for a zone in which none is trusted: the first in the
// configuration that is fresh, else the one that was read last. One under maintenance does not.
func (b *Bench) primary(z *zone, now time.Time) *sensor {
	var best *sensor
	for _, s := range z.sensors {
		if s.last.IsZero() || inMaintenance(b.state, s.ID) {
			continue
		}
		if now.Sub(s.last) <= s.fresh() {
			return s
		}
		if best == nil || s.last.After(best.last) {
			best = s
		}
	}
	return best
}

// staleAfter is the zone's longest stale_after: air is missing only when no sensor
// of the zone gives any.
func (z *zone) staleAfter() time.Duration {
	var longest time.Duration
	for _, s := range z.sensors {
		longest = max(longest, s.staleAfter())
	}
	return longest
}

// fresh is how old the newest reading may be and still count as the present air; negative
// before the first reading of this run.
func (z *zone) fresh() time.Duration {
	longest := time.Duration(-1)
	for _, s := range z.speak {
		longest = max(longest, s.fresh())
	}
	return longest
}

// closedPath is the path of a zone up to its last closed step, in a state.
func closedPath(s record.State, z *zone) airpath.Closed {
	if closed, ok := s.Zones[z.id]; ok {
		return *closed
	}
	return airpath.Closed{Air: airpath.Unmeasured}
}

// airSensors is what the path of a zone has to know of its sensors.
func (b *Bench) airSensors(z *zone) airpath.Sensors {
	return airpath.Sensors{Fresh: z.fresh(), StaleAfter: z.staleAfter(), Doubtful: func(a air.State, at time.Time) bool {
		_, doubt := b.doubt(z, a, at)
		return doubt
	}}
}

// closeSteps records steps of a zone's air that were closed.
func (b *Bench) closeSteps(z *zone, steps []airpath.Step) {
	for _, s := range steps {
		b.decide(s.End(), actor.Bench, record.AirStep{Zone: z.id, Start: s.Start, Step: s.Step, After: s.After, ReadAt: s.ReadAt})
	}
}

// closeAir closes the path of a zone up to now, so that what happens to a batch there
// happens between two steps. A zone that the configuration does not have has no path.
func (b *Bench) closeAir(zone string, now time.Time) {
	if z := b.zones[zone]; z != nil {
		b.closeSteps(z, z.path.CloseTo(closedPath(b.state, z), now, b.airSensors(z)))
	}
}

// closeLost closes the path of a zone when its sensors are lost, so that the bands of its batches
// widen then and not at the next whole minute.
func (b *Bench) closeLost(now time.Time) {
	for _, z := range b.zones {
		lost := z.source != nil && now.Sub(z.path.LastRead(closedPath(b.state, z))) > z.staleAfter()
		if lost && !z.lost {
			b.closeAir(z.id, now)
		}
		z.lost = lost
	}
}

// closeMinutes closes each zone's path when a whole minute has passed. A zone that
// waits for its first reading after a start is left alone for as long as that may
// still bridge the gap.
func (b *Bench) closeMinutes(now time.Time) {
	uptime := b.clock.uptime()
	for _, z := range b.zones {
		b.closeSteps(z, z.path.CloseMinute(closedPath(b.state, z), now, uptime < z.staleAfter(), b.airSensors(z)))
	}
}

// quality says how far the zone's air can be relied on.
func (b *Bench) quality(z *zone, now time.Time) (view.Quality, string) {
	closed, l := closedPath(b.state, z), b.shop.locale
	age := now.Sub(z.path.LastRead(closed))
	value, ok := z.path.Value(closed)
	switch {
	case len(z.sensors) == 0:
		return view.QualityBad, l.Say("fault.air-no-sensor")
	case !ok:
		return view.QualityBad, l.Say("fault.air-no-reading")
	case age > z.staleAfter():
		return view.QualityBad, z.said.say(saidOf{key: "silent", age: age}, b.wordAir)
	}
	fresh := z.sensors[0].fresh()
	if z.source != nil {
		fresh = z.fresh()
	}
	if age > fresh {
		return view.QualityUncertain, z.said.say(saidOf{key: "old", age: age}, b.wordAir)
	}
	if why, doubt := b.doubt(z, value, now); doubt {
		return view.QualityUncertain, why
	}
	return view.QualityGood, ""
}

// wordAir words that a zone's air was not read for some time.
func (b *Bench) wordAir(of saidOf) string {
	l := b.shop.locale
	if of.key == "silent" {
		return l.Say("fault.air-silent", "time", l.Duration(of.age))
	}
	return l.Say("fault.air-old", "time", l.Duration(of.age))
}

// doubt says whether air that was read just now can be relied on.
func (b *Bench) doubt(z *zone, value air.State, now time.Time) (why string, doubt bool) {
	l := b.shop.locale
	switch value.Extreme() {
	case air.Cold:
		return l.Say("fault.air-cold", "value", l.Temperature(value.TemperatureC), "limit", l.Temperature(air.MinUsualC)), true
	case air.Warm:
		return l.Say("fault.air-warm", "value", l.Temperature(value.TemperatureC), "limit", l.Temperature(air.MaxUsualC)), true
	case air.Humid:
		return l.Say("fault.air-humid", "value", l.Percent(value.HumidityPct, 0), "limit", l.Percent(air.MaxUsualPct, 0)), true
	}
	for _, s := range z.speak {
		if why := b.doubtOf(s, now); why != "" {
			return why, true
		}
	}
	if len(z.speak) > 1 { // more agree than the one that does not
		return "", false
	}
	for _, s := range z.sensors {
		if b.stands(alarm.Disagrees, s.ID) {
			return l.Say("fault.air-disagree"), true
		}
	}
	return "", false
}

// doubtful returns the id of the sensor of a zone that cannot be relied on for the given reason, empty for a reason
// that is not a sensor's.
func (b *Bench) doubtful(z *zone, why string, now time.Time) string {
	if z == nil || why == "" {
		return ""
	}
	for _, s := range z.speak {
		if b.doubtOf(s, now) == why {
			return s.ID
		}
	}
	return ""
}

// doubtOf says why the air that a sensor reads cannot be relied on, empty where it can.
func (b *Bench) doubtOf(s *sensor, now time.Time) string {
	l := b.shop.locale
	if s.implausible() && s.failing > 0 {
		return l.Say("fault.air-implausible", "sensor", s.ID)
	}
	if why := s.failedCheck(b.state); why != "" {
		return why
	}
	if _, stuck := s.stuck(b.state); stuck {
		return l.Say("fault.air-stuck", "sensor", s.ID)
	}
	if s.drifting(b.state) != "" {
		return l.Say("fault.air-drifting", "sensor", s.ID)
	}
	if s.overdue(b.state, now) > 0 {
		return l.Say("fault.air-check-overdue", "sensor", s.ID)
	}
	return ""
}
