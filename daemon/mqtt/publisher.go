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
	"potlifed/daemon/topics"
	"potlifed/daemon/view"
)

// Bench is what is published, and what carries out commands.
type Bench interface {
	// Snapshot returns the newest snapshot, never nil.
	Snapshot() *view.Snapshot
	// Watch returns a channel that is signalled after each new snapshot, and a
	// function that ends this.
	Watch() (signal <-chan struct{}, stop func())
	// WatchLights returns a channel like that of Watch. It is signalled before the others,
	// and also after a snapshot in which nothing but the lights is new.
	WatchLights() (signal <-chan struct{}, stop func())
	// Do carries out a change. The error is a *request.Refusal or the context's.
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
	roundEvery    = time.Second // where nothing else wakes the publisher
	stopDrain     = 3 * time.Second
	stopPoll      = 10 * time.Millisecond // between two rounds at a stop
	journalRetry  = 5 * time.Second       // after the journal could not be read or written
)

// Publisher is the daemon's side of MQTT at one broker.
type Publisher struct {
	settings  Settings
	topics    topics.Topics
	bench     Bench
	journal   Journal
	clock     clock.Clock
	log       *slog.Logger
	published func(time.Duration)
	hungAfter time.Duration

	conn     *connection
	wake     chan struct{}
	commands *turns

	invalid, unheard, notDone sparse // log lines about commands
	answers                   chan Answer
	duplicate                 duplicateInstance
	stale                     staleRetained
	delivery                  deliveryCheck
	dropped                   droppedTopics
	own                       ownTopics // of the main connection
	foreign                   foreignTopics
	counts                    counts

	mu      sync.Mutex // guards what follows
	waiting int
	lights  []*lightTopic

	// Of the publishing goroutine alone:
	states         *states
	outbox         outbox
	pause          time.Duration // between two portions of events
	journalRetry   time.Duration // see journalRetry
	retainedWait   time.Duration // see retainedWait
	patience       time.Duration // with a broker that does not acknowledge
	readAt         map[string]time.Duration
	touched        map[string]bool
	unsent         []Answer
	lastAnswer     message // the newest answer that was sent
	lastAnswerAt   time.Time
	epoch          uint64
	since          time.Time       // of the connection
	lightsChecked  bool            // the lights' retained states have been checked
	unsubscribed   map[string]bool // kinds of state whose delivery has been checked
	more           bool            // events wait for the next portion
	pauseUntil     time.Time       // when the next portion may be sent
	journalRetryAt time.Time       // when the journal is read again
}

// New returns a publisher. published, which may be nil, gets the time that each new reading
// of air took from the sensor to the broker; it is called from one goroutine.
func New(s Settings, bench Bench, journal Journal, c clock.Clock, log *slog.Logger, published func(time.Duration)) *Publisher {
	t := topics.New(s.Prefix, s.Bench)
	cursor := hallCursor
	if s.Plant {
		cursor = plantCursor
	}
	p := &Publisher{
		settings: s, topics: t, bench: bench, journal: journal, clock: c, log: log, published: published, hungAfter: hungAfter,
		wake: make(chan struct{}, 1), commands: newTurns(), answers: make(chan Answer, answerQueue),
		dropped: droppedTopics{user: s.Username, log: log}, foreign: foreignTopics{user: s.Username, log: log},
		states: newStates(t), outbox: newOutbox(journal, cursor, log), pause: portionPause, journalRetry: journalRetry,
		retainedWait: retainedWait, patience: writeTimeout,
		readAt: map[string]time.Duration{}, touched: map[string]bool{}, unsubscribed: map[string]bool{},
	}
	p.states.discovery = newDiscovery(s, t)
	if s.OnCommand != nil {
		s.OnCommand(p.take)
	}
	p.conn = &connection{
		settings: s, id: s.clientID(), wake: p.wake, log: log, receive: p.receive, subscribe: p.subscribe,
		prepare: func(o *paho.ClientOptions) {
			p.own.will(t.Availability(), []byte(topics.Offline))
			o.SetKeepAlive(mainKeepAlive).SetWill(t.Availability(), topics.Offline, 1, true)
		},
	}
	return p
}

