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

	"potlifed/daemon/access"
	"potlifed/daemon/bench"
	"potlifed/daemon/clock"
	"potlifed/daemon/config"
	"potlifed/daemon/describe"
	"potlifed/daemon/history"
	"potlifed/daemon/instruments"
	"potlifed/daemon/journal"
	"potlifed/daemon/metrics"
	"potlifed/daemon/neighbours"
	"potlifed/daemon/outcomes"
	"potlifed/daemon/paper"
	"potlifed/daemon/record"
	"potlifed/daemon/web"
	"potlifed/daemon/words"
	"potlifed/model/health"
	"potlifed/model/learn"
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
	// ReadShop reads the configuration; nil where there is no file. A value from Hangup, if it
	// is not nil, asks for it, as the request over HTTP does.
	ReadShop func() (config.Shop, error)
	Hangup   <-chan os.Signal
	// Compute is this program with the arguments by which it makes studies and reports in a process of its own;
	// empty for doing that in this process.
	Compute []string
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
// could not be brought to disk; the caller must start the process again. A journal that
// turns out to be damaged is rebuilt by a start of its own.
func Run(ctx context.Context, o Options) error {
	boundMemory()
	for {
		err := runOnce(ctx, o)
		if !errors.Is(err, journal.ErrDamaged) || ctx.Err() != nil {
			return err
		}
		o.Log.Error("the service starts again to rebuild its journal", "err", err)
	}
}

func runOnce(ctx context.Context, o Options) error {
	if err := os.MkdirAll(o.Shop.DataDir, 0o750); err != nil {
		return fmt.Errorf("data_dir: %w", err)
	}
	durations := metrics.NewDurations(o.Shop.Bench)
	j, err := journal.Open(o.Shop.DataDir, o.Log, durations.ObserveJournalWrite)
	if err != nil {
		return err
	}
	j.PublishAs(o.Shop.Bench)
	out := &mqttOutput{certificates: newCertificates(o.Shop)}
	disk := &diskSpace{dir: o.Shop.DataDir}
	shops := newShops(o.Shop)
	b, err := bench.New(ctx, bench.Settings{
		Shop: o.Shop, Version: o.Version, Clock: o.Clock, Journal: j, Log: o.Log,
		Publishing: func() bench.Publishing {
			is := out.status()
			is.Free = disk.free()
			return is
		},
		ReadShop: o.ReadShop, Reconfigured: shops.put,
	})
	if err != nil {
		return errors.Join(err, j.Close())
	}
	past := history.New(history.Settings{
		Dir: o.Shop.DataDir, Journal: j, Bench: b, Sink: b, Clock: o.Clock, Log: o.Log,
		RawFor: o.Shop.Retention.Raw, MinutesFor: o.Shop.Retention.Minutes,
	})
	s := &service{Options: o, shops: shops, journal: j, bench: b, out: out, disk: disk, history: past, access: access.Open(o.Shop.DataDir)}
	s.metrics = metrics.New(metrics.Settings{
		Bench: o.Shop.Bench, Version: o.Version, TimeLapse: o.TimeLapse, MQTT: out.counts(o.Shop), Storage: s.storedForMetrics, Free: disk.free, Durations: durations,
	}, b)
	if err := s.access.Check(); err != nil {
		o.Log.Error("nobody can change anything", "err", err)
	}
	s.warnOfSecrets()
	s.neighbours = s.newNeighbours()
	return errors.Join(s.run(ctx), s.history.Close(), j.Close())
}

// service is a run with its parts.
type service struct {
	Options
	shops   *shops // the configuration in use; Options.Shop is that of the start
	journal *journal.Journal
	bench   *bench.Bench
	out     *mqttOutput
	disk    *diskSpace
	metrics *metrics.Metrics
	access  *access.Store
	history *history.History

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
	r.start("journal sweep", s.journal.Sweep)
	r.start("history", s.history.Run)
	r.start("certificates", s.out.certificates.run)
	r.start("disk", s.disk.run)
	r.start("mqtt", s.out.run)
	r.start("web", func(ctx context.Context) error { return server.Serve(ctx, listener) })
	r.start("instruments", instruments.Reader{Shop: s.Shop, Changed: s.shops.changed, Clock: s.Clock, Log: s.Log, Sink: s.history, Subscriber: s.out.subscriber()}.Run)
	select {
	case <-server.Serving():
		addresses := Addresses{HTTP: listener.Addr().String(), MQTT: s.out.url}
		s.Log.Info("ready", "http", addresses.HTTP, "mqtt", addresses.MQTT)
		r.start("heartbeat", func(ctx context.Context) error { return s.heartbeat(ctx, server.Handler()) })
		r.start("reload", s.reloadOnHangup)
		r.start("memory", s.giveBackMemory)
		if s.Ready != nil {
			s.Ready(addresses)
		}
	case <-r.ending():
	}
	<-r.ending()
	return r.stop()
}

func (s *service) listen(ctx context.Context) (*web.Server, net.Listener, error) {
	studies := s.study()
	server, err := web.New(web.Settings{
		Listen: s.Shop.HTTP.Listen, Hosts: s.Shop.HTTP.Hosts, WebConfigFile: s.Shop.HTTP.WebConfigFile, PublicURL: s.Shop.HTTP.PublicURL, Version: s.Version,
		Learn: s.learn, Study: studies, Report: s.report(studies), Access: s.access, Neighbours: s.neighbours.Benches, Events: eventKinds(), Locale: s.Shop.Locale(), History: s.history, Storage: s.storage, Free: s.disk.free,
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
		if kind.IsEvent() {
			meaning, body := kind.Meaning()
			kinds = append(kinds, describe.EventKind{Kind: string(kind), Meaning: meaning, Body: body})
		}
	}
	return kinds
}

// learn fits the inks of the configuration to how their batches ended, those of imported paper
// records included.
func (s *service) learn(ctx context.Context) ([]outcomes.Learned, error) {
	var inks []outcomes.Ink
	for _, k := range s.shops.now().Inks {
		inks = append(inks, outcomes.Ink{ID: k.ID, Hardener: k.Hardener, Sheet: k.Life})
	}
	past, err := outcomes.Read(ctx, s.journal)
	if err != nil {
		return nil, fmt.Errorf("learn: %w", err)
	}
	told, _ := outcomes.Sort(past, inks)
	onPaper, _, err := paper.Imported(ctx, s.history, func(id string) (learn.Pair, bool) {
		for _, k := range s.shops.now().Inks {
			if k.ID == id {
				return learn.Pair{Ink: k.ID, Hardener: k.Hardener, Sheet: k.Life}, true
			}
		}
		return learn.Pair{}, false
	}, paper.UsualLag)
	if err != nil { // a history that cannot be read takes nothing from what the journal says
		s.Log.Warn("imported batches are left out", "err", err)
		onPaper = nil
	}
	return outcomes.Learn(paper.Merged(told, onPaper)), nil
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
		set.Detail = words.English().Say("alarm-text.clock")
	}
	checks = append(checks, set)
	for _, d := range snap.Sensors {
		checks = append(checks, web.Check{Name: d.ID, OK: d.Condition == health.Up, Detail: d.Detail})
	}
	for _, d := range []struct {
		name string
		at   *destination
	}{{"broker", &s.out.hall}, {"plant", &s.out.plant}} {
		if d.at.on() {
			fault := d.at.stuck()
			checks = append(checks, web.Check{Name: d.name, OK: fault == "", Detail: fault})
		}
	}
	return checks
}
