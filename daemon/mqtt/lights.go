package mqtt

import (
	"context"
	"encoding/json"
	"log/slog"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"potlifed/daemon/topics"
	"potlifed/daemon/view"
	"potlifed/daemon/words"
	"potlifed/model/light"
)

const (
	lightKeepAlive  = 10 * time.Second
	lightEvery      = 30 * time.Second
	lightCheckEvery = time.Second // for a bench that makes no snapshots
	// hungAfter is the age of the newest snapshot, by Go's monotonic clock, from which the
	// bench counts as hung; one comes at least every second.
	hungAfter = 10 * time.Second
)

// The causes of `unknown` that only this package knows.
const (
	noConnection  light.Cause = "no-connection" // the will
	stopped       light.Cause = "stopped"
	notResponding light.Cause = "not-responding"
	lightNotKnown light.Cause = "light-not-known"
)

// lightTopic publishes one topic that a light reads, on a connection of its own: its will is
// the `unknown` payload on that topic, and a connection has only one will.
type lightTopic struct {
	id           string
	form         topics.Form
	topic        string
	payloads     map[light.Meaning]string // of formCustom
	flashing     map[light.Meaning]string // of formCustom, where they differ
	answers      map[light.Meaning]string // what the lamp confirms with; nil: it repeats the payload
	confirm      *confirmation            // nil for a lamp that does not confirm
	confirmTopic string
	conn         *connection
	wake         chan struct{}
	bench        Bench
	duplicate    func() bool   // a duplicate instance is alive
	hungAfter    time.Duration // see hungAfter
	now          func() (wall time.Time, mono time.Duration)
	count        func(result string)
	setDropped   func(dropped bool) // the broker acknowledges messages and does not deliver them
	delivery     lightDelivery
	own          ownTopics          // the topic alone
	foreign      func(topic string) // another client published on it
	patience     time.Duration      // see echoPatience
	retry        time.Duration      // see droppedRetry
	log          *slog.Logger
	// heartbeat is the topic that tells a lamp without a clock that its message still holds; empty
	// where no lamp needs it.
	heartbeat string
	beat      atomic.Bool // the broker has delivered the light's message: a heartbeat is due

	// Of run's goroutine alone:
	snap      *view.Snapshot
	snapAt    time.Time // when snap was new, by Go's clock
	published view.Light
	sentAt    time.Duration
	epoch     uint64 // of the connection on which it was published
}

// makeLights makes the topics of all lights.
func (p *Publisher) makeLights() (all []*lightTopic) {
	for _, l := range p.settings.Lights {
		all = append(all, newLightTopics(p, l)...)
	}
	p.mu.Lock()
	p.lights = all
	p.mu.Unlock()
	return all
}

// newLightTopics returns one lightTopic for each topic that a light reads.
func newLightTopics(p *Publisher, light Light) []*lightTopic {
	var all []*lightTopic
	if light.Topic != "" {
		all = append(all, newLightTopic(p, light, formCustom, light.Topic))
	}
	for _, form := range light.Reads {
		all = append(all, newLightTopic(p, light, form, p.topics.Light(light.ID, form)))
	}
	for _, l := range all {
		if l.form != topics.FormJSON { // JSON says until when it is valid
			l.heartbeat = p.topics.Heartbeat(light.ID)
			break
		}
	}
	return all
}

func newLightTopic(p *Publisher, of Light, form topics.Form, topic string) *lightTopic {
	id := of.ID
	l := &lightTopic{
		id: id, form: form, topic: topic, payloads: of.Payloads, flashing: of.Flashing, wake: make(chan struct{}, 1),
		bench: p.bench, duplicate: p.duplicate.present, hungAfter: p.hungAfter, log: p.log,
		now:   func() (time.Time, time.Duration) { n := p.clock.Now(); return n.Wall, n.Mono },
		count: func(result string) { p.counts.add(directionOut, result) },

		patience: p.outbox.patience, retry: p.outbox.retry,
		setDropped: func(dropped bool) { p.dropped.set(topic, dropped) },
		foreign:    func(topic string) { p.foreign.add(topic, time.Now()) },
	}
	l.conn = &connection{
		settings: p.settings, id: p.settings.clientID("light", id, string(form)), wake: l.wake, log: p.log,
		subscribe: l.subscribe, receive: l.receive,
		prepare: func(o *paho.ClientOptions) {
			wall, _ := l.now()
			o.SetKeepAlive(lightKeepAlive)
			will := l.payload(unknown(p.settings.Locale, id, wall, noConnection))
			l.own.will(l.topic, will)
			o.SetBinaryWill(l.topic, will, 1, true)
		},
	}
	l.readConfirmations(p, of.Confirms, of.Answers)
	return l
}

