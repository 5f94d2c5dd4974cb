package mqtt

import (
	"slices"
	"strings"
	"sync"
	"time"
)

const (
	// sweepFor is how long after a connection the broker is given to hand over its
	// retained messages.
	sweepFor = 3 * time.Second
	// mostLeftovers bounds what is remembered of them; the next connection finds the
	// rest.
	mostLeftovers = 4096
)

// sweep collects the topics under which the broker still holds a state, so that those
// of batches, alarms and devices that are no more are ended. They may have ended while
// the daemon was down, or be of an older configuration.
type sweep struct {
	mu     sync.Mutex
	topics map[string]struct{}
}

// see takes a retained message.
func (s *sweep) see(topic string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.topics == nil {
		s.topics = map[string]struct{}{}
	}
	if len(s.topics) < mostLeftovers {
		s.topics[topic] = struct{}{}
	}
}

// take returns what was seen since the last call.
func (s *sweep) take() []string {
	s.mu.Lock()
	defer s.mu.Unlock()
	var topics []string
	for topic := range s.topics {
		topics = append(topics, topic)
	}
	s.topics = nil
	slices.Sort(topics)
	return topics
}

// holds reports whether a topic belongs to something that there is now. The round must
// have been made.
func (s *states) holds(topic string) bool {
	path, ok := strings.CutPrefix(topic, s.topics.root)
	if !ok {
		return true // not ours to end
	}
	kind, id, _ := strings.Cut(path, "/")
	switch kind {
	case wordAir:
		return s.air.has(id)
	case wordScale:
		return s.scales.has(id)
	case wordBatch:
		return s.batch.has(id)
	case wordSensor:
		return s.sensor.has(id)
	case wordAlarm:
		return s.alarms.has(id)
	}
	return true
}

// readBy reports whether a light's topic is one that a light reads.
func (s Settings) readBy(topics Topics, topic string) bool {
	if !strings.HasPrefix(topic, topics.root+wordLight+"/") {
		return true
	}
	for _, l := range s.Lights {
		for _, form := range l.Reads {
			if topics.Light(l.ID, form) == topic {
				return true
			}
		}
	}
	return false
}

// sendLeftovers ends the retained states of what is no more.
func (p *Publisher) sendLeftovers() {
	if p.others.disputed() {
		return // they may be the other's
	}
	var messages []message
	for _, topic := range p.leftover.take() {
		if !p.states.holds(topic) || !p.settings.readBy(p.topics, topic) {
			messages = append(messages, message{topic: topic, qos: 1, retained: true})
		}
	}
	if len(messages) > 0 {
		p.log.Info("ended retained states of what is no more", "count", len(messages), "first", messages[0].topic)
	}
	for i, err := range p.send(messages) {
		if err != nil {
			p.leftover.see(messages[i].topic)
		}
	}
}
