package mqtt

import (
	"encoding/json"
	"math"
	"slices"
	"time"

	"potlifed/daemon/topics"
	"potlifed/daemon/view"
)

// When a state is sent. The deadbands are common practice, no source.
const (
	airDeadbandC   = 0.1
	airDeadbandPct = 0.5
	airSilence     = time.Minute
	batchSilence   = time.Minute
	daemonEvery    = 30 * time.Second
	scaleEvery     = 200 * time.Millisecond
	allEvery       = 3 * time.Minute

	endsMoveMost  = time.Minute
	endsMoveShare = 0.01 // of what remains
	// endsMoveLeast keeps a batch that is near its end from being sent with every
	// snapshot, when one per cent of what remains is almost nothing.
	endsMoveLeast = time.Second

	clockStep = time.Second // a change of bench time against the boot clock that is not drift
)

// candidate is a state that is due.
type candidate struct {
	topic        string
	qos          byte
	value        any    // encoded as JSON; nil for an empty message, which ends a retained one
	acknowledged func() // records that the broker has it
}

func (c candidate) message() (message, error) {
	m := message{topic: c.topic, qos: c.qos, retained: true}
	switch v := c.value.(type) {
	case nil:
	case string:
		m.payload = []byte(v)
	default:
		b, err := json.Marshal(v)
		if err != nil {
			return message{}, err
		}
		m.payload = b
	}
	return m, nil
}

// states decides which states are due. Its caller passes the time of the bench clock.
//
// It guarantees that a candidate that was not acknowledged is due again in the next round,
// with its newest value; that only the newest value of a topic is ever sent; and that a
// topic that ended after the broker had it is ended there too.
type states struct {
	topics    topics.Topics
	online    bool // the broker has the availability
	daemon    lastSent[view.Snapshot]
	air       sentStates[view.Air]
	scales    sentStates[view.Scale]
	batch     sentStates[view.BatchState]
	alarms    sentStates[view.Alarm]
	sensor    sentStates[view.Sensor]
	discovery *discovery // nil for none

	offset  time.Duration // bench time less boot clock
	allAt   time.Duration // when everything was last due
	started bool

	due  []candidate
	next time.Duration // until a state that was held back is due; 0 for none
}

func newStates(t topics.Topics) *states {
	s := &states{
		topics: t,
		air:    newSentStates[view.Air](t.Air),
		scales: newSentStates[view.Scale](t.Scale),
		batch:  newSentStates[view.BatchState](t.Batch),
		sensor: newSentStates[view.Sensor](t.Sensor),
		alarms: newSentStates[view.Alarm](func(id string) string { return t.Root() + topics.KindAlarm + "/" + id }),
	}
	s.daemon.at = never
	return s
}

// resend makes every state due: a new connection, whose broker may be empty.
func (s *states) resend() {
	s.online = false
	s.daemon.at = never
	s.air.resend()
	s.scales.resend()
	s.batch.resend()
	s.alarms.resend()
	s.sensor.resend()
	if s.discovery != nil {
		s.discovery.entities.resend()
	}
}

// resendTopic makes the state of one topic due.
func (s *states) resendTopic(topic string) {
	kind, id, _ := s.topics.Split(topic)
	switch kind {
	case topics.KindAvailability:
		s.online = false
	case topics.KindDaemon:
		s.daemon.at = never
	case topics.KindAir:
		s.air.resendID(id)
	case topics.KindScale:
		s.scales.resendID(id)
	case topics.KindBatch:
		s.batch.resendID(id)
	case topics.KindSensor:
		s.sensor.resendID(id)
	case topics.KindAlarm:
		s.alarms.resendID(id)
	}
}

// round returns the states of a snapshot that are due at a time of the bench clock. touched
// are the subjects of events since the last round. The result is valid until the next call.
func (s *states) round(snap *view.Snapshot, now time.Duration, touched map[string]bool) []candidate {
	offset := time.Duration(snap.At.UnixNano()) - snap.Mono
	stepped := s.started && (offset-s.offset).Abs() >= clockStep
	s.offset = offset
	if !s.started || stepped || now-s.allAt >= allEvery {
		// A step of the clock makes brokers drop retained messages, and readers that count
		// down to an instant need the new one.
		s.resend()
		s.started, s.allAt = true, now
	}
	s.due, s.next = s.due[:0], 0
	if !s.online {
		s.add(s.topics.Availability(), 1, topics.Online, func() { s.online = true })
	}
	s.daemonDue(snap, now)
	s.airDue(snap, now)
	s.scalesDue(snap, now)
	s.sensorsDue(snap, now)
	s.batchesDue(snap, now, touched)
	s.alarmsDue(snap, now, touched)
	s.discoveryDue(snap)
	return s.due
}

func (s *states) add(topic string, qos byte, value any, acknowledged func()) {
	s.due = append(s.due, candidate{topic, qos, value, acknowledged})
}

func (s *states) daemonDue(snap *view.Snapshot, now time.Duration) {
	if s.daemon.sent && now-s.daemon.at < daemonEvery {
		return
	}
	s.add(s.topics.Daemon(), 1, DaemonPayload{snap.Instance, snap.Version, snap.Journal, snap.Started}, func() {
		s.daemon.sent, s.daemon.at = true, now
	})
}

func (s *states) airDue(snap *view.Snapshot, now time.Duration) {
	s.air.round++
	for _, v := range snap.Air {
		last := s.air.get(v.Zone)
		if last.sent && now-last.at < airSilence && !airMoved(last.value, v) {
			continue
		}
		s.add(last.topic, 1, v, func() { last.value, last.sent, last.at = v, true, now })
	}
}