// unknown returns what a light shows when its meaning is not known. Its validity ends at
// once.
func unknown(l words.Locale, id string, at time.Time, cause light.Cause) view.Light {
	return view.Light{
		Time: at, ID: id, ValidUntil: at, Meaning: light.Unknown,
		Colour: light.Unknown.Colour(), Flashing: light.Unknown.AlwaysFlashes(),
		Cause: cause, Reason: l.LightReason(light.Signal{Cause: cause}, ""),
	}
}

// lightOf returns what a light is to show by a snapshot: unknown where the bench is hung or a
// duplicate instance is alive.
func lightOf(l words.Locale, snap *view.Snapshot, id string, hung, duplicate bool) view.Light {
	switch {
	case hung:
		return unknown(l, id, snap.At, notResponding)
	case duplicate:
		return unknown(l, id, snap.At, light.DuplicateInstance)
	}
	for _, v := range snap.Lights {
		if v.ID == id {
			v.ValidUntil = snap.At.Add(view.LightValidFor)
			return v
		}
	}
	return unknown(l, id, snap.At, lightNotKnown)
}

func (l *lightTopic) payload(v view.Light) []byte {
	switch l.form {
	case formCustom:
		if payload, ok := l.flashing[v.Meaning]; ok && v.Flashing {
			return []byte(payload)
		}
		return []byte(l.payloads[v.Meaning])
	case topics.FormMeaning:
		return []byte(v.Meaning)
	case topics.FormColour:
		return []byte(v.Colour)
	}
	b, err := json.Marshal(LightPayload{
		v.Time, v.ValidUntil, v.Seq, v.Meaning, v.Colour, v.Flashing, v.Cause, v.Reason, v.Press, v.Batch,
	})
	if err != nil { // only a year beyond 9999 can cause it
		l.log.Error("light not encoded", "light", l.id, "err", err)
		return []byte(`{"meaning":"unknown","colour":"yellow","flashing":true}`)
	}
	return b
}

// run keeps the topic up to date until the context ends, and then publishes `unknown`.
func (l *lightTopic) run(ctx context.Context) {
	signal, stop := l.bench.WatchLights()
	defer stop()
	online, offline := context.WithCancel(context.WithoutCancel(ctx))
	var running sync.WaitGroup
	running.Go(func() { l.conn.run(online) })
	if l.confirm != nil {
		running.Go(func() { l.confirm.report(ctx) })
	}
	check := time.NewTicker(lightCheckEvery)
	defer check.Stop()
	for ctx.Err() == nil {
		l.update()
		select {
		case <-signal:
		case <-l.wake:
		case <-check.C:
		case <-ctx.Done():
		}
	}
	wall, _ := l.now()
	l.send(unknown(l.conn.settings.Locale, l.id, wall, stopped), stopTimeout)
	offline()
	running.Wait()
}

// update publishes what the light is to show if the broker does not have it yet, and every
// half minute.
func (l *lightTopic) update() {
	epoch, _ := l.conn.current()
	if snap := l.bench.Snapshot(); snap != l.snap {
		l.snap, l.snapAt = snap, time.Now()
	}
	if l.confirm != nil && (epoch == 0 || epoch != l.epoch) {
		l.confirm.reset()
	}
	if epoch == 0 {
		l.delivery.reset()
		return
	}
	l.sendHeartbeat()
	every := lightEvery
	if epoch != l.epoch {
		l.delivery.reset()
	} else if l.delivery.overdue(time.Now(), l.patience) {
		l.setDropped(true)
		every = l.retry // the access rules may have been corrected
	}
	v := lightOf(l.conn.settings.Locale, l.snap, l.id, time.Since(l.snapAt) >= l.hungAfter, l.duplicate())
	_, mono := l.now()
	overwrite := !l.duplicate() && len(l.own.take(time.Now())) > 0
	if epoch == l.epoch && mono-l.sentAt < every && !overwrite && !lightChanged(l.published, v) {
		return
	}
	if l.publish(v) {
		l.published, l.sentAt, l.epoch = v, mono, epoch
	} else if overwrite {
		l.sentAt = never
	}
}

