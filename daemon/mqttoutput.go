package daemon

import (
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

// mqttOutput is the MQTT client, with the built-in broker where the configuration has one. Its
// zero value is off.
type mqttOutput struct {
	mu        sync.Mutex // guards what fault and counts read from other goroutines
	publisher *mqtt.Publisher
	failed    error

	certificates *certificates // when those of the configuration end

	reader *mqtt.NeighbourReader // nil for a bench that shows no others
	air    *mqtt.AirReader       // of sensors that publish; nil while MQTT is off
	broker *broker.Broker
	url    string
}

// open starts the built-in broker and makes the publisher. A built-in broker that cannot start
// is shown as a fault, like any broker that cannot be reached; the bench works without it. The
// error names what is wrong with the configuration.
func (o *mqttOutput) open(ctx context.Context, s *service) error {
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
			if len(settings.URLs) == 0 {
				o.mu.Lock()
				o.failed = err
				o.mu.Unlock()
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
	o.mu.Lock()
	o.publisher = mqtt.New(settings, s.bench, s.journal, s.Clock, s.Log, s.metrics.ObserveReadingToPublish)
	o.mu.Unlock()
	o.air = mqtt.NewAirReader(settings, "air", s.Log)
	o.readNeighbours(settings, s)
	return nil
}

func (o *mqttOutput) run(ctx context.Context) error {
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

func (o *mqttOutput) state() (*mqtt.Publisher, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.publisher, o.failed
}

func (o *mqttOutput) on() bool {
	p, failed := o.state()
	return p != nil || failed != nil
}

// fault returns why nothing can be published, empty where it can, or where MQTT is off.
func (o *mqttOutput) fault() string {
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

// stuck returns what is not published and why, empty where everything is.
func (o *mqttOutput) stuck() string {
	if fault := o.fault(); fault != "" {
		return fault
	}
	p, _ := o.state()
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
	s := bench.Publishing{Fault: o.fault(), Certificate: o.certificates.next()}
	if p, _ := o.state(); p != nil {
		is := p.Status()
		s.Waiting, s.OtherInstance, s.Dropped, s.Foreign = is.Waiting, is.OtherInstance, is.Dropped, is.Foreign
	}
	return s
}

// counts returns what the metrics ask for, nil where MQTT is off.
func (o *mqttOutput) counts(shop config.Shop) func() metrics.MQTT {
	if len(shop.MQTT.URLs) == 0 && shop.Broker.Listen == "" {
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

// subscriber returns what hears the sensors that publish, nil while MQTT is off.
func (o *mqttOutput) subscriber() instruments.Subscriber {
	if o.air == nil {
		return nil
	}
	return o.air
}
