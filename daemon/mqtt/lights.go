package mqtt

import (
	"context"
	"encoding/json"
	"log/slog"
	"slices"
	"strings"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"potlifed/daemon/view"
	"potlifed/model/light"
)

const (
	lampKeepAlive = 10 * time.Second
	lampEvery     = 30 * time.Second
	lampLook      = time.Second // how often a silent bench is looked at
	// hungAfter is the age of the newest snapshot, by Go's monotonic clock, from which
	// the bench counts as standing still; one comes at least every second.
	hungAfter = 10 * time.Second
)

// The reasons of `unknown` that are known here and nowhere else.
const (
	reasonWill    = "no word from potlifed"
	reasonStopped = "potlifed was stopped"
	reasonHung    = "potlifed stands still"
	reasonAbsent  = "potlifed does not know this light"
	reasonOther   = "another potlifed speaks for this bench"
)

// lamp is one topic that a light reads, on a connection of its own: its will is the
// `unknown` payload on that topic, and a connection has only one will.
type lamp struct {
	id        string
	form      Form
	topic     string
	payloads  map[light.Meaning]string // of formOwn
	flashing  map[light.Meaning]string // of formOwn, where they differ
	answers   map[light.Meaning]string // how it spells what it confirms; nil: it repeats it
	confirm   *confirmation            // nil for a lamp that does not report back
	answersOn string                   // the topic of its answers
	conn      *connection
	wake      chan struct{}
	bench     Bench
	disputed  func() bool   // another instance is alive
	hung      time.Duration // see hungAfter
	now       func() (wall time.Time, mono time.Duration)
	count     func(result string)
	unseen    func(is bool) // the broker takes what is sent and does not hand it out
	back      shown
	patience  time.Duration // see echoPatience
	probe     time.Duration // see probePause
	log       *slog.Logger

	// Of run's goroutine alone:
	snap   *view.Snapshot
	seenAt time.Time // when snap was new, by Go's clock
	told   view.Light
	sentAt time.Duration
	epoch  uint64 // of the connection that has it
}

// newLamps makes a lamp for each topic that a light reads.
func newLamps(p *Publisher, light Light) []*lamp {
	var lamps []*lamp
	if light.Topic != "" {
		lamps = append(lamps, newLamp(p, light, formOwn, light.Topic))
	}
	for _, form := range light.Reads {
		lamps = append(lamps, newLamp(p, light, form, p.topics.Light(light.ID, form)))
	}
	return lamps
}

func newLamp(p *Publisher, of Light, form Form, topic string) *lamp {
	id := of.ID
	l := &lamp{
		id: id, form: form, topic: topic, payloads: of.Payloads, flashing: of.Flashing, wake: make(chan struct{}, 1),
		bench: p.bench, disputed: p.others.disputed, hung: p.hungAfter, log: p.log,
		now:   func() (time.Time, time.Duration) { n := p.clock.Now(); return n.Wall, n.Mono },
		count: func(result string) { p.counts.add(directionOut, result) },

		patience: p.outbox.patience, probe: p.outbox.probe,
		unseen: func(is bool) { p.swallowed.set(topic, is) },
	}
	l.conn = &connection{
		settings: p.settings, id: p.settings.clientID("light", id, string(form)), wake: l.wake, log: p.log,
		greet: l.greet, receive: l.receive,
		prepare: func(o *paho.ClientOptions) {
			wall, _ := l.now()
			o.SetKeepAlive(lampKeepAlive)
			o.SetBinaryWill(l.topic, l.payload(unknown(id, wall, reasonWill)), 1, true)
		},
	}
	l.reportsBack(p, of.Confirms, of.Answers)
	return l
}

// unknown is what a light shows when nobody can say. It is never in time for
// anything: its validity ends when it is said.
func unknown(id string, at time.Time, reason string) view.Light {
	return view.Light{
		Time: at, ID: id, ValidUntil: at, Meaning: light.Unknown,
		Colour: light.Unknown.Colour(), Flashing: light.Unknown.AlwaysFlashes(), Reason: reason,
	}
}

// shownBy is what a light is to show by a snapshot. What stands still or is disputed is
// never passed on.
func shownBy(snap *view.Snapshot, id string, hung, disputed bool) view.Light {
	switch {
	case hung:
		return unknown(id, snap.At, reasonHung)
	case disputed:
		return unknown(id, snap.At, reasonOther)
	}
	for _, v := range snap.Lights {
		if v.ID == id {
			v.ValidUntil = snap.At.Add(view.LightValidFor)
			return v
		}
	}
	return unknown(id, snap.At, reasonAbsent)
}

type lightWire struct {
	Time       time.Time     `json:"time"`
	ValidUntil time.Time     `json:"valid_until"`
	Seq        uint64        `json:"seq"`
	Meaning    light.Meaning `json:"meaning"`
	Colour     string        `json:"colour"`
	Flashing   bool          `json:"flashing"`
	Reason     string        `json:"reason"`
	Press      string        `json:"press,omitempty"`
	Batch      string        `json:"batch,omitempty"`
}