// Run publishes until the context ends; then it sends what is left, publishes `offline` and
// the lights' `unknown`, and closes its connections. The error means that the settings have
// no address.
func (p *Publisher) Run(ctx context.Context) error {
	if len(p.settings.URLs) == 0 {
		return errors.New("mqtt: no address of a broker")
	}
	p.duplicate.own = p.bench.Snapshot().Instance
	p.log.Info("mqtt", "url", strings.Join(p.settings.URLs, " "), "client", p.conn.id, "topics", p.topics.Root(), "commands", p.settings.Commands)
	online, offline := context.WithCancel(context.WithoutCancel(ctx))
	defer offline()
	var group sync.WaitGroup
	for _, t := range p.makeLights() {
		group.Go(func() { t.run(ctx) })
	}
	group.Go(func() { p.conn.run(online) })
	commandsEnded := make(chan struct{})
	go func() {
		defer close(commandsEnded)
		p.runCommands(ctx)
	}()
	p.publish(ctx)
	<-commandsEnded
	p.shutDown()
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
		wait := roundEvery
		if p.more {
			wait = min(wait, max(time.Until(p.pauseUntil), 0))
		}
		if p.states.next > 0 {
			wait = min(wait, p.states.next)
		}
		timer.Reset(wait)
	}
}

// shutDown sends what is left within stopDrain, and then `offline`.
func (p *Publisher) shutDown() {
	ctx, cancel := context.WithTimeout(context.Background(), stopDrain)
	defer cancel()
	p.patience = time.Second // a broker that does not answer must not delay a stop
	for ctx.Err() == nil {
		p.round(ctx)
		if epoch, _ := p.conn.current(); epoch == 0 || p.outbox.dropped || !p.more && len(p.outbox.inFlight) == 0 {
			break
		}
		p.waitForWake(ctx, max(p.pause, stopPoll))
	}
	if epoch, _ := p.conn.current(); epoch == 0 {
		return // the broker publishes the will
	}
	offline := []message{{topic: p.topics.Availability(), qos: 1, retained: true, payload: []byte(topics.Offline)}}
	p.own.sending(offline[0].topic, offline[0].payload) // it comes back before the connection ends
	if err := p.conn.send(offline, stopTimeout)[0]; err != nil {
		p.log.Warn("offline not published", "err", err)
	}
}

// waitForWake waits until the connection wakes the publisher, at most for a time.
func (p *Publisher) waitForWake(ctx context.Context, d time.Duration) {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-p.wake:
	case <-timer.C:
	case <-ctx.Done():
	}
}

// round publishes what is due, or counts what waits for a connection.
func (p *Publisher) round(ctx context.Context) {
	snap, mono := p.bench.Snapshot(), p.clock.Now().Mono
	epoch, _ := p.conn.current()
	if epoch == 0 {
		p.loadCursor(ctx, snap) // how many events wait is known without a connection
		p.setWaiting(snap, len(p.states.round(snap, mono, p.touched)))
		return
	}
	if epoch != p.epoch {
		p.begin(epoch)
	}
	if p.duplicate.answerDue(time.Now()) {
		p.states.daemon.at = never
	}
	p.overwrite(time.Now())
	p.sendAnswers()
	p.sendEvents(ctx, snap)
	due := p.sendStates(snap, mono)
	p.endStale()
	p.checkDelivery(time.Now())
	p.setWaiting(snap, due)
}

func (p *Publisher) setWaiting(snap *view.Snapshot, states int) {
	n := states + len(p.unsent)
	if p.outbox.loaded && snap.Seq > p.outbox.cursor {
		n += int(snap.Seq - p.outbox.cursor)
	}
	p.mu.Lock()
	p.waiting = n
	p.mu.Unlock()
}

