// Package daemon is the running service: it makes the parts, ties them together, starts
// sinks before sources, stops sources before sinks, and ends with the first part that
// fails.
package daemon

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"sync"

	"potlifed/daemon/access"
	"potlifed/daemon/bench"
	"potlifed/daemon/broker"
	"potlifed/daemon/clock"
	"potlifed/daemon/config"
	"potlifed/daemon/describe"
	"potlifed/daemon/instruments"
	"potlifed/daemon/journal"
	"potlifed/daemon/metrics"
	"potlifed/daemon/mqtt"
	"potlifed/daemon/neighbours"
	"potlifed/daemon/outcomes"
	"potlifed/daemon/record"
	"potlifed/daemon/web"
	"potlifed/model/alarm"
	"potlifed/model/health"
)

// Options are what a run is made of beside the configuration.
type Options struct {
	Shop    config.Shop
	Version string
	Clock   clock.Clock
	Log     *slog.Logger
	// TimeLapse is how many times faster than real time the clock runs; 0 outside a
	// demo.
	TimeLapse float64
	// Ready, if not nil, is told where the service can be reached, once it can.
	Ready func(Addresses)
}

// Addresses are where a running service can be reached.
type Addresses struct {
	HTTP string // host:port
	MQTT string // mqtt://host:port of the broker in use; empty when MQTT is off
}

// Run runs the service until ctx is done or a part of it fails, and then stops it in good
// order. An error means that it could not start, that a part failed, or that something
// could not be brought to disk; whoever started the process is to start it again.
func Run(ctx context.Context, o Options) error {
	if err := os.MkdirAll(o.Shop.DataDir, 0o750); err != nil {
		return fmt.Errorf("data_dir: %w", err)
	}
	durations := metrics.NewDurations(o.Shop.Bench)
	j, err := journal.Open(o.Shop.DataDir, o.Log, durations.ObserveJournalWrite)
	if err != nil {
		return err
	}
	out := &outlet{}
	b, err := bench.New(ctx, bench.Settings{
		Shop: o.Shop, Version: o.Version, Clock: o.Clock, Journal: j, Log: o.Log, Outlet: out.status,
	})
	if err != nil {
		return errors.Join(err, j.Close())
	}
	m := metrics.New(metrics.Settings{
		Bench: o.Shop.Bench, Version: o.Version, TimeLapse: o.TimeLapse, MQTT: out.counts(o.Shop), Durations: durations,
	}, b)
	s := &service{Options: o, journal: j, bench: b, out: out, metrics: m, access: access.Open(o.Shop.DataDir)}
	if err := s.access.Check(); err != nil {
		o.Log.Error("nobody can change anything", "err", err)
	}
	s.neighbours = s.others()
	return errors.Join(s.run(ctx), j.Close())
}

// service is a run with its parts.
type service struct {
	Options
	journal *journal.Journal
	bench   *bench.Bench
	out     *outlet
	metrics *metrics.Metrics
	access  *access.Store

	neighbours *neighbours.Store // of other benches; not the bench's own
}

// run starts journal, loop, outputs and instruments in this order, waits for the end or
// the first part that fails, and stops them in the other order.
func (s *service) run(ctx context.Context) error {
	server, listener, err := s.listen(ctx)
	if err != nil {
		return err
	}
	if err := s.out.open(ctx, s); err != nil {
		return errors.Join(err, listener.Close())
	}
	r := newRunner(ctx, s.Log)
	r.start("journal", s.journal.Run)
	r.start("bench", s.bench.Run)
	r.start("mqtt", s.out.run)
	r.start("web", func(ctx context.Context) error { return server.Serve(ctx, listener) })
	r.start("instruments", instruments.Reader{Shop: s.Shop, Clock: s.Clock, Log: s.Log, Sink: s.bench}.Run)
	select {
	case <-server.Serving():
		addresses := Addresses{HTTP: listener.Addr().String(), MQTT: s.out.url}
		s.Log.Info("ready", "http", addresses.HTTP, "mqtt", addresses.MQTT)
		r.start("heartbeat", s.heartbeat)
		if s.Ready != nil {
			s.Ready(addresses)
		}
	case <-r.ending():
	}
	<-r.ending()
	return r.stop()
}

func (s *service) listen(ctx context.Context) (*web.Server, net.Listener, error) {
	server, err := web.New(web.Settings{
		Listen: s.Shop.HTTP.Listen, Hosts: s.Shop.HTTP.Hosts, WebConfigFile: s.Shop.HTTP.WebConfigFile, PublicURL: s.Shop.HTTP.PublicURL, Version: s.Version,
		Learn: s.learn, Access: s.access, Neighbours: s.neighbours.Benches, Events: eventKinds(),
	}, s.bench, s.journal, s.metrics.Handler(s.Log), s.ready, s.Log)
	if err != nil {
		return nil, nil, err
	}
	l, err := server.Listen(ctx)
	return server, l, err
}

// eventKinds returns the kinds of events for the description of the API.
func eventKinds() []describe.EventKind {
	var kinds []describe.EventKind
	for _, kind := range record.Kinds() {
		if kind != record.KindAirStep {
			meaning, body := kind.Meaning()
			kinds = append(kinds, describe.EventKind{Kind: string(kind), Meaning: meaning, Body: body})
		}
	}
	return kinds
}

