package mqtt

import (
	"context"
	"log/slog"
	"strings"
	"sync"
	"time"

	"github.com/mochi-mqtt/server/v2/packets"
)

// Retained is where the built-in broker keeps retained messages over a restart: those
// of others, such as what a lamp has reported of itself. What the daemon says is never
// among them. It is sent anew at each start, and a light's last "in order" out of a
// file would be a lie.
type Retained interface {
	// Retained returns what is kept.
	Retained(ctx context.Context) (map[string][]byte, error)
	// KeepRetained keeps messages by their topics; an empty one ends what is kept.
	KeepRetained(ctx context.Context, messages map[string][]byte) error
}

const (
	// mostRetained topics are kept; what comes beyond is held until the next start only.
	// With mostReply bytes each, that is a megabyte.
	mostRetained = 256
	// keepEvery is how often what has changed is brought to disk. A lamp that reports
	// each second costs one write a minute; a pulled plug loses the last minute of it.
	keepEvery   = time.Minute
	keepTimeout = 5 * time.Second
)

// keeper remembers what is to be brought to disk. A nil one keeps nothing.
type keeper struct {
	to  Retained
	log *slog.Logger

	mu      sync.Mutex
	kept    map[string]bool   // topics that are kept, or are about to be
	changed map[string][]byte // since the last time
	full    bool              // it was said that there is no more room
}

// keep takes a message that was retained, or ended by an empty one.
func (k *keeper) keep(pk packets.Packet) {
	k.mu.Lock()
	defer k.mu.Unlock()
	topic := pk.TopicName
	switch {
	case len(pk.Payload) == 0:
		if !k.kept[topic] {
			return
		}
		delete(k.kept, topic)
	case !k.kept[topic] && len(k.kept) >= mostRetained:
		if !k.full {
			k.full = true
			k.log.Warn("built-in broker: no more retained messages are kept over a restart", "topics", mostRetained, "topic", topic)
		}
		return
	default:
		k.kept[topic] = true
	}
	k.changed[topic] = pk.Payload
}

// store brings to disk what has changed.
func (k *keeper) store() {
	if k == nil {
		return
	}
	k.mu.Lock()
	changed := k.changed
	k.changed = map[string][]byte{}
	k.mu.Unlock()
	if len(changed) == 0 {
		return
	}
	ctx, cancel := context.WithTimeout(context.Background(), keepTimeout)
	defer cancel()
	err := k.to.KeepRetained(ctx, changed)
	if err == nil {
		return
	}
	k.log.Warn("built-in broker: retained messages are not on disk", "topics", len(changed), "err", err)
	k.mu.Lock()
	defer k.mu.Unlock()
	for topic, payload := range changed {
		if _, newer := k.changed[topic]; !newer {
			k.changed[topic] = payload
		}
	}
}

// restore retains what was kept, before anybody can connect. What is the daemon's now is
// left out, whoever it was said by then.
func (b *Broker) restore(ctx context.Context, s BrokerSettings) {
	if s.Retained == nil {
		return
	}
	held, err := s.Retained.Retained(ctx)
	if err != nil { // lights are worth more than what is missing
		b.guard.log.Warn("built-in broker: retained messages are not restored", "err", err)
	}
	k := &keeper{to: s.Retained, log: b.guard.log, kept: map[string]bool{}, changed: map[string][]byte{}}
	b.guard.keeper = k
	for topic, payload := range held {
		if !b.guard.others(topic) || len(payload) == 0 {
			k.changed[topic] = nil
			continue
		}
		k.kept[topic] = true
		b.server.Topics.RetainMessage(packets.Packet{
			FixedHeader: packets.FixedHeader{Type: packets.Publish, Qos: 1, Retain: true},
			TopicName:   topic, Payload: payload, Created: time.Now().Unix(),
		})
	}
}

// others reports whether a topic is one that somebody other than the daemon may retain
// something on.
func (r rights) others(topic string) bool {
	if strings.HasPrefix(topic, r.topics.root) {
		return false
	}
	for _, lamp := range r.lights {
		if lamp.confirms == topic {
			return true
		}
	}
	return false
}