func (l *lamp) payload(v view.Light) []byte {
	switch l.form {
	case formOwn:
		if payload, ok := l.flashing[v.Meaning]; ok && v.Flashing {
			return []byte(payload)
		}
		return []byte(l.payloads[v.Meaning])
	case FormMeaning:
		return []byte(v.Meaning)
	case FormColour:
		return []byte(v.Colour)
	}
	b, err := json.Marshal(lightWire{
		v.Time, v.ValidUntil, v.Seq, v.Meaning, v.Colour, v.Flashing, v.Reason, v.Press, v.Batch,
	})
	if err != nil { // a year beyond 9999 is all that could do it
		l.log.Error("light not encoded", "light", l.id, "err", err)
		return []byte(`{"meaning":"unknown","colour":"yellow","flashing":true}`)
	}
	return b
}

// run keeps the lamp up to date until the context ends, and leaves `unknown`.
func (l *lamp) run(ctx context.Context) {
	signal, stop := l.bench.Watch()
	defer stop()
	online, offline := context.WithCancel(context.WithoutCancel(ctx))
	closed := make(chan struct{})
	go func() {
		defer close(closed)
		l.conn.run(online)
	}()
	reported := make(chan struct{})
	go func() {
		defer close(reported)
		if l.confirm != nil {
			l.confirm.report(ctx)
		}
	}()
	look := time.NewTicker(lampLook)
	defer look.Stop()
	for ctx.Err() == nil {
		l.update()
		select {
		case <-signal:
		case <-l.wake:
		case <-look.C:
		case <-ctx.Done():
		}
	}
	wall, _ := l.now()
	l.send(unknown(l.id, wall, reasonStopped), goodbye)
	offline()
	<-closed
	<-reported
}

// update publishes what the light is to show if the broker does not have it yet, and
// every half minute.
func (l *lamp) update() {
	epoch, _ := l.conn.current()
	if snap := l.bench.Snapshot(); snap != l.snap {
		l.snap, l.seenAt = snap, time.Now()
	}
	if l.confirm != nil && (epoch == 0 || epoch != l.epoch) {
		l.confirm.anew()
	}
	if epoch == 0 {
		l.back.forget()
		return
	}
	every := lampEvery
	if epoch != l.epoch {
		l.back.forget()
	} else if l.back.late(time.Now(), l.patience) {
		l.unseen(true)
		every = l.probe // the lamp waits for the rights to be mended
	}
	v := shownBy(l.snap, l.id, time.Since(l.seenAt) >= l.hung, l.disputed())
	_, mono := l.now()
	if epoch == l.epoch && mono-l.sentAt < every && !lightMoved(l.told, v) {
		return
	}
	if l.ask(v) {
		l.told, l.sentAt, l.epoch = v, mono, epoch
	}
}

// ask sends what the lamp is to show, and has it owe an answer if it is one that answers.
func (l *lamp) ask(v view.Light) bool {
	if l.confirm == nil {
		return l.send(v, writeTimeout)
	}
	id := l.confirm.begin(l.wants(v))
	taken := l.send(v, writeTimeout)
	l.confirm.end(id, taken)
	return taken
}

func lightMoved(a, b view.Light) bool {
	return a.Meaning != b.Meaning || a.Colour != b.Colour || a.Flashing != b.Flashing ||
		a.Reason != b.Reason || a.Press != b.Press || a.Batch != b.Batch
}

func (l *lamp) send(v view.Light, timeout time.Duration) bool {
	if epoch, _ := l.conn.current(); epoch == 0 {
		return false // its will has said it
	}
	payload := l.payload(v)
	l.back.expect(payload, time.Now())
	err := l.conn.send([]message{{topic: l.topic, qos: 1, retained: true, payload: payload}}, timeout)[0]
	if err != nil {
		l.back.forget()
		l.count(resultError)
		l.log.Warn("light not told", "light", l.id, "topic", l.topic, "err", err)
		return false
	}
	l.count(resultOK)
	return true
}

// greet listens to the light's own topic, since what is sent there has to come back,
// and to the lamp's answers.
func (l *lamp) greet(client paho.Client) error {
	filters := map[string]byte{l.topic: 0}
	if l.confirm != nil {
		filters[l.answersOn] = 1
	}
	refused, err := subscribe(client, filters)
	if len(refused) > 0 {
		l.log.Warn("the broker lets us not read", "client", l.conn.id, "light", l.id, "topics", strings.Join(refused, " "))
	}
	if l.confirm != nil {
		deaf := ""
		if slices.Contains(refused, l.answersOn) {
			deaf = "the broker does not let potlifed read " + l.answersOn
		}
		l.confirm.listening(deaf)
	}
	return err
}

// receive takes what comes back and what the lamp answers. It must not block.
func (l *lamp) receive(m paho.Message) {
	if m.Retained() {
		return
	}
	if m.Topic() == l.topic && l.back.hear(m.Payload()) {
		l.unseen(false)
	}
	if l.confirm != nil && m.Topic() == l.answersOn && len(m.Payload()) <= mostReply {
		l.confirm.hear(l.read(m.Payload()))
	}
}
