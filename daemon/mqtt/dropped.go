package mqtt

import (
	"fmt"
	"iter"
	"log/slog"
	"maps"
	"slices"
	"strings"
	"sync"
)

// droppedTopics are the topics whose messages the broker acknowledges and does not deliver.
// Its methods may be called from any goroutine.
type droppedTopics struct {
	user string
	log  *slog.Logger

	mu     sync.Mutex
	topics map[string]struct{}
}

// set records whether the broker drops a topic's messages, and logs a change.
func (d *droppedTopics) set(topic string, dropped bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	_, before := d.topics[topic]
	switch {
	case dropped && !before:
		if d.topics == nil {
			d.topics = map[string]struct{}{}
		}
		d.topics[topic] = struct{}{}
		d.log.Warn("the broker acknowledges messages and does not deliver them; check its access rules", "topic", topic, "user", d.user)
	case !dropped && before:
		delete(d.topics, topic)
		d.log.Info("the broker delivers messages again", "topic", topic)
	}
}

// text returns which topics are dropped and what to do, empty where none is.
func (d *droppedTopics) text() string {
	d.mu.Lock()
	defer d.mu.Unlock()
	if len(d.topics) == 0 {
		return ""
	}
	return fmt.Sprintf("the broker accepts messages on %s and does not deliver them: allow %s to write and to read these topics",
		someOf(maps.Keys(d.topics)), userText(d.user))
}

// someOf names the first topics and counts the others.
func someOf(all iter.Seq[string]) string {
	const maxNamed = 3
	topics := slices.Sorted(all)
	more := ""
	if n := len(topics) - maxNamed; n > 0 {
		topics, more = topics[:maxNamed], fmt.Sprintf(" and %d more", n)
	}
	return strings.Join(topics, ", ") + more
}

// userText names the daemon's user at the broker.
func userText(user string) string {
	if user == "" {
		return "our user"
	}
	return fmt.Sprintf("user %q", user)
}
