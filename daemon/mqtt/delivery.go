package mqtt

import (
	"bytes"
	"maps"
	"slices"
	"sync"
	"time"

	"potlifed/daemon/topics"
)

// A broker of MQTT 3.1.1 acknowledges a message that its rights make it drop (3.3.5). So
// each topic is subscribed to by its publisher, which checks that the broker delivers.

// lightDelivery is the last payload of a light's topic until the broker has delivered it
// back. A lamp whose topic the broker drops would keep what it shows.
type lightDelivery struct {
	mu      sync.Mutex
	payload []byte
	waiting bool
	since   time.Time // when the first payload that has not come back was sent
}

// expect begins to wait for a payload, in place of the previous one.
func (d *lightDelivery) expect(payload []byte, now time.Time) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if !d.waiting {
		d.since = now
	}
	d.payload, d.waiting = payload, true
}

// reset ends the wait: what was sent was lost with its connection.
func (d *lightDelivery) reset() {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.waiting = false
}

// received takes a message from the light's topic and reports whether it is the expected one.
func (d *lightDelivery) received(payload []byte) bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	if !d.waiting || !bytes.Equal(payload, d.payload) {
		return false
	}
	d.waiting = false
	return true
}

// overdue reports whether the payload should have come back by now.
func (d *lightDelivery) overdue(now time.Time, patience time.Duration) bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.waiting && now.Sub(d.since) >= patience
}

// deliveryCheck checks, once with each connection, whether the broker delivers each kind of
// state. One message of a kind is enough.
type deliveryCheck struct {
	mu        sync.Mutex
	sentAt    map[string]time.Time // by kind, of the first message
	delivered map[string]bool      // by kind
}

// reset starts the check again, for another connection and perhaps another broker.
func (c *deliveryCheck) reset() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.sentAt, c.delivered = map[string]time.Time{}, map[string]bool{}
}

// sent takes a message that the broker acknowledged.
func (c *deliveryCheck) sent(kind string, now time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if _, ok := c.sentAt[kind]; !ok && kind != "" {
		c.sentAt[kind] = now
	}
}

// received takes a kind of which the broker has delivered a message.
func (c *deliveryCheck) received(kind string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.delivered != nil && kind != "" {
		c.delivered[kind] = true
	}
}

// overdue reports whether a message of a kind should have come back by now and has not.
func (c *deliveryCheck) overdue(kind string, now time.Time, patience time.Duration) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	at, sent := c.sentAt[kind]
	return sent && !c.delivered[kind] && now.Sub(at) >= patience
}

// kinds returns the kinds that the broker delivers, and those that are overdue.
func (c *deliveryCheck) kinds(now time.Time, patience time.Duration) (delivered, overdue []string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for kind, at := range c.sentAt {
		if !c.delivered[kind] && now.Sub(at) >= patience {
			overdue = append(overdue, kind)
		}
	}
	return slices.Collect(maps.Keys(c.delivered)), overdue
}

// checkedFilters returns the kinds whose delivery is checked, with the filter of each.
// Answers to commands are checked like states, where there are any.
func (p *Publisher) checkedFilters() map[string]string {
	t := p.topics
	filters := map[string]string{
		topics.KindAvailability: t.Availability(), topics.KindDaemon: t.Daemon(),
		topics.KindAir: t.Air("+"), topics.KindScale: t.Scale("+"), topics.KindBatch: t.Batch("+"),
		topics.KindSensor: t.Sensor("+"), topics.KindAlarm: t.Alarm("+", "+"),
	}
	if !p.settings.Plant {
		filters[topics.KindDone] = t.Done("+")
	}
	return filters
}

// checkedKind returns the kind of a topic whose delivery is checked, empty for another topic.
func checkedKind(t topics.Topics, topic string) string {
	kind, _, _ := t.Split(topic)
	switch kind {
	case topics.KindAvailability, topics.KindDaemon, topics.KindAir, topics.KindScale, topics.KindBatch,
		topics.KindSensor, topics.KindAlarm, topics.KindDone:
		return kind
	}
	return ""
}

// checkDelivery records which kinds of state the broker delivers. Once the retained messages of
// the connection must have come, it unsubscribes from those that it need not read any longer,
// and from the lights' topics.
func (p *Publisher) checkDelivery(now time.Time) {
	delivered, overdue := p.delivery.kinds(now, p.outbox.patience)
	filters := p.checkedFilters()
	for _, kind := range overdue {
		p.dropped.set(filters[kind], true)
	}
	retainedCame := now.Sub(p.since) >= p.retainedWait
	var over []string
	for _, kind := range delivered {
		p.dropped.set(filters[kind], false)
		if retainedCame && !p.unsubscribed[kind] && !p.stillReads(kind) {
			p.unsubscribed[kind] = true
			over = append(over, filters[kind])
		}
	}
	if retainedCame && !p.lightsChecked && !p.settings.outside() {
		p.lightsChecked = true
		over = append(over, p.topics.Lights()...)
	}
	if len(over) > 0 {
		p.conn.unsubscribe(over)
	}
}

// stillReads reports whether the subscription of a kind is kept after its check: a duplicate
// instance may publish on the daemon's topic, and on an outside broker every client may publish
// on the topics of states.
func (p *Publisher) stillReads(kind string) bool {
	return kind == topics.KindDaemon || p.settings.outside() && kind != topics.KindDone
}