func airMoved(a, b view.Air) bool {
	return a.Quality != b.Quality || a.Why != b.Why || !slices.Equal(a.LeftOut, b.LeftOut) ||
		moved(a.TemperatureC, b.TemperatureC, airDeadbandC) || moved(a.HumidityPct, b.HumidityPct, airDeadbandPct)
}

// moved reports a change of at least the deadband, to within rounding.
func moved(a, b *float64, deadband float64) bool {
	if a == nil || b == nil {
		return a != b
	}
	return math.Abs(*a-*b) >= deadband*(1-1e-9)
}

func (s *states) scalesDue(snap *view.Snapshot, now time.Duration) {
	s.scales.round++
	for _, v := range snap.Scales {
		last := s.scales.get(v.ID)
		if last.sent && last.at != never {
			if !scaleMoved(last.value, v) {
				continue
			}
			if wait := scaleEvery - (now - last.at); wait > 0 {
				if s.next == 0 || wait < s.next {
					s.next = wait
				}
				continue
			}
		}
		s.add(last.topic, 0, ScalePayload{v.Time, v.WeightG, v.Stable, v.Quality, v.Why}, func() {
			last.value, last.sent, last.at = v, true, now
		})
	}
}

func scaleMoved(a, b view.Scale) bool {
	return a.Stable != b.Stable || a.Quality != b.Quality || a.Why != b.Why || !same(a.WeightG, b.WeightG)
}

func same[T comparable](a, b *T) bool {
	if a == nil || b == nil {
		return a == b
	}
	return *a == *b
}

func (s *states) sensorsDue(snap *view.Snapshot, now time.Duration) {
	s.sensor.round++
	for _, v := range snap.Sensors {
		last := s.sensor.get(v.ID)
		if last.sent && last.at != never && !sensorMoved(&last.value, &v, now-last.at) {
			continue
		}
		s.add(last.topic, 1, SensorPayload{snap.At, v.Condition, v.Since, v.Text, v.Detail, v.TemperatureC, v.HumidityPct, v.ReadAt, v.Findings()}, func() {
			last.value, last.sent, last.at = v, true, now
		})
	}
}

// sensorMoved reports whether a sensor or scale is to be sent again: its condition has changed, or it
// has read other air. A reading of the same air is sent once it is a minute since the last message.
func sensorMoved(a, b *view.Sensor, since time.Duration) bool {
	return a.Condition != b.Condition || !a.Since.Equal(b.Since) || a.Text != b.Text || a.Detail != b.Detail ||
		!slices.Equal(a.Findings(), b.Findings()) ||
		moved(a.TemperatureC, b.TemperatureC, airDeadbandC) || moved(a.HumidityPct, b.HumidityPct, airDeadbandPct) ||
		since >= airSilence && !a.ReadAt.Equal(b.ReadAt)
}

func (s *states) batchesDue(snap *view.Snapshot, now time.Duration, touched map[string]bool) {
	s.batch.round++
	for i := range snap.Batches {
		v := &snap.Batches[i].BatchState
		last := s.batch.get(v.ID)
		if last.sent && now-last.at < batchSilence && !touched[v.ID] && !batchMoved(&last.value, v) {
			continue
		}
		s.add(last.topic, 1, v, func() { last.value, last.sent, last.at = *v, true, now })
	}
	s.batch.ended(func(id string, last *lastSent[view.BatchState]) {
		s.add(last.topic, 1, nil, func() { delete(s.batch.byID, id) })
	})
}

func batchMoved(a, b *view.BatchState) bool {
	if a.State != b.State || a.Quality != b.Quality || a.Why != b.Why ||
		a.Ink != b.Ink || a.Zone != b.Zone || !same(a.Press, b.Press) ||
		!sameTime(a.MixedAt, b.MixedAt) || !sameTime(a.GoodAt, b.GoodAt) ||
		!slices.Equal(a.Components, b.Components) {
		return true
	}
	if a.EndsAt == nil || b.EndsAt == nil {
		return a.EndsAt != b.EndsAt
	}
	return endMoved(a.EndsAt.Expected, b.EndsAt.Expected, b.Time) ||
		endMoved(a.EndsAt.Low, b.EndsAt.Low, b.Time) ||
		endMoved(a.EndsAt.High, b.EndsAt.High, b.Time)
}

func sameTime(a, b *time.Time) bool {
	if a == nil || b == nil {
		return a == b
	}
	return a.Equal(*b)
}

// endMoved reports a move that a reader who counts down would notice: a minute, or one per
// cent of what remains if that is less.
func endMoved(was, is, now time.Time) bool {
	limit := time.Duration(endsMoveShare * float64(is.Sub(now)))
	limit = min(max(limit, endsMoveLeast), endsMoveMost)
	return is.Sub(was).Abs() >= limit
}

func (s *states) alarmsDue(snap *view.Snapshot, now time.Duration, touched map[string]bool) {
	s.alarms.round++
	for _, v := range snap.Alarms {
		id := v.Name + "/" + v.Subject
		last := s.alarms.get(id)
		w := last.value
		if last.sent && last.at != never && !touched[id] && w.Seq == v.Seq && w.State == v.State &&
			w.Priority == v.Priority && w.Text == v.Text && w.By == v.By && w.Since.Equal(v.Since) {
			continue
		}
		s.add(last.topic, 1, AlarmPayload{v.Time, v.Seq, v.State, v.Priority, v.Since, v.Title, v.Text, v.Detail, v.Response, v.By, v.Until}, func() {
			last.value, last.sent, last.at = v, true, now
		})
	}
	s.alarms.ended(func(id string, last *lastSent[view.Alarm]) {
		s.add(last.topic, 1, nil, func() { delete(s.alarms.byID, id) })
	})
}