// sendHeartbeat tells the lamp for how many seconds its message holds, once the broker has delivered
// the message: a heartbeat that came without it would keep a lamp green that hears nothing else. It
// is not retained, and one that is lost is followed by the next.
func (l *lightTopic) sendHeartbeat() {
	if l.heartbeat == "" || !l.beat.Swap(false) {
		return
	}
	payload := strconv.Itoa(int(view.LightValidFor / time.Second))
	if err := l.conn.send([]message{{topic: l.heartbeat, payload: []byte(payload)}}, writeTimeout)[0]; err != nil {
		l.log.Debug("heartbeat not published", "light", l.id, "err", err)
	}
}

// publish sends what the light is to show and reports whether the broker acknowledged it. A
// lamp that confirms then owes the confirmation.
func (l *lightTopic) publish(v view.Light) bool {
	if l.confirm == nil {
		return l.send(v, writeTimeout)
	}
	id := l.confirm.sending(l.wants(v))
	acknowledged := l.send(v, writeTimeout)
	l.confirm.sent(id, acknowledged)
	return acknowledged
}

func lightChanged(a, b view.Light) bool {
	return a.Meaning != b.Meaning || a.Colour != b.Colour || a.Flashing != b.Flashing ||
		a.Cause != b.Cause || a.Reason != b.Reason || a.Press != b.Press || a.Batch != b.Batch
}

func (l *lightTopic) send(v view.Light, timeout time.Duration) bool {
	if epoch, _ := l.conn.current(); epoch == 0 {
		return false // the broker publishes its will
	}
	payload := l.payload(v)
	l.delivery.expect(payload, time.Now())
	l.own.sending(l.topic, payload)
	err := l.conn.send([]message{{topic: l.topic, qos: 1, retained: true, payload: payload}}, timeout)[0]
	if err != nil {
		l.delivery.reset()
		l.count(resultError)
		l.log.Warn("light not published", "light", l.id, "topic", l.topic, "err", err)
		return false
	}
	l.count(resultOK)
	return true
}

// subscribe subscribes to the light's own topic, since each message there must come back,
// and to what the lamp confirms.
func (l *lightTopic) subscribe(ctx context.Context, client paho.Client) error {
	filters := map[string]byte{l.topic: subscribeQoS}
	if l.confirm != nil {
		filters[l.confirmTopic] = subscribeQoS
	}
	refused, err := subscribeTo(ctx, client, filters)
	if len(refused) > 0 {
		l.log.Warn("broker refused subscriptions", "client", l.conn.id, "light", l.id, "topics", strings.Join(refused, " "))
	}
	if l.confirm != nil {
		why := ""
		if slices.Contains(refused, l.confirmTopic) {
			why = "the broker does not let potlifed read " + l.confirmTopic
		}
		l.confirm.subscribed(why)
	}
	return err
}

// receive takes a message that came back, or a confirmation of the lamp. It must not block.
func (l *lightTopic) receive(m paho.Message) {
	if m.Retained() {
		return
	}
	if m.Topic() == l.topic {
		if l.delivery.received(m.Payload()) {
			l.setDropped(false)
			if l.heartbeat != "" {
				l.beat.Store(true)
				l.wakeUp()
			}
		}
		l.receivedOwn(m.Payload())
	}
	if l.confirm != nil && m.Topic() == l.confirmTopic && len(m.Payload()) <= topics.MaxReplyBytes {
		l.confirm.received(l.comparable(m.Payload()))
	}
}

// receivedOwn takes a message from the light's own topic, which may be another client's.
func (l *lightTopic) receivedOwn(payload []byte) {
	_, foreign, due := l.own.received(l.topic, payload, time.Now())
	if l.duplicate() {
		return
	}
	if due {
		l.wakeUp()
	}
	if foreign {
		l.foreign(l.topic)
	}
}

func (l *lightTopic) wakeUp() {
	select {
	case l.wake <- struct{}{}:
	default:
	}
}
