package mqtt

import "time"

// lastSent is the value of one retained topic that the broker last acknowledged.
type lastSent[V any] struct {
	topic string
	value V
	sent  bool          // the broker has it
	at    time.Duration // bench clock when it was sent
	round uint64        // the last round whose snapshot had it
}

// sentStates are the last sent values of one kind of state, by id. A topic is composed once
// for each id, since a snapshot comes at least every second.
type sentStates[V any] struct {
	byID  map[string]*lastSent[V]
	topic func(id string) string
	round uint64
}

func newSentStates[V any](topic func(id string) string) sentStates[V] {
	return sentStates[V]{byID: map[string]*lastSent[V]{}, topic: topic}
}

// get returns the last sent value of an id, new if need be, and marks the id as existing in
// this round.
func (s *sentStates[V]) get(id string) *lastSent[V] {
	v, ok := s.byID[id]
	if !ok {
		v = &lastSent[V]{topic: s.topic(id)}
		s.byID[id] = v
	}
	v.round = s.round
	return v
}

// has reports whether the newest snapshot had the id.
func (s *sentStates[V]) has(id string) bool {
	v, ok := s.byID[id]
	return ok && v.round == s.round
}

// ended calls f for each id that was sent and that the newest snapshot no longer has. Ids
// that were never sent are removed.
func (s *sentStates[V]) ended(f func(id string, v *lastSent[V])) {
	for id, v := range s.byID {
		switch {
		case v.round == s.round:
		case !v.sent:
			delete(s.byID, id)
		default:
			f(id, v)
		}
	}
}

// resend makes every value due again: the broker may have lost it.
func (s *sentStates[V]) resend() {
	for _, v := range s.byID {
		v.at = never
	}
}

// resendID makes the value of an id due again, if there is one.
func (s *sentStates[V]) resendID(id string) {
	if v, ok := s.byID[id]; ok {
		v.at = never
	}
}

// never is a time so long ago that every interval since then is over.
const never = time.Duration(-1) << 62
