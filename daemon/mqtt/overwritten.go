package mqtt

import (
	"fmt"
	"hash/maphash"
	"log/slog"
	"maps"
	"slices"
	"strings"
	"sync"
	"time"

	"potlifed/daemon/topics"
)

// A broker without access rules lets every client publish on potlifed's own topics, and a
// forged `in-order` would turn a lamp green. So the publisher of a retained topic subscribes
// to it. A message that it did not send is overwritten with the present value.

const (
	// overwriteEvery is how often a topic is overwritten at most, so that a client that
	// publishes without end cannot make the daemon publish without end.
	overwriteEvery = 3 * time.Second
	// foreignNamedFor is how long a topic is named after the last foreign message. It is longer
	// than the delay of the alarm.
	foreignNamedFor = time.Minute
	// mostOnTheirWay bounds the payloads of a topic that have not come back yet. Air and batches change with each
	// reading, so a broker may be minutes behind before its echo is taken for another client's message.
	mostOnTheirWay = 256
	// mostWills bounds the wills of a topic that are known as one's own. A light's has the time of its connection.
	mostWills = 16
)

// ownTopics detects messages of other clients on topics that only this connection publishes.
// The zero value is ready to use. Its methods may be called from any goroutine.
type ownTopics struct {
	mu     sync.Mutex
	seed   maphash.Seed
	topics map[string]*ownTopic
}

type ownTopic struct {
	last        uint64   // hash of the payload that was sent last
	onTheirWay  []uint64 // hashes of what was sent and has not come back, oldest first
	wills       []uint64 // hashes of the newest, which the broker publishes
	foreign     bool     // what another client or the broker published may be retained
	overwritten time.Time
}

// sending records a payload before it is sent, so that it can come back at any time.
func (o *ownTopics) sending(topic string, payload []byte) {
	o.mu.Lock()
	defer o.mu.Unlock()
	own := o.topic(topic)
	own.last = maphash.Bytes(o.seed, payload)
	own.onTheirWay = append(own.onTheirWay, own.last)
	if extra := len(own.onTheirWay) - mostOnTheirWay; extra > 0 {
		own.onTheirWay = slices.Delete(own.onTheirWay, 0, extra)
	}
}

// ending records that the end of a topic, an empty payload, is sent: it can come back before the broker has acknowledged
// it. A topic on which nothing was sent stays unknown.
func (o *ownTopics) ending(topic string) {
	o.mu.Lock()
	_, known := o.topics[topic]
	o.mu.Unlock()
	if known {
		o.sending(topic, nil)
	}
}

// will records the will of a connection before it is opened. A broker publishes it to the client itself when it is stopped
// in good order, and a node of a cluster that hung publishes an old one over a living client.
func (o *ownTopics) will(topic string, payload []byte) {
	o.mu.Lock()
	defer o.mu.Unlock()
	own := o.topic(topic)
	own.wills = append(own.wills, maphash.Bytes(o.seed, payload))
	if extra := len(own.wills) - mostWills; extra > 0 {
		own.wills = slices.Delete(own.wills, 0, extra)
	}
}

// topic returns what is known of a topic. The caller holds the lock.
func (o *ownTopics) topic(name string) *ownTopic {
	if o.topics == nil {
		o.topics, o.seed = map[string]*ownTopic{}, maphash.MakeSeed()
	}
	own, ok := o.topics[name]
	if !ok {
		own = &ownTopic{}
		o.topics[name] = own
	}
	return own
}

// ended forgets a topic on which nothing is published any more.
func (o *ownTopics) ended(topic string) {
	o.mu.Lock()
	defer o.mu.Unlock()
	delete(o.topics, topic)
}

// received takes a message that was not sent because of a subscription. known is false for a
// topic on which nothing was sent. foreign reports that another client published it; due, that
// the topic may be overwritten now, also after a will of one's own.
func (o *ownTopics) received(topic string, payload []byte, now time.Time) (known, foreign, due bool) {
	o.mu.Lock()
	defer o.mu.Unlock()
	own, known := o.topics[topic]
	if !known {
		return false, false, false
	}
	hash := maphash.Bytes(o.seed, payload)
	if i := slices.Index(own.onTheirWay, hash); i >= 0 { // the broker keeps the order, so earlier ones are lost
		own.onTheirWay = slices.Delete(own.onTheirWay, 0, i+1)
		return true, false, false
	}
	if hash == own.last {
		return true, false, false
	}
	own.foreign = true
	return true, !slices.Contains(own.wills, hash), own.due(now)
}

func (t *ownTopic) due(now time.Time) bool {
	return t.foreign && now.Sub(t.overwritten) >= overwriteEvery
}

// take returns the topics that must be overwritten now. The caller sends each of them.
func (o *ownTopics) take(now time.Time) (due []string) {
	o.mu.Lock()
	defer o.mu.Unlock()
	for topic, own := range o.topics {
		if own.due(now) {
			own.foreign, own.overwritten = false, now
			due = append(due, topic)
		}
	}
	return due
}

// foreignTopics are the topics on which other clients published lately. Its methods may be
// called from any goroutine.
type foreignTopics struct {
	user string
	log  *slog.Logger
	line sparse

	mu   sync.Mutex
	seen map[string]time.Time // by topic, of the last foreign message
}

// add records a foreign message on a topic and logs it, at most once a minute.
func (f *foreignTopics) add(topic string, now time.Time) {
	f.mu.Lock()
	if f.seen == nil {
		f.seen = map[string]time.Time{}
	}
	f.seen[topic] = now
	f.mu.Unlock()
	if count, due := f.line.line(now); due {
		f.log.Warn("another client published on a topic of potlifed's own; it is overwritten; check the broker's access rules", "topic", topic, "count", count)
	}
}

// clear forgets all: the messages were a duplicate instance's.
func (f *foreignTopics) clear() {
	f.mu.Lock()
	defer f.mu.Unlock()
	clear(f.seen)
}

// text returns which topics other clients published on and what to do, empty where none did.
func (f *foreignTopics) text(now time.Time) string {
	f.mu.Lock()
	defer f.mu.Unlock()
	maps.DeleteFunc(f.seen, func(_ string, at time.Time) bool { return now.Sub(at) >= foreignNamedFor })
	if len(f.seen) == 0 {
		return ""
	}
	return fmt.Sprintf("another client published on %s: allow only %s to write there", someOf(maps.Keys(f.seen)), userText(f.user))
}

// overwrite makes the states due whose topics another client wrote on.
func (p *Publisher) overwrite(now time.Time) {
	if p.duplicate.present() { // it publishes on the same topics, and has an alarm of its own
		p.foreign.clear()
		return
	}
	for _, topic := range p.own.take(now) {
		p.states.resendTopic(topic)
	}
}

// outside reports whether the broker is not the built-in one, which lets nobody else publish on
// the daemon's topics.
func (s Settings) outside() bool { return s.OnCommand == nil }

// receivedState takes a message that was published on the topic of a state.
func (p *Publisher) receivedState(topic string, payload []byte) {
	if p.duplicate.present() {
		return
	}
	if strings.HasPrefix(topic, p.topics.Root()+topics.KindLight+"/") { // the connection of its light checks it
		if len(payload) > 0 && !p.settings.readByLight(p.topics, topic) {
			p.stale.add(topic)
		}
		return
	}
	now := time.Now()
	known, foreign, due := p.own.received(topic, payload, now)
	if foreign {
		p.foreign.add(topic, now)
	}
	if due {
		p.wakeUp()
	}
	if !known && len(payload) > 0 {
		p.stale.add(topic)
	}
}
