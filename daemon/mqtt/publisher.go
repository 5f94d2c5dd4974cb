package mqtt

import (
	"context"
	"errors"
	"log/slog"
	"strings"
	"sync"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"potlifed/daemon/clock"
	"potlifed/daemon/request"
	"potlifed/daemon/view"
)

// Bench is what is published, and what obeys commands.
type Bench interface {
	// Snapshot returns the newest snapshot, never nil.
	Snapshot() *view.Snapshot
	// Watch returns a channel that is signalled after each new snapshot, and a
	// function that ends this.
	Watch() (signal <-chan struct{}, stop func())
	// Do carries out a change. The error is a *record.Refusal or the context's.
	Do(ctx context.Context, r request.Request) (request.Reply, error)
}

// Journal is where events come from.
type Journal interface {
	// Events returns the events after a number, in order.
	Events(ctx context.Context, after uint64, limit int) ([]view.Event, error)
	// Cursor returns what SetCursor last stored under a name, 0 at first.
	Cursor(ctx context.Context, name string) (uint64, error)
	SetCursor(ctx context.Context, name string, seq uint64) error
}

const (
	mainKeepAlive = 15 * time.Second
	lookEvery     = time.Second // where nothing else wakes the publisher
	stopDrain     = 3 * time.Second
	lastLook      = 10 * time.Millisecond // between two looks at what is left, at a stop
	journalRetry  = 5 * time.Second
)

// Publisher is the daemon's side of MQTT.
type Publisher struct {
	settings  Settings
	topics    Topics
	bench     Bench
	journal   Journal
	clock     clock.Clock
	log       *slog.Logger
	published func(time.Duration)
	hungAfter time.Duration

	conn      *connection
	wake      chan struct{}
	commands  chan incoming
	answers   chan answer
	others    others
	leftover  sweep
	handed    handed
	swallowed swallowed
	counts    counts

	mu      sync.Mutex
	waiting int

	// Of the publishing goroutine alone:
	states   *states
	outbox   outbox
	pause    time.Duration // between two portions of events
	patience time.Duration // with a broker that does not acknowledge
	readAt   map[string]time.Duration
	touched  map[string]bool
	unsent   []answer
	lastSaid message   // the newest answer that was sent
	saidAt   time.Time // when
	epoch    uint64
	since    time.Time       // of the connection
	swept    bool            // the lights' retained states were looked at
	deaf     map[string]bool // kinds of state that are no longer listened to
	more     bool            // events wait for the next portion
	restTo   time.Time       // when the next portion may go out
	notUntil time.Time       // when the journal is asked again
}

// New makes a publisher. published, which may be nil, is told how long each new reading
// of air took from the sensor to the broker; it is called from one goroutine.
func New(s Settings, bench Bench, journal Journal, c clock.Clock, log *slog.Logger, published func(time.Duration)) *Publisher {
	topics := NewTopics(s.Prefix, s.Bench)
	p := &Publisher{
		settings: s, topics: topics, bench: bench, journal: journal, clock: c, log: log, published: published, hungAfter: hungAfter,
		wake: make(chan struct{}, 1), commands: make(chan incoming, commandQueue), answers: make(chan answer, answerQueue),
		swallowed: swallowed{user: s.Username, log: log},
		states:    newStates(topics), outbox: newOutbox(journal, log), pause: portionPause, patience: writeTimeout,
		readAt: map[string]time.Duration{}, touched: map[string]bool{}, deaf: map[string]bool{},
	}
	if s.inside != nil {
		take := p.take
		s.inside.guard.deliver.Store(&take)
	}
	p.conn = &connection{
		settings: s, id: s.clientID(), wake: p.wake, log: log, receive: p.receive, greet: p.greet,
		prepare: func(o *paho.ClientOptions) {
			o.SetKeepAlive(mainKeepAlive).SetWill(topics.Availability(), payloadOffline, 1, true)
		},
	}
	return p
}

// Run publishes until the context ends; then it sends what is left, leaves `offline`
// and the lights' `unknown`, and closes its connections.
func (p *Publisher) Run(ctx context.Context) error {
	if p.settings.URL == "" {
		return errors.New("mqtt: no broker's address")
	}
	p.others.mine = p.bench.Snapshot().Instance
	p.log.Info("mqtt", "url", p.settings.URL, "client", p.conn.id, "topics", p.topics.root, "commands", p.settings.Commands)
	online, offline := context.WithCancel(context.WithoutCancel(ctx))
	defer offline()
	var group sync.WaitGroup
	for _, l := range p.settings.Lights {
		for _, lamp := range newLamps(p, l) {
			group.Go(func() { lamp.run(ctx) })
		}
	}
	group.Go(func() { p.conn.run(online) })
	obeyed := make(chan struct{})
	go func() {
		defer close(obeyed)
		p.obey(ctx)
	}()
	p.publish(ctx)
	<-obeyed
	p.lastWords()
	offline()
	group.Wait()
	return nil
}

func (p *Publisher) publish(ctx context.Context) {
	signal, stop := p.bench.Watch()
	defer stop()
	timer := time.NewTimer(0)
	defer timer.Stop()
	for {
		select {
		case <-signal:
		case <-p.wake:
		case <-timer.C:
		case <-ctx.Done():
			return
		}
		p.round(ctx)
		wait := lookEvery
		if p.more {
			wait = min(wait, max(time.Until(p.restTo), 0))
		}
		if p.states.next > 0 {
			wait = min(wait, p.states.next)
		}
		timer.Reset(wait)
	}
}

