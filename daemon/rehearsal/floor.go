package rehearsal

import (
	"context"
	"slices"
	"time"

	"potlifed/model/lifecycle"
)

// post is a press and what is printed on it.
type post struct {
	press, product string
	inks           []string // in turn
	cupG           float64  // the weight of its empty cup in g
	opensAt        time.Duration
	opensAfter     int // mixes that were loaded, in the whole shop
	// heeds returns whether somebody makes the next mix in time, by rounds.
	heeds func(round int) bool

	round  int
	looked string // the batch that somebody looked at when the light turned yellow
}

// posts returns the presses. On the first one, nobody reacts to the yellow light in every other
// round, which shows what happens then.
func posts() []*post {
	always := func(int) bool { return true }
	return []*post{
		{press: "press-1", product: "scales of rain gauges", inks: []string{"gauge-quick"}, cupG: smallCupG, heeds: func(round int) bool { return round%2 == 0 }},
		{press: "press-2", product: "dials of garden thermometers, black", inks: []string{"dial-satin"}, cupG: largeCupG, opensAt: 3 * time.Minute, opensAfter: 1, heeds: always},
		{press: "press-3", product: "dials of garden thermometers, red", inks: []string{"dial-bend", "dial-flat"}, cupG: largeCupG, opensAt: 50 * time.Minute, opensAfter: 3, heeds: always},
	}
}

// changeOver is how long before its low end a mix is replaced when somebody reacts to the light.
const changeOver = 3 * time.Minute

const (
	comesAfter = 8 * time.Second
	firstStir  = 4 * time.Second
	// comesBy is how long it takes until somebody comes to a yellow light, and sentFor to a red
	// one. In the time lapse both are long enough to see the light.
	comesBy = 3 * time.Minute
	sentFor = 4 * time.Minute
)

// run supplies the presses with ink until the context ends. first is the speed of the clock
// while the first mix is poured.
func (m *mixer) run(ctx context.Context, first float64) error {
	began := m.clock.Now().Mono
	m.floor = posts()
	m.clock.SetSpeed(first)
	m.story.tell("the mixer will be at the bench in %.0f seconds: time to open the page", comesAfter.Seconds())
	err := m.stockUp(ctx)
	if err == nil {
		err = m.clock.Wait(ctx, comesAfter)
	}
	if err == nil {
		j := m.floor[0].job(m, thinnerEarly)
		j.pace, j.stir = first, firstStir
		err = m.supply(ctx, m.floor[0], j, batch{})
	}
	look := time.NewTicker(50 * time.Millisecond)
	defer look.Stop()
	for err == nil {
		select {
		case <-ctx.Done():
		case <-m.feed.changed:
		case <-look.C:
		}
		for _, p := range m.floor {
			open := m.clock.Now().Mono-began >= p.opensAt && m.tally.loaded >= p.opensAfter
			if err == nil && open {
				err = m.attend(ctx, p)
			}
		}
		if err == nil {
			err = m.adopt(ctx)
		}
	}
	if ctx.Err() != nil {
		return nil
	}
	return err
}

// job returns the next mix for a press.
func (p *post) job(m *mixer, goesWrong mishap) job {
	return job{
		ink: p.inks[p.round%len(p.inks)], press: p.press, product: p.product, cupG: p.cupG,
		mishap: goesWrong, pace: min(m.speed, 10), stir: laterStir,
	}
}

// attend does what a press's light requires.
func (m *mixer) attend(ctx context.Context, p *post) error {
	if ctx.Err() != nil {
		return ctx.Err()
	}
	b, loaded := m.feed.find(func(b batch) bool { return b.on(p.press) })
	meaning, of := m.feed.light(p.press)
	switch {
	case !loaded:
		return m.supply(ctx, p, p.job(m, m.nextMishap(p)), batch{})
	case of != b.ID: // the stream is between the two
	case meaning == "do-not-print":
		return m.stop(ctx, p, b)
	case meaning == "soon" && b.Quality == "good" && b.EndsAt != nil:
		if p.looked != b.ID {
			return m.lookAt(ctx, p, b)
		}
		if p.heeds(p.round) && b.EndsAt.Low.Sub(m.clock.Now().Wall) <= changeOver {
			return m.supply(ctx, p, p.job(m, m.nextMishap(p)), b)
		}
	}
	return nil
}

// nextMishap returns the next mishap: the second press begins with too much hardener; later
// mishaps occur now and then.
func (m *mixer) nextMishap(p *post) mishap {
	if p.press == "press-2" && p.round == 0 || m.random.Float64() < 0.15 {
		return hardenerOver
	}
	return none
}

