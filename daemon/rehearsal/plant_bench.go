package rehearsal

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"potlifed/daemon"
	"potlifed/daemon/clock"
	"potlifed/daemon/config"
	"potlifed/devices/simulate"
	"potlifed/model/air"
	"potlifed/model/lifecycle"
)

// plantConfiguration is a typical bench: one scale, two sensors, three presses with a
// light each, one of which reads all forms.
const plantConfiguration = `bench: %[1]s
clock: assume
data_dir: %[2]q
http: {listen: "127.0.0.1:0"}
mqtt: {url: %[3]q, topic_prefix: %[4]q%[9]s}
scales:
  - {id: ` + scaleName + `, port: %[5]q, division_g: 0.1, capacity_g: 2000, zone: ` + mixing + `}
sensors:
  - {id: mixing-room-air, zone: ` + mixing + `, path: %[6]q, every: %[8]s}
  - {id: press-room-air, zone: ` + presses + `, path: %[7]q, every: %[8]s}
cups:
  - {id: cup-110, mouth_mm: 110, ink_minimum_g: 85, fill_maximum_g: 150, empty_g: 18}
presses:
  - {id: press-1, zone: ` + presses + `, cup: cup-110}
  - {id: press-2, zone: ` + presses + `, cup: cup-110}
  - {id: press-3, zone: ` + presses + `, cup: cup-110}
lights:
  - {id: light-1, presses: [press-1]}
  - {id: light-2, presses: [press-2], reads: [json]}
  - {id: light-3, presses: [press-3], reads: [json]}
thinners: [{id: thinner-s}]
inks:
  - {id: dial-satin, hardener_ratio: "5:1", thinners: [thinner-s], thinner_pct: {min: 6, max: 14, dark: 7, light: 9}, pot_life: {shortest: 4h30m, longest: 5h30m}}
`

var (
	plantMild  = air.State{TemperatureC: 20, HumidityPct: 50}
	plantHumid = air.State{TemperatureC: 20, HumidityPct: 90}
)

// plantBench is one bench of a plant with the people at it.
type plantBench struct {
	PlantOptions
	id    string
	shop  config.Shop
	scale *simulate.Scale
	rooms map[string]*simulate.Room
	clock *Paced
	api   *api

	air   air.State // the air of the mixing room
	mixes int       // mixes that were made and loaded; only the goroutine of work uses it

	// The first mix and a measurement both use press-1.
	first sync.Mutex

	end   context.CancelFunc
	ended chan error
	ready bool // the scale and the service run
}

func newPlantBench(o PlantOptions, dir string, number int) (*plantBench, error) {
	b := &plantBench{PlantOptions: o, id: fmt.Sprintf("bench-%d", number), rooms: map[string]*simulate.Room{}, clock: NewPaced(1), air: plantMild}
	if b.SensorEvery == 0 {
		b.SensorEvery = 5 * time.Second
	}
	dir = filepath.Join(dir, b.id)
	if err := os.Mkdir(dir, 0o700); err != nil {
		return nil, err
	}
	var err error
	for _, room := range []string{mixing, presses} {
		if b.rooms[room], err = simulate.NewRoom(filepath.Join(dir, room), plantMild); err != nil {
			return nil, err
		}
	}
	// On the network, as behind a serial-to-network adapter: the serial library waits with
	// select, which knows no descriptor beyond 1023, and a plant in one process has more.
	b.scale, err = simulate.NewScale(simulate.ScaleOptions{
		TCP: true, Name: scaleName, DivisionG: divisionG, NoiseG: 0.02, Seed: o.Seed + uint64(number), Every: 100 * time.Millisecond,
	})
	if err != nil {
		return nil, err
	}
	text := fmt.Sprintf(plantConfiguration, b.id, filepath.Join(dir, "data"), o.Broker, o.Prefix, b.scale.Port(),
		b.rooms[mixing].Path(), b.rooms[presses].Path(), b.SensorEvery, o.accessText())
	if b.shop, err = config.Parse(b.id, []byte(text)); err != nil {
		return nil, errors.Join(err, b.scale.Close())
	}
	return b, nil
}

