package rehearsal

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"potlifed/devices/simulate"
)

// mixer is the person at the bench. The person pours at the simulated scale, and learns
// everything else from the API and its stream, as any client would.
type mixer struct {
	api      *api
	feed     *feed
	scale    *simulate.Scale
	clock    *Paced
	story    *story
	random   *rand.Rand
	floor    []*post
	machines map[string]*machine // by press

	speed   float64 // of the time lapse
	pouring float64 // while the present mix is poured
	baseG   float64 // the reading when the last step was confirmed, in g
	tally   tally
}

// tally counts what was done.
type tally struct{ made, loaded, closed, refused int }

// mishap is something that goes wrong in a mix.
type mishap int

const (
	none         mishap = iota
	thinnerEarly        // the thinner step is tried before the hardener is stirred in
	hardenerOver        // a fifth too much
)

// job is a mix to be made.
type job struct {
	ink, press, product string
	cupG                float64 // the weight of the cup in g
	mishap              mishap
	pace                float64       // the speed of the clock while it is poured
	stir                time.Duration // how long each stir takes
}

// How a person pours: g per second by part, and the relative error.
var pourRate = map[string]float64{"ink": 10, "hardener": 8, "thinner": 4}

const (
	aimG         = 0.15
	aimShare     = 0.005
	laterStir    = 45 * time.Second
	mostRefusals = 20
)

// mix makes a mix and returns it. ok is false when there was no mix in the end; the reason was
// printed.
func (m *mixer) mix(ctx context.Context, j job) (b batch, ok bool, err error) {
	b, err = m.api.change(ctx, map[string]any{"scale": scaleName, "ink": j.ink, "press": j.press}, "batches")
	if r, is := asProblem(err); is {
		m.story.tell("the bench does not start a mix of %s: %s", j.ink, r.Detail)
		return b, false, m.clock.Wait(ctx, time.Minute)
	}
	if err != nil {
		return b, false, err
	}
	m.story.tell("a mix of %s is started for %s, %s: batch %s", j.ink, j.press, j.product, b.ID)
	return m.guided(ctx, b, j)
}

// guided goes through the steps of a guided mix from any step: the mix may have been started on
// the page, and any step confirmed there.
func (m *mixer) guided(ctx context.Context, b batch, j job) (batch, bool, error) {
	m.pouring, m.baseG = j.pace, m.scale.Grams()
	m.clock.SetSpeed(j.pace)
	defer m.clock.SetSpeed(m.speed)
	defer m.scale.Lift()
	for refusals := 0; b.State == "mixing"; {
		next, err := m.step(ctx, b, &j)
		if r, is := asProblem(err); is {
			if refusals++; refusals > mostRefusals {
				return b, false, m.giveUp(ctx, b)
			}
			m.story.tell("batch %s: not now: %s", b.ID, r.Detail)
			if err := m.clock.Wait(ctx, time.Second); err != nil {
				return b, false, err
			}
			next, err = m.api.batch(ctx, b.ID)
		}
		if err != nil {
			return b, false, err
		}
		if next.waitsFor() != b.waitsFor() || len(next.Components) != len(b.Components) {
			m.baseG = m.scale.Grams()
		}
		b = next
	}
	if b.State == "closed" {
		m.story.tell("batch %s was given up on the page", b.ID)
		m.awaitGone(ctx, b.ID)
		return b, false, ctx.Err()
	}
	m.tally.made++
	return b, true, nil
}

func (m *mixer) giveUp(ctx context.Context, b batch) error {
	m.story.tell("batch %s: the mixer gives up", b.ID)
	if _, err := m.api.change(ctx, nil, "batches", b.ID, "abandon"); err != nil {
		return err
	}
	m.awaitGone(ctx, b.ID)
	return ctx.Err()
}

// step does what the mix waits for and confirms it.
func (m *mixer) step(ctx context.Context, b batch, j *job) (batch, error) {
	switch step := b.waitsFor(); step {
	case "cup":
		if m.scale.Grams() < j.cupG/2 {
			m.scale.Put(j.cupG + 0.2*m.random.NormFloat64())
		}
		m.comeToRest(ctx)
		m.story.tell("batch %s: a cup on the scale, %.1f g", b.ID, m.scale.Grams())
		return m.confirm(ctx, b, step, "")
	case "ink", "hardener", "thinner":
		return m.pour(ctx, b, j)
	case "stir-hardener", "stir-thinner":
		if j.mishap == thinnerEarly && step == "stir-hardener" {
			j.mishap = none
			if err := m.askForThinner(ctx, b); err != nil {
				return b, err
			}
		}
		return m.stir(ctx, b, j.stir)
	default:
		return b, fmt.Errorf("batch %s waits for step %q, which the mixer does not know", b.ID, step)
	}
}

