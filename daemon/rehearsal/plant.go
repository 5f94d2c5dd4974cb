package rehearsal

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"os"
	"sync"
	"time"

	"potlifed/daemon/config"
)

// PlantOptions say how large a plant is and how busy.
type PlantOptions struct {
	Benches int
	Broker  string        // mqtt://HOST:PORT or mqtts://HOST:PORT, for all of them
	Reader  string        // the same of the subscriber, such as another node of a cluster; empty for Broker
	Prefix  string        // of the topics; the plant's subscriber reads everything under it
	For     time.Duration // how long is measured, in real time, once all benches are ready
	// MixEvery is the mean time between two new batches at a bench. Three presses that use up a
	// mix in five hours need one every hundred minutes.
	MixEvery time.Duration
	// Recorded: batches are recorded as already mixed and not poured at the scale, which would
	// take minutes.
	Recorded bool
	// SampleEvery is the pause between two measurements of the time from a change of the air to
	// the light; 0 for none.
	SampleEvery time.Duration
	SensorEvery time.Duration // how often a sensor is read; 0 for the usual 5 s
	// Wire: the benches have their MQTT client and nothing behind it. A process has room for a thousand.
	Wire bool
	// Username, with PasswordFile, and CAFile are those of the benches and the subscriber at the broker.
	Username, PasswordFile, CAFile string
	// BrokerPID is the process of the broker, if it runs on this computer; 0 for none. The report has its cost.
	BrokerPID int
	Seed      uint64
	Log       *slog.Logger
	Version   string
}

// beginAtOnce is how many benches start or stop at the same time.
const beginAtOnce = 8

// RunPlant runs a plant of simulated benches against one broker. Each bench has the real
// service, its own data folder, and instruments on real interfaces. A subscriber measures what
// it receives. RunPlant ends after its time or with the context, whichever is first, and leaves
// nothing behind. The error says what failed.
func RunPlant(ctx context.Context, o PlantOptions) (report PlantReport, err error) {
	dir, err := os.MkdirTemp("", "potlifed-plant-")
	if err != nil {
		return report, fmt.Errorf("plant: a temporary folder: %w", err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	before := usageNow()
	subscriber, err := newSubscriber(o)
	if err != nil {
		return report, fmt.Errorf("plant: %w", err)
	}
	defer subscriber.close()
	if o.Wire {
		return runWire(ctx, o, subscriber, before)
	}
	p := &plant{PlantOptions: o, subscriber: subscriber, random: rand.New(rand.NewPCG(o.Seed, 3))}
	defer func() { err = errors.Join(err, p.stop()) }()
	if err := p.begin(ctx, dir); err != nil {
		return report, err
	}
	return p.measure(ctx, before)
}

type plant struct {
	PlantOptions
	subscriber *subscriber
	random     *rand.Rand
	benches    []*plantBench
}

// begin starts all benches and fills their presses.
func (p *plant) begin(ctx context.Context, dir string) error {
	for i := range p.Benches {
		b, err := newPlantBench(p.PlantOptions, dir, i+1)
		if err != nil {
			return fmt.Errorf("plant: %w", err)
		}
		p.benches = append(p.benches, b)
	}
	return p.each(func(b *plantBench) error { return b.begin(ctx) })
}

func (p *plant) stop() error { return p.each((*plantBench).stop) }

// each calls a function for every bench, several at a time.
func (p *plant) each(what func(*plantBench) error) error {
	var all sync.WaitGroup
	errs := make([]error, len(p.benches))
	room := make(chan struct{}, beginAtOnce)
	for i, b := range p.benches {
		room <- struct{}{}
		all.Go(func() {
			defer func() { <-room }()
			if err := what(b); err != nil {
				errs[i] = fmt.Errorf("%s: %w", b.id, err)
			}
		})
	}
	all.Wait()
	return errors.Join(errs...)
}

// measure lets people work for the time of the measurement, and then checks the result.
func (p *plant) measure(ctx context.Context, before usage) (PlantReport, error) {
	up, brokerUp := usageNow(), usageOf(p.BrokerPID)
	p.subscriber.begin()
	from := p.subscriber.traffic()
	working, cancel := context.WithTimeout(ctx, p.For)
	defer cancel()
	var people sync.WaitGroup
	failed := make(chan error, len(p.benches)+1)
	for i, b := range p.benches {
		random := rand.New(rand.NewPCG(p.Seed, uint64(100+i)))
		people.Go(func() {
			if err := b.work(working, random); err != nil && working.Err() == nil {
				failed <- fmt.Errorf("%s: %w", b.id, err)
			}
		})
	}
	var samples []time.Duration
	if p.SampleEvery > 0 {
		people.Go(func() {
			var err error
			if samples, err = p.sample(working); working.Err() == nil {
				failed <- err
			}
		})
	}
	people.Wait()
	close(failed)
	var errs []error
	for err := range failed {
		errs = append(errs, err)
	}
	r := PlantReport{Benches: len(p.benches), Latencies: samples}
	for _, b := range p.benches {
		r.Mixes += b.mixes
	}
	r.count(from, p.subscriber.traffic(), before, up, usageNow())
	r.countBroker(brokerUp, usageOf(p.BrokerPID))
	if ctx.Err() == nil {
		errs = append(errs, p.judge(ctx, &r))
	}
	p.subscriber.report(&r)
	return r, errors.Join(errs...)
}

// sample measures at one bench after the other how long it takes from a jump of the humidity in
// the sensor's file to the light at a subscriber. It goes on until ctx is done or a measurement
// fails; the error says which.
func (p *plant) sample(ctx context.Context) (all []time.Duration, err error) {
	for {
		b := p.benches[p.random.IntN(len(p.benches))]
		took, err := b.conditionToLight(ctx, p.subscriber, p.random)
		if err != nil {
			return all, err
		}
		all = append(all, took)
		if err := b.clock.Wait(ctx, p.SampleEvery); err != nil {
			return all, err
		}
	}
}

var quiet = slog.New(slog.NewTextHandler(io.Discard, nil))

// access returns how one connects to a broker of the plant.
func (o PlantOptions) access(url string) config.MQTT {
	return config.MQTT{URLs: []string{url}, Username: o.Username, PasswordFile: o.PasswordFile, CAFile: o.CAFile}
}
