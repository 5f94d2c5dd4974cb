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
	other  string // the name under which the broker delivered one of our topics
}

// renamed records that the broker delivers a topic under another name, and logs it once.
func (d *droppedTopics) renamed(other string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.other == "" {
		d.log.Warn("the broker delivers topics under other names; choose a topic_prefix without dots", "comes back as", other)
	}
	d.other = other
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
	if d.other != "" {
		return fmt.Sprintf("the broker delivers %s under another name, such as %s: choose a topic_prefix without dots", someOf(maps.Keys(d.topics)), d.other)
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
