package mqtt

import (
	"encoding/json"
	"math"
	"slices"
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/view"
	"potlifed/model/health"
)

// What is worth a message. The figures are the contract's where it has them; the
// deadbands are common practice, no source.
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
	// endsMoveLeast keeps a batch at its end, of which one per cent is nothing, from
	// being sent with every snapshot.
	endsMoveLeast = time.Second

	clockStep = time.Second // a change of bench time against the boot clock that is no drift
)

// candidate is a state that is due.
type candidate struct {
	topic string
	qos   byte
	value any    // encoded as JSON; nil for an empty message, which ends a retained one
	taken func() // remembers that the broker has it
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

// states decides what is due. It is told the bench clock and never asks it.
//
// Guaranteed: a candidate that was not taken is due again in the next round with the
// value of then; of each topic only the newest value is ever sent; a topic that ended
// after the broker had it is ended there too.
type states struct {
	topics Topics
	online bool // the broker has the availability
	daemon kept[view.Snapshot]
	air    shelf[view.Air]
	scales shelf[view.Scale]
	batch  shelf[view.BatchState]
	alarms shelf[view.Alarm]
	sensor shelf[view.Sensor]

	offset  time.Duration // bench time less boot clock
	allAt   time.Duration // when everything was last due
	started bool

	due  []candidate
	next time.Duration // when something that was held back is due; 0 for nothing
}

func newStates(topics Topics) *states {
	s := &states{
		topics: topics,
		air:    newShelf[view.Air](topics.Air),
		scales: newShelf[view.Scale](topics.Scale),
		batch:  newShelf[view.BatchState](topics.Batch),
		sensor: newShelf[view.Sensor](topics.Sensor),
		alarms: newShelf[view.Alarm](func(id string) string { return topics.root + wordAlarm + "/" + id }),
	}
	s.daemon.at = never
	return s
}

// again makes everything due: a new connection, whose broker may be an empty one.
func (s *states) again() {
	s.online = false
	s.daemon.at = never
	s.air.forget()
	s.scales.forget()
	s.batch.forget()
	s.alarms.forget()
	s.sensor.forget()
}

// round returns what is due of a snapshot at the given time of the bench clock.
// Touched are the subjects of events since the last round. The result is valid until
// the next call.
func (s *states) round(snap *view.Snapshot, now time.Duration, touched map[string]bool) []candidate {
	offset := time.Duration(snap.At.UnixNano()) - snap.Mono
	stepped := s.started && (offset-s.offset).Abs() >= clockStep
	s.offset = offset
	if !s.started || stepped || now-s.allAt >= allEvery {
		// A step of the clock makes brokers drop retained messages, and everybody who
		// counts down from an instant needs the new one.
		s.again()
		s.started, s.allAt = true, now
	}
	s.due, s.next = s.due[:0], 0
	if !s.online {
		s.add(s.topics.Availability(), 1, payloadOnline, func() { s.online = true })
	}
	s.daemonDue(snap, now)
	s.airDue(snap, now)
	s.scalesDue(snap, now)
	s.sensorsDue(snap, now)
	s.batchesDue(snap, now, touched)
	s.alarmsDue(snap, now, touched)
	return s.due
}

func (s *states) add(topic string, qos byte, value any, taken func()) {
	s.due = append(s.due, candidate{topic, qos, value, taken})
}

type daemonWire struct {
	Instance string    `json:"instance"`
	Version  string    `json:"version"`
	Journal  string    `json:"journal"`
	Started  time.Time `json:"started"`
}

func (s *states) daemonDue(snap *view.Snapshot, now time.Duration) {
	if s.daemon.sent && now-s.daemon.at < daemonEvery {
		return
	}
	s.add(s.topics.Daemon(), 1, daemonWire{snap.Instance, snap.Version, snap.Journal, snap.Started}, func() {
		s.daemon.sent, s.daemon.at = true, now
	})
}

func (s *states) airDue(snap *view.Snapshot, now time.Duration) {
	s.air.round++
	for _, v := range snap.Air {
		k := s.air.get(v.Zone)
		if k.sent && now-k.at < airSilence && !airMoved(k.value, v) {
			continue
		}
		s.add(k.topic, 1, v, func() { k.value, k.sent, k.at = v, true, now })
	}
}

func airMoved(a, b view.Air) bool {
	return a.Quality != b.Quality || a.Why != b.Why ||
		moved(a.TemperatureC, b.TemperatureC, airDeadbandC) || moved(a.HumidityPct, b.HumidityPct, airDeadbandPct)
}

// moved reports a move of at least the deadband, to within rounding.
func moved(a, b *float64, deadband float64) bool {
	if a == nil || b == nil {
		return a != b
	}
	return math.Abs(*a-*b) >= deadband*(1-1e-9)
}

type scaleWire struct {
	Time    time.Time    `json:"time,omitzero"` // absent before the first line
	WeightG *float64     `json:"weight_g,omitempty"`
	Stable  bool         `json:"stable"`
	Quality view.Quality `json:"quality"`
	Why     string       `json:"why,omitempty"`
}

func (s *states) scalesDue(snap *view.Snapshot, now time.Duration) {
	s.scales.round++
	for _, v := range snap.Scales {
		k := s.scales.get(v.ID)
		if k.sent && k.at != never {
			if !scaleMoved(k.value, v) {
				continue
			}
			if wait := scaleEvery - (now - k.at); wait > 0 {
				if s.next == 0 || wait < s.next {
					s.next = wait
				}
				continue
			}
		}
		s.add(k.topic, 0, scaleWire{v.Time, v.WeightG, v.Stable, v.Quality, v.Why}, func() {
			k.value, k.sent, k.at = v, true, now
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

type sensorWire struct {
	Time      time.Time        `json:"time"`
	Condition health.Condition `json:"condition"`
	Since     time.Time        `json:"since"`
	Detail    string           `json:"detail,omitempty"`
}

func (s *states) sensorsDue(snap *view.Snapshot, now time.Duration) {
	s.sensor.round++
	for _, v := range snap.Sensors {
		k := s.sensor.get(v.ID)
		if k.sent && k.at != never &&
			k.value.Condition == v.Condition && k.value.Since.Equal(v.Since) && k.value.Detail == v.Detail {
			continue
		}
		s.add(k.topic, 1, sensorWire{snap.At, v.Condition, v.Since, v.Detail}, func() {
			k.value, k.sent, k.at = v, true, now
		})
	}
}

func (s *states) batchesDue(snap *view.Snapshot, now time.Duration, touched map[string]bool) {
	s.batch.round++
	for i := range snap.Batches {
		v := &snap.Batches[i].BatchState
		k := s.batch.get(v.ID)
		if k.sent && now-k.at < batchSilence && !touched[v.ID] && !batchMoved(&k.value, v) {
			continue
		}
		s.add(k.topic, 1, v, func() { k.value, k.sent, k.at = *v, true, now })
	}
	s.batch.gone(func(id string, k *kept[view.BatchState]) {
		s.add(k.topic, 1, nil, func() { delete(s.batch.byID, id) })
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

// endMoved reports a move that a reader who counts down would notice: a minute, or
// one per cent of what remains if that is less.
func endMoved(was, is, now time.Time) bool {
	limit := time.Duration(endsMoveShare * float64(is.Sub(now)))
	limit = min(max(limit, endsMoveLeast), endsMoveMost)
	return is.Sub(was).Abs() >= limit
}

func (s *states) alarmsDue(snap *view.Snapshot, now time.Duration, touched map[string]bool) {
	s.alarms.round++
	for _, v := range snap.Alarms {
		id := v.Name + "/" + v.Subject
		k := s.alarms.get(id)
		w := k.value
		if k.sent && k.at != never && !touched[id] && w.Seq == v.Seq && w.State == v.State &&
			w.Priority == v.Priority && w.Text == v.Text && w.By == v.By && w.Since.Equal(v.Since) {
			continue
		}
		s.add(k.topic, 1, alarmWire{v.Time, v.Seq, v.State, v.Priority, v.Since, v.Text, v.Response, v.By, v.Until}, func() {
			k.value, k.sent, k.at = v, true, now
		})
	}
	s.alarms.gone(func(id string, k *kept[view.Alarm]) {
		s.add(k.topic, 1, nil, func() { delete(s.alarms.byID, id) })
	})
}

type alarmWire struct {
	Time     time.Time  `json:"time"`
	Seq      uint64     `json:"seq"`
	State    string     `json:"state"`
	Priority string     `json:"priority"`
	Since    time.Time  `json:"since"`
	Text     string     `json:"text"`
	Response string     `json:"response,omitempty"`
	By       actor.Name `json:"by,omitempty"`
	Until    *time.Time `json:"until,omitempty"`
}
