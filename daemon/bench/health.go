package bench

import (
	"math"
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/precision"
	"potlifed/daemon/record"
	"potlifed/daemon/view"
	"potlifed/model/air"
	"potlifed/model/alarm"
	"potlifed/model/health"
)

// wellbeing is what is followed of a sensor's readings. It rebuilds itself after a start; the days
// that are over are in the state.
type wellbeing struct {
	watch health.Watch
	date  string // of the day that watch is at
	// judged is what the days say, for as many as there were: they change once a day.
	judged dayVerdict
	newest health.Day
	n      int
	shown  *view.Health // as it is shown since the last reading
}

// dayVerdict is what the days of a sensor say.
type dayVerdict struct {
	stuckAfter  time.Duration
	driftPct    float64
	drifts      bool
	driftKnown  bool
	movedPct    float64
	moved       bool
	beside      string
	errorShare  float64
	errorsKnown bool
	fails       bool
	jumps       float64 // in a day
	jumpsKnown  bool
	jumpsOften  bool
}

// verdict returns what the days of a sensor say.
func (w *wellbeing) verdict(days []health.Day) dayVerdict {
	if n := len(days); w.judged.stuckAfter == 0 || n != w.n || n > 0 && days[n-1] != w.newest {
		v := dayVerdict{stuckAfter: health.StuckAfter(days)}
		v.driftPct, v.drifts, v.driftKnown = health.Drift(days)
		v.movedPct, v.moved, _ = health.Moved(days)
		w.shown = nil
		v.errorShare, v.errorsKnown = health.ErrorShare(days)
		v.jumps, v.jumpsKnown = health.JumpsPerDay(days)
		v.fails, v.jumpsOften = health.Fails(days), health.JumpsOften(days)
		if n > 0 {
			v.beside, w.newest = days[n-1].Beside, days[n-1]
		}
		w.judged, w.n = v, n
	}
	return w.judged
}

// followSensor takes a reading of a sensor into its health, beside what a neighbour reads. What it reads
// under maintenance says nothing about it.
func (b *Bench) followSensor(s *sensor, at time.Time) {
	by, beside := "", (*air.State)(nil)
	for _, o := range b.zones[s.Zone].sensors {
		if o != s && !b.lost(o) && !o.last.IsZero() && at.Sub(o.last) <= o.fresh() {
			by, beside = o.ID, &o.air
			break
		}
	}
	s.health.watch.StaleAfter = s.staleAfter()
	s.health.watch.Add(s.air, s.mono, b.shop.locale.In(at).Hour(), by, beside)
	s.health.shown = nil
}

// endDays records the days of the sensors and scales that are over.
func (b *Bench) endDays(now time.Time) {
	today := b.shop.day(now)
	for _, c := range b.shop.Sensors {
		w := &b.sensors[c.ID].health
		if w.date == "" {
			w.date = today
		}
		if w.date == today {
			continue
		}
		over := w.date
		w.date = today
		if d := w.watch.EndDay(b.clock.mono()); d.N > 0 {
			d.Date = over
			b.decide(now, actor.Bench, record.SensorDay{Sensor: c.ID, Day: d})
		}
	}
	for _, c := range b.shop.Scales {
		s := b.scales[c.ID]
		if s.date == "" {
			s.date = today
		}
		if s.date == today {
			continue
		}
		d := s.pan.EndDay(s.panTime + b.clock.passed(b.clock.mono()-s.panAt))
		d.Date, s.date = s.date, today
		if d.Settled > 0 || d.Rejected > 0 {
			b.decide(now, actor.Bench, record.ScaleDay{Scale: c.ID, PanDay: d})
		}
	}
}

// stuck reports whether a sensor's readings stand still, for how long.
func (s *sensor) stuck(state record.State) (time.Duration, bool) {
	same := s.health.watch.Same()
	return same, same > s.health.verdict(state.SensorDays[s.ID]).stuckAfter
}