// learn fits the inks of the configuration to how their batches ended.
func (s *service) learn(ctx context.Context) ([]outcomes.Learned, error) {
	var inks []outcomes.Ink
	for _, k := range s.Shop.Inks {
		inks = append(inks, outcomes.Ink{ID: k.ID, Hardener: k.Hardener, Sheet: k.Life})
	}
	return outcomes.Learn(ctx, s.journal, inks)
}

// ready names what the service depends on, for /readyz.
func (s *service) ready() []web.Check {
	snap := s.bench.Snapshot()
	checks := []web.Check{{Name: "journal", OK: snap.JournalError == "", Detail: snap.JournalError}}
	may := web.Check{Name: "access", OK: true}
	if err := s.access.Check(); err != nil {
		may.OK, may.Detail = false, err.Error()
	}
	checks = append(checks, may)
	// A clock that is not set is told and is not a thing missing: a shop without a network
	// would never be ready, and durations inside one boot are exact without it.
	set := web.Check{Name: "clock", OK: true}
	if !snap.ClockSynced {
		set.Detail = alarm.ClockNotSet
	}
	checks = append(checks, set)
	for _, d := range snap.Sensors {
		checks = append(checks, web.Check{Name: d.ID, OK: d.Condition == health.Up, Detail: d.Detail})
	}
	if s.out.on() {
		away := s.out.away()
		checks = append(checks, web.Check{Name: "broker", OK: away == "", Detail: away})
	}
	return checks
}

// outlet is MQTT, with the built-in broker where there is one. Its zero value is an
// outlet that is off.
type outlet struct {
	mu        sync.Mutex // guards what away and counts read from other goroutines
	publisher *mqtt.Publisher
	failed    error

	reader *mqtt.NeighbourReader // nil for a bench that shows no others
	broker *broker.Broker
	url    string
}

// open starts the built-in broker and makes the publisher. A broker that cannot start
// is a state that is shown, like any broker that is away; the bench works without.
func (o *outlet) open(ctx context.Context, s *service) error {
	settings, err := mqtt.FromShop(s.Shop)
	if err != nil {
		return err
	}
	if s.Shop.Broker.Listen != "" {
		certificate, err := broker.LoadCertificate(s.Shop.Broker)
		if err != nil {
			return err
		}
		o.broker, err = broker.Start(ctx, brokerSettings(s, settings, certificate), s.Log)
		switch {
		case err != nil:
			s.Log.Error("the built-in broker cannot start", "err", err)
			if settings.URL == "" {
				o.mu.Lock()
				o.failed = err
				o.mu.Unlock()
				return nil
			}
		case settings.URL == "" || o.broker.Serves(settings.URL):
			settings = connectTo(o.broker, settings)
		}
	}
	if settings.URL == "" {
		s.Log.Info("MQTT is off: the configuration has neither mqtt nor broker")
		return nil
	}
	o.url = settings.URL
	o.mu.Lock()
	o.publisher = mqtt.New(settings, s.bench, s.journal, s.Clock, s.Log, s.metrics.ObserveReadingToPublish)
	o.mu.Unlock()
	o.hears(settings, s)
	return nil
}

func (o *outlet) run(ctx context.Context) error {
	var err error
	var reading sync.WaitGroup
	if o.reader != nil {
		reading.Go(func() { o.reader.Run(ctx) })
	}
	if o.publisher != nil {
		err = o.publisher.Run(ctx)
	} else {
		<-ctx.Done()
	}
	reading.Wait()
	if o.broker != nil {
		err = errors.Join(err, o.broker.Close())
	}
	return err
}

func (o *outlet) state() (*mqtt.Publisher, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.publisher, o.failed
}

func (o *outlet) on() bool {
	p, failed := o.state()
	return p != nil || failed != nil
}

// away says why nothing can be published, empty when it can or is not wanted.
func (o *outlet) away() string {
	p, failed := o.state()
	switch {
	case failed != nil:
		return failed.Error()
	case p == nil || p.Connected():
		return ""
	}
	if detail := p.Status().Detail; detail != "" {
		return detail
	}
	return "no connection to the broker"
}

// status is what the bench asks.
func (o *outlet) status() bench.Outlet {
	s := bench.Outlet{Away: o.away()}
	if p, _ := o.state(); p != nil {
		is := p.Status()
		s.Waiting, s.OtherInstance, s.Swallowed = is.Waiting, is.OtherInstance, is.Dropped
	}
	return s
}

// counts is what the metrics ask, nil when MQTT is off.
func (o *outlet) counts(shop config.Shop) func() metrics.MQTT {
	if shop.MQTT.URL == "" && shop.Broker.Listen == "" {
		return nil
	}
	return func() metrics.MQTT {
		m := metrics.MQTT{Messages: map[metrics.Message]uint64{}}
		p, _ := o.state()
		if p == nil {
			return m
		}
		if o.broker != nil {
			m.Refusals = o.broker.Refusals()
		}
		s := p.Status()
		m.Connected, m.Waiting = s.Connected, s.Waiting
		for c, n := range s.Messages {
			m.Messages[metrics.Message{Direction: c.Direction, Result: c.Result}] = n
		}
		return m
	}
}
