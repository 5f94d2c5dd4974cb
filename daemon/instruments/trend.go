package instruments

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"potlifed/daemon/config"
	"potlifed/devices/climate"
	"potlifed/devices/link"
	"potlifed/devices/trend"
	"potlifed/model/health"
)

// TrendReading is one value of an instrument that follows a batch, or why there is none.
type TrendReading struct {
	Value float64 // if Err is nil
	Err   error
	Fault health.Fault // what kind of error Err is; empty without one
}

// trendPace limits how often values of a trend are handed on. What is taken of them is the median of minutes.
const trendPace = time.Second

// trendFaults is the interval in which a fault of a trend is told again.
const trendFaults = 5 * time.Second

// passTrend hands on the values of a trend, until ctx ends.
func (r Reader) passTrend(ctx context.Context, id string, in *inbox[float64]) {
	faults := faultLog{log: r.Log.With("device", id)}
	pass(ctx, r.Clock, in, trendFaults, trendPace, func(x float64, _ time.Duration, err error) {
		faults.note(err)
		r.Sink.TrendRead(ctx, id, TrendReading{Value: x, Err: err, Fault: sensorFault(err)})
	})
}

// trendLines reads a trend that sends lines.
func (r Reader) trendLines(ctx context.Context, c config.Trend) {
	in := newInbox[float64]()
	var running sync.WaitGroup
	running.Go(func() { r.passTrend(ctx, c.ID, in) })
	defer running.Wait()
	l, err := trend.NewLine(c.LineConfig())
	if err == nil {
		err = l.Run(ctx, func(x float64, err error) { in.put(x, r.Clock.Now().Mono, err) }, in.changed)
	}
	if err != nil {
		in.connected(err)
	}
}

// trendEar hears a trend that publishes.
type trendEar struct {
	config.Trend
	*inbox[float64]
}

func (e trendEar) hear(m climate.Message) {
	if m.Topic == e.Topic {
		x, err := e.Value().Number(m)
		e.put(x, m.At, err)
	}
}

// errNoTrend means that an instrument that follows a batch has sent nothing that can be used.
var errNoTrend = errors.New("no value came")

// TryTrend waits for a value of an instrument that follows a batch; s is needed for one that publishes. It is for a
// person who tries an instrument. The error says what was wrong with what came last, or that nothing came until ctx
// ended.
func TryTrend(ctx context.Context, c config.Trend, s Subscriber) (value float64, err error) {
	ctx, enough := context.WithCancel(ctx)
	defer enough()
	var mu sync.Mutex // guards the results: messages and losses come from two goroutines
	err, had := errNoTrend, false
	each := func(x float64, failed error) {
		mu.Lock()
		defer mu.Unlock()
		if had {
			return
		}
		if value, err, had = x, failed, failed == nil; had {
			enough()
		}
	}
	if c.Source == config.Published {
		s.Subscribe(ctx, []string{c.Topic}, func(topic string, message []byte, retained bool) {
			each(c.Value().Number(climate.Message{Topic: topic, Payload: message, Retained: retained}))
		}, func(lost error) {
			if lost != nil {
				each(0, fmt.Errorf("%w: %w", errNoTrend, lost))
			}
		})
	} else {
		l, wrong := trend.NewLine(c.LineConfig())
		if wrong == nil {
			wrong = l.Run(ctx, each, func(change link.Change) {
				if change.Kind == link.Failed || change.Kind == link.Lost {
					each(0, change.Err)
				}
			})
		}
		if wrong != nil {
			each(0, wrong)
		}
	}
	mu.Lock()
	defer mu.Unlock()
	return value, err
}
