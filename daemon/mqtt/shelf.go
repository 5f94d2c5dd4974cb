package mqtt

import "time"

// kept is the value of one retained topic as the broker last took it.
type kept[V any] struct {
	topic string
	value V
	sent  bool          // the broker has it
	at    time.Duration // bench clock when it was sent
	round uint64        // the last snapshot that had it
}

// shelf holds the topics of one kind by id. Topics are put together once, since a
// snapshot comes at least every second.
type shelf[V any] struct {
	byID  map[string]*kept[V]
	topic func(id string) string
	round uint64
}

func newShelf[V any](topic func(id string) string) shelf[V] {
	return shelf[V]{byID: map[string]*kept[V]{}, topic: topic}
}

// get finds the place of an id and marks it as still there.
func (s *shelf[V]) get(id string) *kept[V] {
	k, ok := s.byID[id]
	if !ok {
		k = &kept[V]{topic: s.topic(id)}
		s.byID[id] = k
	}
	k.round = s.round
	return k
}

// has reports whether the newest snapshot had the id.
func (s *shelf[V]) has(id string) bool {
	k, ok := s.byID[id]
	return ok && k.round == s.round
}

// gone calls f for what the newest snapshot no longer has. What never went out is
// forgotten without a word.
func (s *shelf[V]) gone(f func(id string, k *kept[V])) {
	for id, k := range s.byID {
		switch {
		case k.round == s.round:
		case !k.sent:
			delete(s.byID, id)
		default:
			f(id, k)
		}
	}
}

// forget makes everything due again: the broker may have lost it.
func (s *shelf[V]) forget() {
	for _, k := range s.byID {
		k.at = never
	}
}

// never is a time so long ago that every silence is over.
const never = time.Duration(-1) << 62