// sendStates publishes the states that are due and returns how many could not be sent.
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
		c.acknowledged()
		p.delivery.sent(checkedKind(p.topics, c.topic), time.Now())
		switch v := c.value.(type) {
		case nil:
			p.own.ended(c.topic)
		case view.Air:
			p.observe(v)
		case DaemonPayload:
			p.duplicate.publishedOwn()
		}
	}
	if failed == 0 {
		clear(p.touched)
	}
	return failed
}

// observe measures the time from reading to broker, for readings that were not sent before.
func (p *Publisher) observe(v view.Air) {
	if last, ok := p.readAt[v.Zone]; p.published != nil && v.Mono > 0 && (!ok || v.Mono > last) {
		p.published(clock.Took(p.clock, p.clock.Now().Mono-v.Mono))
	}
	p.readAt[v.Zone] = v.Mono
}

// begin prepares for a new connection, whose broker may be empty.
func (p *Publisher) begin(epoch uint64) {
	p.epoch, p.since, p.lightsChecked = epoch, time.Now(), false
	clear(p.unsubscribed)
	for _, filter := range p.checkedFilters() {
		p.dropped.set(filter, false) // until the new connection shows it
	}
	p.states.resend()
	p.outbox.reset()
}

// send publishes and counts.
func (p *Publisher) send(messages []message) []error {
	if len(messages) == 0 {
		return nil
	}
	for _, m := range messages {
		switch {
		case m.retained && len(m.payload) > 0:
			p.own.sending(m.topic, m.payload)
		case m.retained:
			p.own.ending(m.topic)
		}
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

// subscribe subscribes; it is called with each connection before anything is published.
func (p *Publisher) subscribe(ctx context.Context, client paho.Client) error {
	p.delivery.reset()
	filters := map[string]byte{
		p.topics.Event(): subscribeQoS, // an event that is lost on the way back is sent again
	}
	if p.settings.OnCommand == nil && !p.settings.Plant {
		filters[p.topics.Do("+")] = subscribeQoS
	}
	if !p.settings.Plant {
		for _, filter := range p.topics.Lights() {
			filters[filter] = subscribeQoS // an earlier run may have left retained states
		}
	}
	for _, filter := range p.checkedFilters() {
		filters[filter] = subscribeQoS
	}
	if filter := p.states.discovery.filter(); filter != "" {
		filters[filter] = subscribeQoS // of what ended while the daemon was down
	}
	refused, err := subscribeTo(ctx, client, filters)
	if len(refused) > 0 {
		p.log.Warn("broker refused subscriptions", "client", p.conn.id, "topics", strings.Join(refused, " "))
	}
	return err
}

// receive takes every message of the main connection. It must not block.
func (p *Publisher) receive(m paho.Message) {
	if _, ok := p.states.discovery.split(m.Topic()); ok {
		if m.Retained() && len(m.Payload()) > 0 {
			p.stale.add(m.Topic())
		}
		return
	}
	switch topic := m.Topic(); {
	case !strings.HasPrefix(topic, p.topics.Root()): // all that is subscribed to is below it
		p.dropped.renamed(topic)
	case strings.HasPrefix(topic, p.topics.Do("")):
		p.receiveCommand(m)
	case topic == p.topics.Event():
		if p.outbox.echo.received(m.Payload()) {
			p.wakeUp()
		}
	case topic == p.topics.Daemon():
		p.duplicate.received(m.Payload(), m.Retained(), time.Now())
		if !m.Retained() {
			p.delivery.received(topics.KindDaemon)
			p.receivedState(topic, m.Payload())
		}
		if p.duplicate.present() {
			p.wakeUp()
		}
	case !m.Retained():
		kind := checkedKind(p.topics, topic)
		p.delivery.received(kind)
		if kind != topics.KindDone {
			p.receivedState(topic, m.Payload())
		}
	case len(m.Payload()) > 0:
		p.stale.add(topic)
	}
}

func (p *Publisher) wakeUp() {
	select {
	case p.wake <- struct{}{}:
	default:
	}
}
