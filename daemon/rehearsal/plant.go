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
)

// PlantOptions say what a plant is made of and how busy it is.
type PlantOptions struct {
	Benches int
	Broker  string        // mqtt://HOST:PORT, for all of them
	Prefix  string        // of the topics; the plant's subscriber reads everything under it
	For     time.Duration // how long is measured, in real time, once all benches are up
	// MixEvery is the mean time between two new batches at a bench. Three presses that use
	// a mix up in five hours need one in a hundred minutes.
	MixEvery time.Duration
	// Recorded: batches are told to the bench as mixed already, not poured at the scale,
	// which takes minutes.
	Recorded bool
	// SampleEvery is the pause between two samples of how long it takes from a change of
	// the air to the light; 0 for none.
	SampleEvery time.Duration
	SensorEvery time.Duration // how often a sensor is read; 0 for the usual 5 s
	Seed        uint64
	Log         *slog.Logger
	Version     string
}

// beginAtOnce bounds how many benches start or stop at a time: a plant's do not either.
const beginAtOnce = 8

// RunPlant runs a plant of simulated benches, each with the real service, its own data
// folder and instruments on real interfaces, against one broker; and a subscriber that
// measures what it hears. It ends with its time or the context, whichever is first, and
// leaves nothing behind.
func RunPlant(ctx context.Context, o PlantOptions) (report PlantReport, err error) {
	dir, err := os.MkdirTemp("", "potlifed-plant-")
	if err != nil {
		return report, fmt.Errorf("plant: a temporary folder: %w", err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	before := usageNow()
	hearer, err := newHearer(o.Broker, o.Prefix)
	if err != nil {
		return report, fmt.Errorf("plant: %w", err)
	}
	defer hearer.close()
	p := &plant{PlantOptions: o, hearer: hearer, random: rand.New(rand.NewPCG(o.Seed, 3))}
	defer func() { err = errors.Join(err, p.stop()) }()
	if err := p.begin(ctx, dir); err != nil {
		return report, err
	}
	return p.measure(ctx, before)
}

type plant struct {
	PlantOptions
	hearer  *hearer
	random  *rand.Rand
	benches []*plantBench
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

// each does something at every bench, several at a time.
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

// measure lets people work for the time that is measured, and then judges.
func (p *plant) measure(ctx context.Context, before usage) (PlantReport, error) {
	up := usageNow()
	from := p.hearer.traffic()
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
	r.count(from, p.hearer.traffic(), before, up, usageNow())
	if ctx.Err() == nil {
		errs = append(errs, p.judge(ctx, &r))
	}
	return r, errors.Join(errs...)
}

// sample measures, at one bench after the other, how long it takes from a jump of the
// humidity in the sensor's file to the light of a subscriber. It goes on until ctx is done
// or one cannot be measured; the error says which.
func (p *plant) sample(ctx context.Context) (all []time.Duration, err error) {
	for {
		b := p.benches[p.random.IntN(len(p.benches))]
		took, err := b.conditionToLight(ctx, p.hearer, p.random)
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