// accessText returns the keys with which a bench connects to its broker.
func (o PlantOptions) accessText() (text string) {
	for _, key := range [][2]string{{"username", o.Username}, {"password_file", o.PasswordFile}, {"ca_file", o.CAFile}} {
		if key[1] != "" {
			text += fmt.Sprintf(", %s: %q", key[0], key[1])
		}
	}
	return text
}

// begin starts the bench, waits until it is ready and fills its presses: with a fresh batch, an
// old one and a dead one.
func (b *plantBench) begin(ctx context.Context) error {
	running, end := context.WithCancel(context.WithoutCancel(ctx))
	b.end, b.ended, b.ready = end, make(chan error, 2), true
	system, err := clock.NewSystem(true)
	if err != nil {
		return err
	}
	reached := make(chan daemon.Addresses, 1)
	go func() { b.ended <- b.scale.Run(running) }()
	go func() {
		b.ended <- daemon.Run(running, daemon.Options{
			Shop: b.shop, Version: b.Version, Clock: system, Log: b.log(),
			Ready: func(a daemon.Addresses) { reached <- a },
		})
	}()
	select {
	case a := <-reached:
		b.api = newAPI("http://" + reachable(a.HTTP))
	case err := <-b.ended:
		b.ended <- err
		return fmt.Errorf("it did not start: %w", err)
	case <-ctx.Done():
		return ctx.Err()
	}
	if err := b.api.ready(ctx, time.Minute); err != nil {
		return err
	}
	for i, age := range []time.Duration{0, 3*time.Hour + 50*time.Minute, 10 * time.Hour} {
		if _, err := b.record(ctx, fmt.Sprintf("press-%d", i+1), age); err != nil {
			return err
		}
	}
	return nil
}

func (b *plantBench) log() *slog.Logger {
	if b.Log == nil {
		return quiet
	}
	return b.Log.With("bench", b.id)
}

// stop stops the service and then the instruments.
func (b *plantBench) stop() error {
	var errs []error
	if b.ready {
		b.end()
		errs = append(errs, <-b.ended, <-b.ended)
	}
	if b.api != nil {
		b.api.close()
	}
	return errors.Join(append(errs, b.scale.Close())...)
}

// record records a batch that was mixed the given time ago and loads it on a press. The batch
// that is there is closed.
func (b *plantBench) record(ctx context.Context, press string, age time.Duration) (id string, err error) {
	before, err := b.batches(ctx)
	if err != nil {
		return "", err
	}
	made, err := b.api.change(ctx, map[string]any{
		"ink": "dial-satin", "mixed_at": time.Now().Add(-age).UTC().Format(time.RFC3339Nano),
		"components": []map[string]any{{"part": "ink", "g": 90}, {"part": "hardener", "g": 18}, {"part": "thinner", "g": 8}},
	}, "batches")
	if err != nil {
		return "", fmt.Errorf("record a batch: %w", err)
	}
	return made.ID, b.load(ctx, made.ID, press, before)
}

func (b *plantBench) load(ctx context.Context, id, press string, before []batch) error {
	if _, err := b.api.change(ctx, map[string]any{"press": press, "replace": true, "looked": true}, "batches", id, "load"); err != nil {
		return fmt.Errorf("load %s: %w", id, err)
	}
	for _, old := range before {
		if old.on(press) {
			if _, err := b.api.change(ctx, map[string]any{"outcome": lifecycle.UsedUp, "still_good": lifecycle.GoodUnknown}, "batches", old.ID, "close"); err != nil {
				return fmt.Errorf("close %s: %w", old.ID, err)
			}
		}
	}
	return nil
}

