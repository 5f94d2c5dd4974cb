package broker

import (
	"context"
	"log/slog"
	"sync"
	"time"

	"github.com/mochi-mqtt/server/v2/packets"
)

// RetainedStore keeps retained messages on disk over a restart: those of others than the
// daemon, such as what a lamp has reported of itself. The daemon's own are never among
// them. It publishes them again at each start, and an old "in order" of a light, restored
// from a file, would be wrong.
type RetainedStore interface {
	// Retained returns the payloads that are stored, by topic.
	Retained(ctx context.Context) (map[string][]byte, error)
	// KeepRetained stores payloads by topic; an empty one removes what is stored.
	KeepRetained(ctx context.Context, messages map[string][]byte) error
}

const (
	// maxStoredTopics bounds the topics that are stored; messages of further topics are
	// retained until the next start only. With topics.MaxReplyBytes each, that is a megabyte.
	maxStoredTopics = 256
	// storeEvery is the interval between two writes of what has changed. A lamp that
	// reports each second costs one write a minute; a power cut loses the last minute.
	storeEvery   = time.Minute
	storeTimeout = 5 * time.Second
)

// retainedMessages collects the retained messages that are to be stored. A nil one stores
// nothing.
type retainedMessages struct {
	disk RetainedStore
	log  *slog.Logger

	mu      sync.Mutex
	stored  map[string]bool   // topics that are stored or are about to be
	unsaved map[string][]byte // changed since the last write
	full    bool              // it was logged that maxStoredTopics is reached
}

// changed takes a message that was retained, or ended by an empty one.
func (m *retainedMessages) changed(pk packets.Packet) {
	m.mu.Lock()
	defer m.mu.Unlock()
	topic := pk.TopicName
	switch {
	case len(pk.Payload) == 0:
		if !m.stored[topic] {
			return
		}
		delete(m.stored, topic)
	case !m.stored[topic] && len(m.stored) >= maxStoredTopics:
		if !m.full {
			m.full = true
			m.log.Warn("built-in broker: no more retained messages are kept over a restart", "topics", maxStoredTopics, "topic", topic)
		}
		return
	default:
		m.stored[topic] = true
	}
	m.unsaved[topic] = pk.Payload
}

// store writes what has changed to disk. What could not be written is tried again with the
// next call.
func (m *retainedMessages) store() {
	if m == nil {
		return
	}
	m.mu.Lock()
	unsaved := m.unsaved
	m.unsaved = map[string][]byte{}
	m.mu.Unlock()
	if len(unsaved) == 0 {
		return
	}
	ctx, cancel := context.WithTimeout(context.Background(), storeTimeout)
	defer cancel()
	err := m.disk.KeepRetained(ctx, unsaved)
	if err == nil {
		return
	}
	m.log.Warn("built-in broker: retained messages are not on disk", "topics", len(unsaved), "err", err)
	m.mu.Lock()
	defer m.mu.Unlock()
	for topic, payload := range unsaved {
		if _, newer := m.unsaved[topic]; !newer {
			m.unsaved[topic] = payload
		}
	}
}

// restoreRetained retains the stored messages, before a client can connect. Messages on
// topics that only the daemon may write by now are removed from disk, no matter who wrote them.
func (b *Broker) restoreRetained(ctx context.Context, s Settings) {
	if s.Retained == nil {
		return
	}
	messages, err := s.Retained.Retained(ctx)
	if err != nil { // the lights matter more than what is missing
		b.access.log.Warn("built-in broker: retained messages are not restored", "err", err)
	}
	m := &retainedMessages{disk: s.Retained, log: b.access.log, stored: map[string]bool{}, unsaved: map[string][]byte{}}
	b.access.retained = m
	for topic, payload := range messages {
		if !b.access.confirms(topic) || len(payload) == 0 {
			m.unsaved[topic] = nil
			continue
		}
		m.stored[topic] = true
		b.server.Topics.RetainMessage(packets.Packet{
			FixedHeader: packets.FixedHeader{Type: packets.Publish, Qos: 1, Retain: true},
			TopicName:   topic, Payload: payload, Created: time.Now().Unix(),
		})
	}
}