// supply makes a mix for a press and loads it, and replaces an old batch where there is one.
func (m *mixer) supply(ctx context.Context, p *post, j job, old batch) error {
	b, ok, err := m.mix(ctx, j)
	if err != nil || !ok {
		return err
	}
	if old.ID != "" {
		err := m.end(ctx, old, map[string]any{"outcome": lifecycle.UsedUp, "still_good": lifecycle.GoodYes, "left_g": 4}, "used up in time, and still good")
		if err != nil {
			return err
		}
	}
	return m.load(ctx, p, b)
}

func (m *mixer) load(ctx context.Context, p *post, b batch) error {
	_, err := m.api.change(ctx, map[string]any{"press": p.press, "looked": b.LookFirst}, "batches", b.ID, "load")
	if r, is := asProblem(err); is { // somebody was quicker, on the page
		m.story.tell("batch %s stays at the bench: %s", b.ID, r.Detail)
		return m.clock.Wait(ctx, time.Minute)
	}
	if err != nil {
		return err
	}
	m.tally.loaded++
	p.round++
	m.story.tell("batch %s is loaded on %s: %s", b.ID, p.press, p.product)
	m.await(ctx, seenWithin, func() bool {
		_, there := m.feed.find(func(x batch) bool { return x.ID == b.ID && x.on(p.press) })
		return there
	})
	return ctx.Err()
}

// lookAt makes somebody look at a batch whose light has turned yellow.
func (m *mixer) lookAt(ctx context.Context, p *post, b batch) error {
	p.looked = b.ID
	if err := m.clock.Wait(ctx, comesBy); err != nil {
		return err
	}
	if err := m.acknowledge(ctx, b.ID); err != nil {
		return err
	}
	_, err := m.api.change(ctx, nil, "batches", b.ID, "good")
	if r, is := asProblem(err); is {
		m.story.tell("batch %s: %s", b.ID, r.Detail)
		return nil
	}
	if err != nil {
		return err
	}
	plan := "the next mix will be made in time"
	if !p.heeds(p.round) {
		plan = "but nobody makes the next mix"
	}
	m.story.tell("somebody looks at batch %s on %s: it is still good; %s", b.ID, p.press, plan)
	return nil
}

// stop reacts to a red light: printing ends, somebody looks at the ink, and the batch is closed
// in any case.
func (m *mixer) stop(ctx context.Context, p *post, b batch) error {
	m.story.tell("%s stops printing at the red light, after %d prints", p.press, m.machines[p.press].total.Load())
	if err := m.clock.Wait(ctx, sentFor); err != nil {
		return err
	}
	if err := m.acknowledge(ctx, b.ID); err != nil {
		return err
	}
	outcome, words := map[string]any{"outcome": lifecycle.Discarded, "still_good": lifecycle.GoodYes}, "somebody looked, and it still flows, but it is not printed with any more: scrapped"
	if b.Risk != nil && m.random.Float64() < *b.Risk {
		outcome, words = map[string]any{"outcome": lifecycle.WentOff, "seen": lifecycle.SeenNow}, "somebody looked, and it has thickened: reported as gone off"
	}
	return m.end(ctx, b, outcome, words)
}

// end closes a batch.
func (m *mixer) end(ctx context.Context, b batch, outcome map[string]any, words string) error {
	_, err := m.api.change(ctx, outcome, "batches", b.ID, "close")
	if r, is := asProblem(err); is { // closed on the page meanwhile
		m.story.tell("batch %s: %s", b.ID, r.Detail)
		return nil
	}
	if err != nil {
		return err
	}
	m.tally.closed++
	m.story.tell("batch %s is closed: %s", b.ID, words)
	m.awaitGone(ctx, b.ID)
	return ctx.Err()
}

// acknowledge acknowledges the alarms about a batch.
func (m *mixer) acknowledge(ctx context.Context, id string) error {
	for _, name := range m.feed.alarmsOf(id) {
		_, err := m.api.change(ctx, nil, "alarms", name, id, "acknowledge")
		if _, is := asProblem(err); err != nil && !is {
			return err
		}
		if err == nil {
			m.story.tell("alarm %s of batch %s is acknowledged", name, id)
		}
	}
	return nil
}

// adopt finishes a mix that somebody has started on the page: only the simulated person can
// pour.
func (m *mixer) adopt(ctx context.Context) error {
	b, there := m.feed.find(func(b batch) bool { return b.State == "mixing" })
	if !there {
		return ctx.Err()
	}
	m.story.tell("batch %s was started on the page; the mixer pours it", b.ID)
	j := job{ink: b.Ink, press: b.For, cupG: largeCupG, pace: min(m.speed, 10), stir: laterStir}
	i := slices.IndexFunc(m.floor, func(p *post) bool { return p.press == b.For })
	if i >= 0 {
		j.cupG = m.floor[i].cupG
	}
	b, ok, err := m.guided(ctx, b, j)
	if err != nil || !ok || i < 0 {
		return err
	}
	return m.load(ctx, m.floor[i], b)
}