// lastWords drains what is left within a bounded time and says goodbye.
func (p *Publisher) lastWords() {
	ctx, cancel := context.WithTimeout(context.Background(), stopDrain)
	defer cancel()
	p.patience = time.Second // a stop is not to hang on a broker that does
	for ctx.Err() == nil {
		p.round(ctx)
		if epoch, _ := p.conn.current(); epoch == 0 || p.outbox.stuck || !p.more && len(p.outbox.under) == 0 {
			break
		}
		p.rest(ctx, max(p.pause, lastLook))
	}
	if epoch, _ := p.conn.current(); epoch == 0 {
		return // the will says it
	}
	goodbyes := []message{{topic: p.topics.Availability(), qos: 1, retained: true, payload: []byte(payloadOffline)}}
	if err := p.conn.send(goodbyes, goodbye)[0]; err != nil {
		p.log.Warn("left without saying so", "err", err)
	}
}

// rest waits until the connection has something to tell, at most for a while.
func (p *Publisher) rest(ctx context.Context, d time.Duration) {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-p.wake:
	case <-timer.C:
	case <-ctx.Done():
	}
}

// round brings the broker up to date, or counts what waits for one.
func (p *Publisher) round(ctx context.Context) {
	snap, mono := p.bench.Snapshot(), p.clock.Now().Mono
	epoch, _ := p.conn.current()
	if epoch == 0 {
		p.wait(snap, len(p.states.round(snap, mono, p.touched)))
		return
	}
	if epoch != p.epoch {
		p.begin(epoch)
	}
	if p.others.answer(time.Now()) {
		p.states.daemon.at = never
	}
	p.sendAnswers()
	p.sendEvents(ctx, snap)
	due := p.sendStates(snap, mono)
	p.sendLeftovers()
	p.lookBack(time.Now())
	p.wait(snap, due)
}

func (p *Publisher) wait(snap *view.Snapshot, states int) {
	n := states + len(p.unsent)
	if p.outbox.loaded && snap.Seq > p.outbox.cursor {
		n += int(snap.Seq - p.outbox.cursor)
	}
	p.mu.Lock()
	p.waiting = n
	p.mu.Unlock()
}

// sendStates publishes what is due and returns how many are so still.
func (p *Publisher) sendStates(snap *view.Snapshot, mono time.Duration) int {
	due := p.states.round(snap, mono, p.touched)
	messages := make([]message, 0, len(due))
	sent := make([]candidate, 0, len(due))
	for _, c := range due {
		m, err := c.message()
		if err != nil {
			p.counts.add(directionOut, resultError)
			p.log.Error("state not encoded", "topic", c.topic, "err", err)
			continue
		}
		messages, sent = append(messages, m), append(sent, c)
	}
	failed := 0
	errs := p.send(messages)
	for i, c := range sent {
		if errs[i] != nil {
			failed++
			continue
		}
		c.taken()
		p.handed.sent(p.topics.stateKind(c.topic), time.Now())
		switch v := c.value.(type) {
		case view.Air:
			p.observe(v)
		case daemonWire:
			p.others.own()
		}
	}
	if failed == 0 {
		clear(p.touched)
	}
	return failed
}

// observe measures from reading to broker, for readings that were not sent before.
func (p *Publisher) observe(v view.Air) {
	if last, ok := p.readAt[v.Zone]; p.published != nil && v.Mono > 0 && (!ok || v.Mono > last) {
		p.published(clock.Took(p.clock, p.clock.Now().Mono-v.Mono))
	}
	p.readAt[v.Zone] = v.Mono
}

// begin prepares for a new connection, whose broker may be an empty one.
func (p *Publisher) begin(epoch uint64) {
	p.epoch, p.since, p.swept = epoch, time.Now(), false
	clear(p.deaf)
	for _, filter := range p.topics.stateKinds() {
		p.swallowed.set(filter, false) // until it is seen anew
	}
	p.states.again()
	p.outbox.again()
}

// send publishes and counts.
func (p *Publisher) send(messages []message) []error {
	if len(messages) == 0 {
		return nil
	}
	errs := p.conn.send(messages, p.patience)
	for i, err := range errs {
		if err != nil {
			p.counts.add(directionOut, resultError)
			p.log.Debug("not published", "topic", messages[i].topic, "err", err)
			continue
		}
		p.counts.add(directionOut, resultOK)
	}
	return errs
}

// greet subscribes; it is called with each connection before anything is published.
func (p *Publisher) greet(client paho.Client) error {
	p.handed.again()
	filters := map[string]byte{
		p.topics.Event(): 0, // what is lost on the way back is sent again
	}
	if p.settings.inside == nil { // which hands commands over itself
		filters[p.topics.commands()] = 1
	}
	for _, filter := range p.topics.lights() {
		filters[filter] = 1
	}
	for _, filter := range p.topics.stateKinds() {
		filters[filter] = 1
	}
	refused, err := subscribe(client, filters)
	if len(refused) > 0 {
		p.log.Warn("the broker lets us not read", "client", p.conn.id, "topics", strings.Join(refused, " "))
	}
	return err
}

// receive takes every message of the main connection. It must not block.
func (p *Publisher) receive(m paho.Message) {
	switch topic := m.Topic(); {
	case strings.HasPrefix(topic, p.topics.Do("")):
		p.hand(m)
	case topic == p.topics.Event():
		if p.outbox.echo.hear(m.Payload()) {
			p.stir()
		}
	case topic == p.topics.Daemon():
		p.others.hear(m.Payload(), m.Retained(), time.Now())
		if !m.Retained() {
			p.handed.hear(wordDaemon)
		}
		if p.others.disputed() {
			p.stir()
		}
	case !m.Retained():
		p.handed.hear(p.topics.stateKind(topic))
	case len(m.Payload()) > 0:
		p.leftover.see(topic)
	}
}

func (p *Publisher) stir() {
	select {
	case p.wake <- struct{}{}:
	default:
	}
}
