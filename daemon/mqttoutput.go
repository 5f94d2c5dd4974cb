package daemon

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"potlifed/daemon/bench"
	"potlifed/daemon/broker"
	"potlifed/daemon/config"
	"potlifed/daemon/instruments"
	"potlifed/daemon/metrics"
	"potlifed/daemon/mqtt"
	"potlifed/daemon/neighbours"
)

// The brokers, as a label of metrics and in the log.
const (
	hallBroker  = "hall"
	plantBroker = "plant"
)

var _ mqtt.LampReceiver = (*bench.Bench)(nil)

// mqttOutput is the MQTT clients, with the built-in broker where the configuration has one. Its
// zero value is off.
type mqttOutput struct {
	hall         destination // of states, events, lights and commands
	plant        destination // of states and events too
	certificates *certificates
	reader       *mqtt.NeighbourReader // nil for a bench that shows no others
	published    *mqtt.Subscriber      // for the instruments that publish; nil while MQTT is off
	broker       *broker.Broker
	url          string
}

// destination is a broker that is published to. Its zero value is off.
type destination struct {
	mu        sync.Mutex // guards what follows: others read it
	publisher *mqtt.Publisher
	failed    error
}

// open starts the built-in broker and makes the publishers. A built-in broker that cannot start
// is shown as a fault, like any broker that cannot be reached; the bench works without it. The
// error names what is wrong with the configuration.
func (o *mqttOutput) open(ctx context.Context, s *service) error {
	settings, err := mqtt.FromShop(s.Shop)
	plant, plantErr := mqtt.PlantFromShop(s.Shop)
	if err := errors.Join(err, plantErr); err != nil {
		return err
	}
	if len(plant.URLs) > 0 {
		o.plant.open(plantBroker, plant, s, nil)
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
			if len(settings.URLs) == 0 {
				o.hall.mu.Lock()
				o.hall.failed = err
				o.hall.mu.Unlock()
				return nil
			}
		case len(settings.URLs) == 0 || o.broker.Serves(settings.URLs[0]):
			settings = connectTo(o.broker, settings)
		}
	}
	if len(settings.URLs) == 0 {
		s.Log.Info("MQTT is off: the configuration has neither mqtt nor broker")
		return nil
	}
	o.url = settings.URLs[0]
	o.hall.open(hallBroker, settings, s, s.metrics.ObserveReadingToPublish)
	o.published = mqtt.NewSubscriber(settings, "air", s.Log)
	o.readNeighbours(settings, s)
	return nil
}

// open makes the publisher.
func (d *destination) open(name string, settings mqtt.Settings, s *service, published func(time.Duration)) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.publisher = mqtt.New(settings, s.bench, s.journal, s.Clock, s.Log.With("broker", name), published)
}

func (o *mqttOutput) run(ctx context.Context) error {
	var running sync.WaitGroup
	if o.reader != nil {
		running.Go(func() { o.reader.Run(ctx) })
	}
	var plantErr error
	running.Go(func() { plantErr = o.plant.run(ctx) })
	err := o.hall.run(ctx)
	running.Wait()
	if o.broker != nil {
		err = errors.Join(err, o.broker.Close())
	}
	return errors.Join(err, plantErr)
}

// run publishes until ctx is done.
func (d *destination) run(ctx context.Context) error {
	if p, _ := d.state(); p != nil {
		return p.Run(ctx)
	}
	<-ctx.Done()
	return nil
}

func (d *destination) state() (*mqtt.Publisher, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.publisher, d.failed
}

func (d *destination) on() bool {
	p, failed := d.state()
	return p != nil || failed != nil
}

// fault returns why nothing can be published, empty where it can, or where MQTT is off.
func (d *destination) fault() string {
	p, failed := d.state()
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

// stuck returns what is not published and why, empty where everything is.
func (d *destination) stuck() string {
	if fault := d.fault(); fault != "" {
		return fault
	}
	p, _ := d.state()
	if p == nil {
		return ""
	}
	is := p.Status()
	var parts []string
	if is.Dropped != "" {
		parts = append(parts, is.Dropped)
		if is.Waiting > 0 {
			parts = append(parts, fmt.Sprintf("%d messages wait", is.Waiting))
		}
	}
	return strings.Join(append(parts, is.LightsAway...), "; ")
}

// status returns what the bench asks for.
func (o *mqttOutput) status() bench.Publishing {
	s := bench.Publishing{Fault: o.hall.fault(), Certificate: o.certificates.next()}
	if p, _ := o.hall.state(); p != nil {
		is := p.Status()
		s.Waiting, s.OtherInstance, s.Dropped, s.Foreign = is.Waiting, is.OtherInstance, is.Dropped, is.Foreign
	}
	if p, _ := o.plant.state(); p != nil {
		is := p.Status()
		s.Plant, s.PlantWaiting = cmp.Or(o.plant.fault(), is.Dropped, is.Foreign), is.Waiting
		if s.Plant == "" && is.OtherInstance != "" {
			// It turns no lamp of the hall to unknown: who may publish at the plant must not reach that far.
			s.Plant = fmt.Sprintf("another potlifed, %s, publishes under this bench's name there", is.OtherInstance)
		}
	}
	return s
}

// counts returns what the metrics ask for, nil where MQTT is off.
func (o *mqttOutput) counts(shop config.Shop) func() []metrics.MQTT {
	if len(shop.MQTT.URLs) == 0 && shop.Broker.Listen == "" {
		return nil
	}
	return func() []metrics.MQTT {
		all := []metrics.MQTT{o.hall.counts(hallBroker)}
		if o.broker != nil {
			if p, _ := o.hall.state(); p != nil {
				all[0].Refusals = o.broker.Refusals()
			}
		}
		if len(shop.Plant.URLs) > 0 {
			all = append(all, o.plant.counts(plantBroker))
		}
		return all
	}
}

// counts returns the state of the connection.
func (d *destination) counts(name string) metrics.MQTT {
	m := metrics.MQTT{Broker: name, Messages: map[metrics.Message]uint64{}}
	p, _ := d.state()
	if p == nil {
		return m
	}
	s := p.Status()
	m.Connected, m.Waiting = s.Connected, s.Waiting
	for c, n := range s.Messages {
		m.Messages[metrics.Message{Direction: c.Direction, Result: c.Result}] = n
	}
	return m
}

// newNeighbours returns the store of what other benches publish of their presses.
func (s *service) newNeighbours() *neighbours.Store {
	return neighbours.New(s.Shop.Others, func() (time.Time, time.Duration) {
		snap, mono := s.bench.Snapshot(), s.Clock.Now().Mono
		return snap.At.Add(mono - snap.Mono), mono
	})
}

// readNeighbours makes the reader that fills the store of other benches, where there are any.
func (o *mqttOutput) readNeighbours(settings mqtt.Settings, s *service) {
	if len(s.Shop.Others) > 0 {
		o.reader = mqtt.NewNeighbourReader(settings, s.Shop.Others, s.neighbours, s.Log)
	}
}

// subscriber returns what hears the instruments that publish, nil while MQTT is off.
func (o *mqttOutput) subscriber() instruments.Subscriber {
	if o.published == nil {
		return nil
	}
	return o.published
}