func (b *plantBench) batches(ctx context.Context) ([]batch, error) {
	var list struct{ Batches []batch }
	return list.Batches, b.api.do(ctx, "GET", nil, &list, "batches")
}

// work makes mixes at random times, MixEvery apart on average, and lets the air of the rooms
// drift a little, until the context ends.
func (b *plantBench) work(ctx context.Context, random *rand.Rand) error {
	next := time.Duration(random.ExpFloat64() * float64(b.MixEvery))
	press := random.IntN(3)
	began := b.clock.Now().Mono
	for n := 1; ; n++ {
		if err := b.clock.Wait(ctx, min(weatherEvery, max(next-(b.clock.Now().Mono-began), 0))); err != nil {
			return nil
		}
		if err := b.drift(random); err != nil {
			return err
		}
		if b.clock.Now().Mono-began < next {
			continue
		}
		if err := b.mix(ctx, fmt.Sprintf("press-%d", press%3+1), random); err != nil {
			return err
		}
		b.mixes++
		press++
		next += time.Duration(random.ExpFloat64() * float64(b.MixEvery))
	}
}

// drift changes the air of the mixing room as a room's air changes in ten seconds: about two per
// cent of humidity in an hour, and slowly back. The measurements change the air of the press
// room.
func (b *plantBench) drift(random *rand.Rand) error {
	b.air.TemperatureC += 0.02*random.NormFloat64() - 0.002*(b.air.TemperatureC-plantMild.TemperatureC)
	b.air.HumidityPct += 0.1*random.NormFloat64() - 0.002*(b.air.HumidityPct-plantMild.HumidityPct)
	return b.rooms[mixing].Set(b.air)
}

func (b *plantBench) mix(ctx context.Context, press string, random *rand.Rand) error {
	b.first.Lock()
	defer b.first.Unlock()
	if b.Recorded {
		_, err := b.record(ctx, press, 0)
		return err
	}
	return b.guided(ctx, press, random)
}

// guided makes a mix at the scale as the demo's mixer does, at natural speed.
func (b *plantBench) guided(ctx context.Context, press string, random *rand.Rand) error {
	before, err := b.batches(ctx)
	if err != nil {
		return err
	}
	silent := newStory(b.clock, io.Discard)
	m := &mixer{api: b.api, feed: newFeed(b.api, silent), scale: b.scale, clock: b.clock, story: silent, random: random, speed: 1}
	following, stop := context.WithCancel(ctx)
	followed := make(chan error, 1)
	go func() { followed <- m.feed.run(following) }()
	made, ok, err := m.mix(ctx, job{ink: "dial-satin", press: press, product: "dials of garden thermometers", cupG: largeCupG, pace: 1, stir: laterStir})
	stop()
	if err = errors.Join(err, <-followed); err != nil || !ok {
		return err
	}
	return b.load(ctx, made.ID, press, before)
}

// conditionToLight measures the time from a jump of the humidity, written to the press room's
// sensor, to the light at the subscriber, which turns from green to yellow.
func (b *plantBench) conditionToLight(ctx context.Context, h *subscriber, random *rand.Rand) (time.Duration, error) {
	b.first.Lock()
	defer b.first.Unlock()
	topic := strings.Join([]string{b.Prefix, b.id, "light", "light-1"}, "/")
	mark := h.now()
	if _, err := b.record(ctx, "press-1", 0); err != nil { // of an old one's life too much may be uncertain
		return 0, err
	}
	if _, err := h.await(ctx, topic, mark, "in-order"); err != nil {
		return 0, err
	}
	// At random between two readings of the sensor.
	if err := b.clock.Wait(ctx, rand.N(b.SensorEvery)); err != nil {
		return 0, err
	}
	mark = h.now()
	began := time.Now()
	if err := b.rooms[presses].Set(plantHumid); err != nil {
		return 0, err
	}
	at, err := h.await(ctx, topic, mark, "soon")
	return at.Sub(began), errors.Join(err, b.rooms[presses].Set(plantMild))
}
