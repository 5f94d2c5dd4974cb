// Package planning says a plan for a print run as it goes out, on the command line and
// over HTTP, and how long the mixes of such a run live.
package planning

import (
	"time"

	"potlifed/model/air"
	"potlifed/model/cure"
	"potlifed/model/mix"
	"potlifed/model/plan"
)

// Answer is a plan as it goes out. Hours count from the beginning of the first mix; the
// times are there when that is known.
type Answer struct {
	Prints        int        `json:"prints"`
	GramsPerPrint float64    `json:"grams_per_print"`
	Mixes         []Mix      `json:"mixes"`
	MixedG        float64    `json:"mixed_g"`
	PrintedG      float64    `json:"printed_g"`
	LeftG         float64    `json:"left_g"`
	LeftBecause   plan.Cause `json:"left_because"`
	LeftForLifeG  float64    `json:"left_for_life_g"` // of left_g, what would not be left if a mix lived for ever
	FinishH       float64    `json:"finish_h"`
	FinishAt      *time.Time `json:"finish_at,omitempty"`
	SpareH        float64    `json:"spare_h"` // the least between a mix's last print and its low bound
	WaitsH        float64    `json:"waits_h"` // presses standing still for the bench
	Faster        []Other    `json:"faster"`
	Assumed       []string   `json:"assumed"`
}

// Mix is one mix of a plan.
type Mix struct {
	Number int `json:"number"`
	Press  int `json:"press"`
	Prints int `json:"prints"`
	mix.Amounts
	TotalG     float64    `json:"total_g"`
	LeftG      float64    `json:"left_g"`
	BeginH     float64    `json:"begin_h"`
	PrintFromH float64    `json:"print_from_h"`
	UsedUpH    float64    `json:"used_up_h"`
	LowH       float64    `json:"low_h"`
	BeginAt    *time.Time `json:"begin_at,omitempty"`
	PrintFrom  *time.Time `json:"print_from_at,omitempty"`
	UsedUpAt   *time.Time `json:"used_up_at,omitempty"`
	LowAt      *time.Time `json:"low_at,omitempty"`
}

// Other is a plan of more mixes that is done earlier.
type Other struct {
	Mixes   int     `json:"mixes"`
	LeftG   float64 `json:"left_g"`
	FinishH float64 `json:"finish_h"`
}

// AnswerOf writes a plan out for an ink mixed at the given ratio and thinner, in per cent
// of ink and hardener. start is when the first mix begins, nil when that is open.
func AnswerOf(run plan.Run, p plan.Plan, ratio mix.Ratio, thinnerPct float64, start *time.Time) Answer {
	at := func(d time.Duration) *time.Time {
		if start == nil {
			return nil
		}
		t := start.Add(d).Round(time.Second)
		return &t
	}
	perInk := mix.Targets(1, ratio, thinnerPct).TotalG()
	answer := Answer{
		Prints: run.Prints, GramsPerPrint: run.GramsPerPrint, MixedG: p.MixedG, PrintedG: p.PrintedG, LeftG: p.LeftG,
		LeftBecause: p.Cause, LeftForLifeG: p.LeftForLifeG,
		FinishH: p.Finish.Hours(), FinishAt: at(p.Finish), SpareH: max(p.Spare, 0).Hours(), WaitsH: p.Waits.Hours(),
		Mixes: []Mix{}, Faster: []Other{}, Assumed: []string{},
	}
	for i, m := range p.Mixes {
		answer.Mixes = append(answer.Mixes, Mix{
			Number: i + 1, Press: m.Press, Prints: m.Prints, Amounts: mix.Targets(m.SizeG/perInk, ratio, thinnerPct), TotalG: m.SizeG, LeftG: m.LeftG,
			BeginH: m.Begun.Hours(), PrintFromH: m.PrintFrom.Hours(), UsedUpH: m.UsedUp.Hours(), LowH: m.LowAt.Hours(),
			BeginAt: at(m.Begun), PrintFrom: at(m.PrintFrom), UsedUpAt: at(m.UsedUp), LowAt: at(m.LowAt),
		})
	}
	for _, f := range p.Faster {
		answer.Faster = append(answer.Faster, Other{f.Mixes, f.LeftG, f.Finish.Hours()})
	}
	return answer
}

// longestDrift is the age past which the air of now is taken to say no less about the air then: a room comes back to itself from day to
// day, and the model's drift does not.
const longestDrift = 24 * time.Hour

// LowFromNow is the low bound of fresh batches that are begun later in air that was last known now. It goes in steps of an hour, each
// with the air's age at its end, and so errs to the short side; that keeps it to a few forecasts however long the run.
func LowFromNow(fresh *cure.Cloud, place cure.Place, now air.State) func(time.Duration) time.Duration {
	known := map[time.Duration]time.Duration{}
	return func(begun time.Duration) time.Duration {
		held := min((begun + time.Hour - 1).Truncate(time.Hour), longestDrift)
		low, ok := known[held]
		if !ok {
			low = fresh.Forecast(place, now, held).Low
			known[held] = low
		}
		return low
	}
}
