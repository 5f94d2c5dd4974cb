package bench

import (
	"math"
	"strings"
	"time"

	"potlifed/daemon/record"
	"potlifed/model/air"
	"potlifed/model/alarm"
	"potlifed/model/cure"
	"potlifed/model/lifecycle"
)

// promise is the end that was last expected of a batch, in age, and the air it was
// expected in. It is not kept over a restart.
type promise struct {
	of   circumstances
	end  time.Duration
	left time.Duration
	air  air.State
	// longer is since when the expected end has been later than this by half the limit.
	longer   time.Duration
	isLonger bool
	// regained is since when no more than a quarter of what people were told of is missing.
	regained   time.Duration
	isRegained bool
	// told is the end in age that people were last told of by the alarm, and toldAt when that was;
	// restored means that they were told before a restart, of an end that is not known any more.
	told     time.Duration
	toldAt   time.Duration // CLOCK_BOOTTIME
	isTold   bool
	restored bool
	seen     sight
}

// sight is what was expected at the last look, and by which sensors.
type sight struct {
	by  string // ids of the sensors
	end time.Duration
	air air.State
}

// looks takes in what is expected now. Where other sensors speak for the zone than at the last look,
// and the air differs by no more than good sensors differ, the change is theirs and not the room's:
// what was promised moves with it.
func (p *promise) looks(now sight, accuracy func() cure.Sensor) {
	if p.seen.by != now.by {
		a := accuracy()
		if math.Abs(now.air.HumidityPct-p.seen.air.HumidityPct) <= 2*alarm.DisagreeFactor*a.HumidityAccuracyPct &&
			math.Abs(now.air.TemperatureC-p.seen.air.TemperatureC) <= 2*alarm.DisagreeFactor*a.TemperatureAccuracyC {
			p.end, p.told = p.end+now.end-p.seen.end, p.told+now.end-p.seen.end
		}
	}
	p.seen = now
}

// circumstances are what else than air moves a batch's end.
type circumstances struct {
	place   cure.Place
	zone    string
	goodAge time.Duration
	atLeast bool
	phase   lifecycle.Phase
}

// believed is how long a later end must have been shown before people plan by it.
const believed = 10 * time.Minute

// cut looks whether another air has moved a batch's end earlier than was expected
// before.
func (l *causes) cut(batch *record.Batch) {
	id, b := batch.ID, l.b
	z := b.zones[batch.Zone]
	if z == nil || len(z.sensors) == 0 {
		return
	}
	if why := b.blind(z); why != "" {
		l.cannotBeSeen(alarm.LifeCut, id, why)
		return
	}
	a, fresh := l.airOf(z)
	if !fresh {
		l.notKnown(alarm.LifeCut, id)
		return
	}
	f, mono := b.lifeOf(b.state, batch, l.now), b.clock.mono()
	is := promise{
		of:  circumstances{batch.Basis.Place, batch.Zone, batch.GoodAt.Sub(batch.MixedAt), batch.AtLeast, batch.Phase},
		end: f.Ends.Expected, left: f.Ends.Expected - f.Age, air: a,
		seen: sight{by: strings.Join(names(z.speak), " "), end: f.Ends.Expected, air: a},
	}
	state := stateOf(b.state.Alarms[record.AlarmKey{Name: alarm.LifeCut, Subject: id}])
	was, known := b.promises[id]
	switch {
	case !known && state == alarm.Unacknowledged: // raised before a restart: nobody has seen it yet
		is.tell(is.end, mono)
		is.restored = true
		b.promises[id] = is
		l.notKnown(alarm.LifeCut, id)
		return
	case !known || was.of != is.of || state == alarm.Acknowledged || is.left <= 0:
		// A person who has acknowledged a cut plans by the new end.
		b.promises[id] = is
		return
	}
	was.looks(is.seen, func() cure.Sensor { return b.zoneAccuracy(z, l.now) })
	limit := alarm.CutLimit(was.left)
	later := is.end-was.end >= limit/2
	switch {
	case !later:
		was.isLonger = false
	case !was.isLonger:
		was.isLonger, was.longer = true, mono
	case mono-was.longer >= believed:
		was = is
	}
	raised := state == alarm.Unacknowledged
	if was.regains(is.end, raised, mono) { // the alarm ends by itself, and its row has the end of now
		was = is
	}
	earlier := was.end - is.end
	text := func() string {
		w := b.shop.locale
		return w.Say("alarm-text.life-cut", "batch", id, "earlier", w.Duration(earlier), "end", w.Clock(f.Expected, l.now), "at", w.Clock(l.now, l.now), "zone", z.id,
			"temperature_before", w.Temperature(was.air.TemperatureC), "humidity_before", w.Percent(was.air.HumidityPct, 0),
			"temperature", w.Temperature(a.TemperatureC), "humidity", w.Percent(a.HumidityPct, 0))
	}
	switch further := was.isTold && raised && was.told-is.end >= alarm.CutLimit(was.told-f.Age) && mono-was.toldAt >= believed; {
	case further:
		l.holdsMore(alarm.LifeCut, id, text())
		was.tell(is.end, mono)
	case was.restored && raised:
		l.notKnown(alarm.LifeCut, id)
	case l.beyond(alarm.LifeCut, id, alarm.Limit{At: limit.Seconds(), DeadBand: limit.Seconds() / 2}, earlier.Seconds()):
		l.holds(alarm.LifeCut, id, text())
		if !was.isTold || !raised {
			was.tell(is.end, mono)
		}
	}
	b.promises[id] = was
}

// regains tells whether a cut that people were told of is over: of what had been lost no more than a quarter is
// missing, and has not been for long enough to be believed. What they would read of it, and plan by, is no longer
// true: the batch lasts nearly as long as was promised.
func (p *promise) regains(end time.Duration, raised bool, mono time.Duration) bool {
	if !raised || !p.isTold || p.restored || p.end-end > (p.end-p.told)/4 {
		p.isRegained = false
		return false
	}
	if !p.isRegained {
		p.isRegained, p.regained = true, mono
	}
	return mono-p.regained >= believed
}

// tell notes of which end people are told now.
func (p *promise) tell(end, mono time.Duration) {
	p.told, p.toldAt, p.isTold, p.restored = end, mono, true, false
}
