package instruments

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"potlifed/daemon/clock"
	"potlifed/daemon/config"
	"potlifed/daemon/excerpt"
	"potlifed/devices/climate"
	"potlifed/devices/link"
	"potlifed/devices/plugged"
	"potlifed/model/air"
)

// Subscriber hears what is published at the broker.
type Subscriber interface {
	// Subscribe subscribes to topics until ctx ends, and again with each new connection. receive
	// gets each message; it is called from one goroutine and must not block. contact gets nil
	// with each connection, and with each loss or failed attempt why there is none.
	Subscribe(ctx context.Context, topics []string, receive func(topic string, payload []byte, retained bool), contact func(error))
}

// errNotHeard means that a sensor has sent nothing that can be used.
var errNotHeard = errors.New("nothing came from the sensor")

// lines reads a sensor that sends lines, by itself or when it is asked.
func (r Reader) lines(ctx context.Context, c config.Sensor) {
	in := newInbox[air.State]()
	l, err := climate.NewLine(c.LineConfig())
	if err != nil { // the configuration was checked
		r.Log.Error("the sensor cannot be read", "device", c.ID, "err", err)
		in.connected(err)
		r.passSensor(ctx, c, in, c.Every)
		return
	}
	var running sync.WaitGroup
	running.Go(func() {
		err := l.Run(ctx, func(a air.State, err error) { in.put(a, r.Clock.Now().Mono, err) }, func(change link.Change) {
			if change.Kind == link.Connected {
				r.identified(ctx, false, c.ID, plugged.PortName(root, c.Port))
			}
			in.changed(change)
		})
		if err != nil {
			in.connected(err)
		}
	})
	r.passSensor(ctx, c, in, c.Every)
	running.Wait()
}

// passSensor hands on the readings of a sensor that sends by itself, until ctx ends.
func (r Reader) passSensor(ctx context.Context, c config.Sensor, in *inbox[air.State], pace time.Duration) {
	faults := faultLog{log: r.Log.With("device", c.ID)}
	pass(ctx, r.Clock, in, c.Every, pace, func(a air.State, at time.Duration, err error) {
		is := SensorReading{Air: a, Err: err, Fault: sensorFault(err)}
		if err == nil {
			is.Age = max(r.Clock.Now().Mono-at, 0)
		}
		faults.note(err)
		r.Sink.SensorRead(ctx, c.ID, is)
	})
}

// publishedPace limits how often readings of a sensor that publishes are handed on.
const publishedPace = time.Second

// ear hears an instrument that publishes.
type ear interface {
	hear(m climate.Message)
	connected(err error)
}

// sensorEar hears a sensor that publishes.
type sensorEar struct {
	*climate.Published
	topics map[string]bool
	*inbox[air.State]
}

func (e sensorEar) hear(m climate.Message) {
	if e.topics[m.Topic] {
		a, at, err := e.Take(m)
		if !errors.Is(err, climate.ErrHalf) { // the other half is on its way
			e.put(a, at, err)
		}
	}
}

// published hears the sensors and trends that publish. One subscription serves all of them.
func (r Reader) published(ctx context.Context, shop config.Shop) {
	var running sync.WaitGroup
	defer running.Wait()
	var ears []ear
	for _, c := range shop.Sensors {
		e := sensorEar{climate.NewPublished(c.PublishedConfig()), map[string]bool{}, newInbox[air.State]()}
		for _, t := range c.PublishedConfig().Topics() {
			e.topics[t] = true
		}
		e.connected(errNotHeard)
		ears = append(ears, e)
		running.Go(func() { r.passSensor(ctx, c, e.inbox, publishedPace) })
	}
	for _, c := range shop.Trends {
		e := trendEar{c, newInbox[float64]()}
		ears = append(ears, e)
		running.Go(func() { r.passTrend(ctx, c.ID, e.inbox) })
	}
	if r.Subscriber == nil {
		r.Log.Error("instruments that publish cannot be heard: MQTT is off")
		return
	}
	r.Subscriber.Subscribe(ctx, shop.InstrumentTopics(), func(topic string, payload []byte, retained bool) {
		now := r.Clock.Now()
		m := climate.Message{Topic: topic, Payload: payload, Retained: retained, At: now.Mono}
		if now.Synced {
			m.Wall = now.Wall
		}
		for _, e := range ears {
			e.hear(m)
		}
	}, func(err error) {
		for _, e := range ears {
			e.connected(err)
		}
	})
}

// Listen waits for a reading of a sensor that publishes. It is for a person who tries a sensor. It
// returns the beginning of the last payload beside the air or the error; the error says what was
// wrong with it, or that nothing came until ctx ended.
func Listen(ctx context.Context, c config.Sensor, s Subscriber, now func() clock.Instant) (a air.State, payload string, err error) {
	ctx, heard := context.WithCancel(ctx)
	defer heard()
	p := climate.NewPublished(c.PublishedConfig())
	var mu sync.Mutex // guards the results: messages and losses come from two goroutines
	err = errNotHeard
	s.Subscribe(ctx, c.PublishedConfig().Topics(), func(topic string, message []byte, retained bool) {
		at := now()
		m := climate.Message{Topic: topic, Payload: message, Retained: retained, At: at.Mono}
		if at.Synced {
			m.Wall = at.Wall
		}
		got, _, failed := p.Take(m)
		mu.Lock()
		defer mu.Unlock()
		if err == nil {
			return
		}
		a, err, payload = got, failed, excerpt.Of(string(message), 200)
		if err == nil {
			heard()
		}
	}, func(lost error) {
		mu.Lock()
		defer mu.Unlock()
		if lost != nil && err != nil {
			err = fmt.Errorf("%w: %w", errNotHeard, lost)
		}
	})
	mu.Lock()
	defer mu.Unlock()
	return a, payload, err
}
