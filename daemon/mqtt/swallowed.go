package mqtt

import (
	"fmt"
	"log/slog"
	"maps"
	"slices"
	"strings"
	"sync"
)

// swallowed are the topics on which the broker acknowledges what we publish and does
// not hand it out. It may be used from any goroutine.
type swallowed struct {
	user string
	log  *slog.Logger

	mu     sync.Mutex
	topics map[string]struct{}
}

// set says whether a topic is one of them.
func (s *swallowed) set(topic string, is bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	_, was := s.topics[topic]
	switch {
	case is && !was:
		if s.topics == nil {
			s.topics = map[string]struct{}{}
		}
		s.topics[topic] = struct{}{}
		s.log.Warn("the broker acknowledges what is published and does not hand it out", "topic", topic, "user", s.user)
	case !is && was:
		delete(s.topics, topic)
		s.log.Info("the broker hands out what is published again", "topic", topic)
	}
}

// text says what is wrong and what to do, empty when nothing is.
func (s *swallowed) text() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.topics) == 0 {
		return ""
	}
	const most = 3
	topics := slices.Sorted(maps.Keys(s.topics))
	more := ""
	if n := len(topics) - most; n > 0 {
		topics, more = topics[:most], fmt.Sprintf(" and %d more", n)
	}
	who := "our user"
	if s.user != "" {
		who = fmt.Sprintf("user %q", s.user)
	}
	return fmt.Sprintf("the broker takes %s%s and hands nothing of it out: allow %s to write and to read it",
		strings.Join(topics, ", "), more, who)
}
