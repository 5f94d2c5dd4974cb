package rehearsal

import (
	"context"
	"time"

	"potlifed/devices/simulate"
	"potlifed/model/air"
)

// The phases of the weather, in a cycle: dry, then warm and humid air comes in, stays, and goes.
const (
	turnsAt    = 8 * time.Minute
	humidFrom  = 20 * time.Minute
	driesAt    = 75 * time.Minute
	dryFrom    = 105 * time.Minute
	comesRound = 150 * time.Minute

	weatherEvery = 10 * time.Second
)

// climates are the air of a room in dry and in humid weather. The mixing room lets in less of
// the weather than the press room.
var climates = map[string]struct{ dry, humid air.State }{
	mixing:  {air.State{TemperatureC: 20.5, HumidityPct: 42}, air.State{TemperatureC: 24, HumidityPct: 62}},
	presses: {air.State{TemperatureC: 21, HumidityPct: 40}, air.State{TemperatureC: 28, HumidityPct: 75}},
}

// airIn returns the air of a room after the given time since the beginning.
func airIn(room string, after time.Duration) air.State {
	c, share := climates[room], humidShare(after)
	return air.State{
		TemperatureC: c.dry.TemperatureC + share*(c.humid.TemperatureC-c.dry.TemperatureC),
		HumidityPct:  c.dry.HumidityPct + share*(c.humid.HumidityPct-c.dry.HumidityPct),
	}
}

// humidShare returns 0 in dry weather, 1 in humid weather, and linear values between.
func humidShare(after time.Duration) float64 {
	at := after % comesRound
	switch {
	case at < turnsAt:
		return 0
	case at < humidFrom:
		return (at - turnsAt).Seconds() / (humidFrom - turnsAt).Seconds()
	case at < driesAt:
		return 1
	case at < dryFrom:
		return 1 - (at-driesAt).Seconds()/(dryFrom-driesAt).Seconds()
	}
	return 0
}

// weather changes the air of the rooms.
type weather struct {
	rooms map[string]*simulate.Room
	clock *Paced
	story *story
	began time.Duration // on the monotonic clock
}

// airIn returns the present air of a room.
func (w *weather) airIn(room string) air.State { return airIn(room, w.clock.Now().Mono-w.began) }

func (w *weather) run(ctx context.Context) error {
	last := time.Duration(0)
	for {
		if err := w.clock.Wait(ctx, weatherEvery); err != nil {
			return nil
		}
		after := w.clock.Now().Mono - w.began
		for name, room := range w.rooms {
			if err := room.Set(airIn(name, after)); err != nil {
				return err
			}
		}
		w.tell(last, after)
		last = after
	}
}

// tell prints when the weather has changed since the last call.
func (w *weather) tell(last, now time.Duration) {
	dry, humid := climates[presses].dry, climates[presses].humid
	for _, change := range []struct {
		at   time.Duration
		text string
		air  air.State
	}{
		{turnsAt, "the weather turns: warm and humid air moves in; the press room is still at %.0f °C and %.0f %%", dry},
		{humidFrom, "it is warm and humid now: %.0f °C and %.0f %% in the press room", humid},
		{driesAt, "the weather turns again: dry air comes in; the press room is still at %.0f °C and %.0f %%", humid},
		{dryFrom, "it is dry again: %.0f °C and %.0f %% in the press room", dry},
	} {
		if last%comesRound < change.at && now%comesRound >= change.at {
			w.story.tell(change.text, change.air.TemperatureC, change.air.HumidityPct)
		}
	}
}