// confirm confirms a step. can is the can that a pour came from, where it is known.
func (m *mixer) confirm(ctx context.Context, b batch, step, can string) (batch, error) {
	body := map[string]any{"step": step}
	if can != "" {
		body["can"] = can
	}
	return m.api.change(ctx, body, "batches", b.ID, "confirm")
}

// pour pours what is missing of the next part, as exactly as a person can.
func (m *mixer) pour(ctx context.Context, b batch, j *job) (batch, error) {
	part, asked := b.nextPour()
	can, err := m.canFor(ctx, b, j.stir)
	if err != nil {
		return b, err
	}
	if missing := asked - (m.scale.Grams() - m.baseG); missing > 0 {
		aim := missing + m.random.NormFloat64()*min(aimG, aimShare*asked+divisionG/4)
		switch {
		case part == "ink": // less than the cup needs would have to be made up for
			aim += 2 * aimG
		case part == "hardener" && j.mishap == hardenerOver:
			j.mishap = none
			aim += asked / 5
		}
		if err := m.scale.Pour(ctx, max(aim, 2*divisionG), pourRate[part]*m.pouring); err != nil {
			return b, err
		}
	}
	m.comeToRest(ctx)
	poured := m.scale.Grams() - m.baseG
	next, err := m.confirm(ctx, b, b.waitsFor(), can)
	if err != nil {
		return next, err
	}
	m.story.tell("batch %s: %.1f g of %s poured, %.1f g were asked for", b.ID, poured, part, asked)
	if next.waitsFor() == b.waitsFor() {
		part, grams := next.nextPour()
		m.story.tell("batch %s: that is out of tolerance, and the guide asks for %.1f g more %s to put it right", b.ID, grams, part)
	}
	return next, nil
}

// lapse lets time pass without pouring, in the time lapse after the first mix.
func (m *mixer) lapse(ctx context.Context, takes time.Duration) error {
	if m.pouring > 1 {
		m.clock.SetSpeed(m.speed)
	}
	defer m.clock.SetSpeed(m.pouring)
	return m.clock.Wait(ctx, takes)
}

// stir stirs the mix.
func (m *mixer) stir(ctx context.Context, b batch, takes time.Duration) (batch, error) {
	if err := m.lapse(ctx, takes); err != nil {
		return b, err
	}
	m.comeToRest(ctx)
	next, err := m.confirm(ctx, b, b.waitsFor(), "")
	if err == nil {
		m.story.tell("batch %s: %s stirred in", b.ID, b.waitsFor()[len("stir-"):])
	}
	return next, err
}

// askForThinner tries the thinner step before the hardener is stirred in, which the guide must
// refuse.
func (m *mixer) askForThinner(ctx context.Context, b batch) error {
	_, err := m.confirm(ctx, b, "thinner", "")
	r, is := asProblem(err)
	switch {
	case is:
		m.tally.refused++
		m.story.tell("batch %s: the thinner is asked for too early and refused: %s", b.ID, r.Detail)
		return nil
	case err != nil:
		return err
	}
	return errors.New("the guide took the thinner before the hardener was stirred in")
}

// restWithin is how long the mixer waits for the scale to settle, in real time: the scale
// settles in real time too. A confirmation that comes too early is refused, and tried again.
const restWithin = 3 * time.Second

// comeToRest waits until the stream shows the weight on the scale, settled.
func (m *mixer) comeToRest(ctx context.Context) {
	m.await(ctx, restWithin, func() bool {
		shown, still := m.feed.weight()
		return still && math.Abs(shown-m.scale.Grams()) <= 2*divisionG
	})
}

// seenWithin is how long the mixer waits until the stream shows its own change.
const seenWithin = 5 * time.Second

// awaitGone waits until the stream shows that a batch is not open any more.
func (m *mixer) awaitGone(ctx context.Context, id string) {
	m.await(ctx, seenWithin, func() bool {
		_, there := m.feed.find(func(b batch) bool { return b.ID == id })
		return !there
	})
}

// await waits until the stream meets a condition, for a limited real time.
func (m *mixer) await(ctx context.Context, within time.Duration, shows func() bool) bool {
	ctx, cancel := context.WithTimeout(ctx, within)
	defer cancel()
	for !shows() {
		select {
		case <-ctx.Done():
			return false
		case <-m.feed.changed:
		}
	}
	return true
}
