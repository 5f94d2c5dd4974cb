package mqtt

import (
	"maps"
	"slices"
	"strings"
	"sync"
	"time"

	"potlifed/daemon/topics"
)

const (
	// retainedWait is how long after a connection the broker has time to send its retained
	// messages.
	retainedWait = 3 * time.Second
	// maxStale bounds the topics that are remembered; the next connection finds the rest.
	maxStale = 4096
)

// staleRetained collects the topics on which the broker holds a retained state, so that the
// states of batches, alarms and devices that no longer exist can be ended. They may have
// ended while the daemon was down, or belong to an earlier configuration.
type staleRetained struct {
	mu     sync.Mutex
	topics map[string]struct{}
}

// add takes the topic of a retained message.
func (s *staleRetained) add(topic string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.topics == nil {
		s.topics = map[string]struct{}{}
	}
	if len(s.topics) < maxStale {
		s.topics[topic] = struct{}{}
	}
}

// take returns the topics that were added since the last call, sorted.
func (s *staleRetained) take() []string {
	s.mu.Lock()
	defer s.mu.Unlock()
	all := slices.Sorted(maps.Keys(s.topics))
	s.topics = nil
	return all
}

// current reports whether a topic belongs to something that exists by the last round.
func (s *states) current(topic string) bool {
	if id, ok := s.discovery.split(topic); ok {
		return s.discovery.entities.has(id)
	}
	kind, id, ok := s.topics.Split(topic)
	if !ok {
		return true // not ours to end
	}
	switch kind {
	case topics.KindAir:
		return s.air.has(id)
	case topics.KindScale:
		return s.scales.has(id)
	case topics.KindBatch:
		return s.batch.has(id)
	case topics.KindSensor:
		return s.sensor.has(id)
	case topics.KindAlarm:
		return s.alarms.has(id)
	}
	return true
}

// readByLight reports whether a topic is no light's, or one that a light of the
// configuration reads.
func (s Settings) readByLight(t topics.Topics, topic string) bool {
	if !strings.HasPrefix(topic, t.Root()+topics.KindLight+"/") {
		return true
	}
	for _, l := range s.Lights {
		for _, form := range l.Reads {
			if t.Light(l.ID, form) == topic {
				return true
			}
		}
	}
	return false
}

// endStale ends the retained states of what no longer exists.
func (p *Publisher) endStale() {
	if p.duplicate.present() {
		return // the states may be the other instance's
	}
	var messages []message
	for _, topic := range p.stale.take() {
		if !p.states.current(topic) || !p.settings.readByLight(p.topics, topic) {
			messages = append(messages, message{topic: topic, qos: 1, retained: true})
		}
	}
	if len(messages) > 0 {
		p.log.Info("ended retained states of what no longer exists", "count", len(messages), "first", messages[0].topic)
	}
	for i, err := range p.send(messages) {
		if err != nil {
			p.stale.add(messages[i].topic)
		}
	}
}
