// Package rehearsal runs the demo's shop: the service with simulated instruments on real
// interfaces, and simulated people. The scale writes bytes to a pseudo-terminal, the rooms are
// files as the kernel shows a sensor, the lights are MQTT clients, and the mixer uses the HTTP
// API and its stream. All of them use the service as any client would. Time runs faster between
// the pours.
package rehearsal

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"net"
	"sync"
	"time"

	"potlifed/daemon"
	"potlifed/model/air"
)

// Options say how a rehearsal runs.
type Options struct {
	Speed   float64       // of the time lapse, 1 or more
	First   float64       // of the clock while the first mix is poured; 0 for natural speed
	For     time.Duration // how long, in real time; 0 until the context ends
	Listen  string        // HOST:PORT of the page
	Seed    uint64        // the seed of random decisions
	Scale   string        // how the scale sends, one of ScaleShapes; empty for status-first
	Rejects Rejects       // how the share of rejected prints depends on air and ink; empty: it rises
	Out     io.Writer     // the story, one line for each event
	Log     *slog.Logger  // the log of the service
	// Version is the version of the program.
	Version string
	// Compute is as in the options of the service.
	Compute []string
}

// Run runs a rehearsal until its time is over or the context ends, and then removes everything
// that it made. The error says what failed.
func Run(ctx context.Context, o Options) (err error) {
	if o.For > 0 {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, o.For)
		defer cancel()
	}
	shop, err := openShop(o.Speed, o.Seed, cmp.Or(o.Scale, "status-first"))
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, shop.close()) }()
	configured, err := shop.configure(o.Listen)
	if err != nil {
		return err
	}
	clock := NewPaced(o.Speed)
	r := &rehearsal{Options: o, shop: shop, clock: clock, story: newStory(clock, o.Out)}

	// The service and the instruments outlive the people who use them.
	world, endWorld := context.WithCancel(context.WithoutCancel(ctx))
	defer endWorld()
	ended := make(chan error, 2) // of the instruments
	go func() { ended <- shop.scale.Run(world) }()
	go func() { ended <- shop.drive.Run(world) }()
	service, endService := context.WithCancel(world)
	defer endService()
	reached := make(chan daemon.Addresses, 1)
	serviceEnded := make(chan error, 1)
	go func() {
		serviceEnded <- daemon.Run(service, daemon.Options{
			Shop: configured, Version: o.Version, Clock: clock, Log: o.Log, TimeLapse: o.Speed, Compute: o.Compute,
			Ready: func(a daemon.Addresses) { reached <- a },
		})
	}()
	select {
	case a := <-reached:
		err = r.play(ctx, a, serviceEnded)
	case err = <-serviceEnded:
		serviceEnded <- nil // asked for below
	}
	endService()
	err = errors.Join(err, <-serviceEnded)
	endWorld()
	return errors.Join(err, <-ended, <-ended)
}

// rehearsal is a run with its parts.
type rehearsal struct {
	Options
	shop  *shop
	clock *Paced
	story *story
}

// readyWithin is how long the instruments and the broker may take to start.
const readyWithin = 15 * time.Second

// play lets the people work until the context ends, or until one of them or the service fails.
func (r *rehearsal) play(ctx context.Context, a daemon.Addresses, serviceEnded chan error) error {
	base := "http://" + reachable(a.HTTP)
	r.introduce(base, a.MQTT)
	api := newAPI(base)
	defer api.close()
	feed := newFeed(api, r.story)
	mixer := &mixer{
		api: api, feed: feed, scale: r.shop.scale, clock: r.clock, story: r.story, speed: r.Speed,
		random: rand.New(rand.NewPCG(r.Seed, 2)),
	}
	outside := &weather{rooms: r.shop.rooms, clock: r.clock, story: r.story, began: r.clock.Now().Mono}
	mixer.machines = map[string]*machine{}
	for i, p := range posts() {
		mixer.machines[p.press] = &machine{
			press: p.press, api: api, feed: feed, clock: r.clock, story: r.story, rejects: r.Rejects.shares(),
			air: func() air.State { return outside.airIn(presses) }, random: rand.New(rand.NewPCG(r.Seed, 10+uint64(i))),
		}
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	var people sync.WaitGroup
	failures := make(chan error, 1) // the first counts
	begin := func(part func(context.Context) error) {
		people.Go(func() {
			if err := part(ctx); err != nil {
				select {
				case failures <- err:
				default:
				}
			}
		})
	}
	for _, id := range []string{"light-1", "light-2", "light-3"} {
		begin((&lamp{id: id, broker: a.MQTT, clock: r.clock, story: r.story}).run)
	}
	begin(feed.run)
	begin(func(ctx context.Context) error {
		if err := api.ready(ctx, readyWithin); err != nil {
			if ctx.Err() != nil {
				return nil
			}
			return err
		}
		begin(outside.run)
		begin((&stirrer{drive: r.shop.drive, feed: feed, clock: r.clock, air: func() air.State { return outside.airIn(presses) }}).run)
		for _, press := range mixer.machines {
			begin(press.run)
		}
		return mixer.run(ctx, max(r.First, 1))
	})
	var failed error
	select {
	case <-ctx.Done(): // the time is over, or it was interrupted
	case failed = <-failures:
	case failed = <-r.story.broken: // nobody listens any more
	case err := <-serviceEnded:
		serviceEnded <- nil // asked for by the caller, too
		stop()
		people.Wait()
		return errors.Join(errors.New("the service has ended"), err)
	}
	stop()
	people.Wait()
	return errors.Join(failed, r.sumUp(ctx, api, mixer.tally))
}

// introduce prints the addresses and paths, the page first.
func (r *rehearsal) introduce(base, broker string) {
	r.story.line("the page is at %s/", base)
	host, port, _ := net.SplitHostPort(broker[len("mqtt://"):])
	r.story.line("MQTT: mosquitto_sub -h %s -p %s -v -t '%s/%s/#'; metrics: %s/metrics", host, port, prefix, benchName, base)
	if r.shop.scale.OnNetwork() {
		r.story.line("the scale speaks at %s: this system has no pseudo-terminal that we know", r.shop.scale.Port())
	} else {
		r.story.line("the scale speaks at the pseudo-terminal %s", r.shop.scale.Port())
	}
	r.story.line("everything here is simulated; the first mix is poured at natural speed, then an hour passes in %s", time.Duration(float64(time.Hour)/r.Speed).Round(time.Second))
	r.story.line("each line: the bench's time, seconds since the start, what happens")
}

// reachable returns an address that a browser on this computer can open.
func reachable(address string) string {
	host, port, err := net.SplitHostPort(address)
	if err != nil {
		return address
	}
	if ip := net.ParseIP(host); ip != nil && ip.IsUnspecified() {
		return net.JoinHostPort("127.0.0.1", port)
	}
	return address
}

// sumUp prints what was done. The service still runs, if it did not fail.
func (r *rehearsal) sumUp(ctx context.Context, api *api, t tally) error {
	events, err := api.events(context.WithoutCancel(ctx))
	if err != nil {
		return fmt.Errorf("count the events: %w", err)
	}
	gone := r.clock.Now().Wall.Sub(r.clock.began.Wall)
	r.story.tell("the end, after %s of the bench's time: %d batches made, %d loaded, %d closed; %d requests refused; %d events in the journal",
		inWords(gone), t.made, t.loaded, t.closed, t.refused, events)
	return nil
}