// drifting says how a sensor drifts, empty when it does not.
func (s *sensor) drifting(state record.State) string {
	v, w := s.health.verdict(state.SensorDays[s.ID]), s.words
	switch {
	case v.drifts && v.driftPct > 0:
		return w.Say("alarm-text.sensor-drifting", "sensor", s.ID, "pct", w.Percent(v.driftPct, 1), "other", v.beside)
	case v.drifts:
		return w.Say("alarm-text.sensor-drifting-down", "sensor", s.ID, "pct", w.Percent(-v.driftPct, 1), "other", v.beside)
	case v.moved && v.beside == "":
		return w.Say("alarm-text.sensor-moved", "sensor", s.ID, "pct", w.Percent(math.Abs(v.movedPct), 0))
	}
	return ""
}

// health looks at how the instruments are, beside whether they answer.
func (l *causes) health() {
	w := l.b.shop.locale
	for id, s := range l.b.sensors {
		if same, stuck := s.stuck(l.b.state); stuck {
			l.holds(alarm.SensorStuck, id, w.Say("alarm-text.sensor-stuck", "sensor", id, "temperature", w.Temperature(s.air.TemperatureC),
				"humidity", w.Percent(s.air.HumidityPct, 1), "time", w.Duration(same)))
		}
		if why := s.drifting(l.b.state); why != "" {
			l.holds(alarm.SensorDrifting, id, why)
		}
		days := s.health.verdict(l.b.state.SensorDays[id])
		if days.fails {
			l.holds(alarm.SensorFailing, id, w.Say("alarm-text.sensor-failing", "sensor", id, "share", w.Percent(100*days.errorShare, 0)))
		}
		if days.jumpsOften {
			l.holds(alarm.SensorJumping, id, w.Say("alarm-text.sensor-jumping", "sensor", id, "times", w.Number(days.jumps, 0)))
		}
	}
	for id, s := range l.b.scales {
		if s.pan.Noisy() {
			if settle, known := s.pan.Settle(); known {
				l.holds(alarm.ScaleNoisy, id, w.Say("alarm-text.scale-noisy", "scale", id, "time", w.Duration(settle)))
			} else {
				l.holds(alarm.ScaleNoisy, id, w.Say("alarm-text.scale-restless", "scale", id))
			}
		}
		if g, off, _ := s.pan.Zero(); off {
			l.holds(alarm.ScaleDrifting, id, w.Say("alarm-text.scale-drifting", "scale", id, "zero", w.Grams(g)))
		}
	}
}

// healthView returns a sensor's health as it is shown; nil before its first reading.
func (s *sensor) healthView(state record.State) *view.Health {
	if _, seen := s.health.watch.Reading(); !seen {
		return nil
	}
	v := s.health.verdict(state.SensorDays[s.ID])
	if s.health.shown != nil {
		return s.health.shown
	}
	same, stuck := s.stuck(state)
	h := &view.Health{SameS: seconds(same), StuckAfterS: seconds(v.stuckAfter), Stuck: stuck, Drifts: s.drifting(state) != ""}
	if v.driftKnown {
		h.DriftPct = &v.driftPct
	}
	if v.errorsKnown {
		h.ErrorShare, h.Fails = &v.errorShare, v.fails
	}
	if v.jumpsKnown {
		h.JumpsPerDay, h.Jumps = &v.jumps, v.jumpsOften
	}
	s.health.shown = h.Rounded()
	return s.health.shown
}

// panHealth is what a scale's pan tells of it.
type panHealth struct {
	noisy, settles, zero, drifts bool
	settle                       time.Duration
	zeroG                        float64
	noiseG                       float64
	noiseKnown                   bool
}

// healthView returns a scale's health as it is shown.
func (s *scale) healthView() *view.Health {
	is := panHealth{noisy: s.pan.Noisy()}
	is.settle, is.settles = s.pan.Settle()
	is.zeroG, is.drifts, is.zero = s.pan.Zero()
	is.noiseG, is.noiseKnown = s.pan.Noise()
	is.noiseG = precision.Grams(is.noiseG, s.DivisionG/10) // with all its digits, each weight would make a new row
	if s.shown != nil && is == s.panHealth {
		return s.shown
	}
	h := &view.Health{Noisy: is.noisy, Drifts: is.drifts}
	if is.settles {
		h.SettleS = seconds(is.settle)
	}
	if is.zero {
		h.ZeroG = &is.zeroG
	}
	if is.noiseKnown {
		h.NoiseG = &is.noiseG
	}
	s.panHealth, s.shown = is, h.Rounded()
	return s.shown
}

func seconds(d time.Duration) *float64 { return new(d.Seconds()) }
