// Package planning makes the answer to a question about a print run, for the command line and
// for HTTP, and says how long the mixes of such a run live.
package planning

import (
	"time"

	"potlifed/daemon/precision"
	"potlifed/model/air"
	"potlifed/model/cure"
	"potlifed/model/mix"
	"potlifed/model/plan"
)

// Answer is a plan as it is printed or sent. Hours count from the beginning of the first mix.
// The times are absent when that is not known.
type Answer struct {
	Prints        int        `json:"prints" doc:"prints to be made"`
	GramsPerPrint float64    `json:"grams_per_print" doc:"mass of mixed ink per print in g"`
	Mixes         []Mix      `json:"mixes" doc:"the mixes in the order in which they begin"`
	MixedG        float64    `json:"mixed_g" doc:"mass of all mixes in g"`
	PrintedG      float64    `json:"printed_g" doc:"mass that is printed, in g"`
	LeftG         float64    `json:"left_g" doc:"mass left over, in g"`
	LeftBecause   plan.Cause `json:"left_because" doc:"main cause of the left-over: nothing-left, residue (cannot be printed), life (pot life ends) or run (the run does not fill the cups)"`
	LeftForLifeG  float64    `json:"left_for_life_g" doc:"part of left_g that is left because pot life ends, in g"`
	FinishH       float64    `json:"finish_h" doc:"end of the run in h after the first mix begins"`
	FinishAt      *time.Time `json:"finish_at,omitempty" doc:"end of the run"`
	SpareH        float64    `json:"spare_h" doc:"least time in h between a mix's last print and the time to which it is safe"`
	WaitsH        float64    `json:"waits_h" doc:"time in h that presses wait for a mix"`
	Faster        []Other    `json:"faster" doc:"plans with more mixes that end earlier"`
	Assumed       []string   `json:"assumed" doc:"what the plan assumes, in sentences"`
}

// Mix is one mix of a plan.
type Mix struct {
	Number int `json:"number" doc:"number of the mix, from 1"`
	Press  int `json:"press" doc:"number of the press, from 1"`
	Prints int `json:"prints" doc:"prints made with the mix"`
	mix.Amounts
	TotalG     float64    `json:"total_g" doc:"mass of the mix in g"`
	LeftG      float64    `json:"left_g" doc:"mass left over, in g"`
	BeginH     float64    `json:"begin_h" doc:"begin of mixing in h after the first mix begins"`
	PrintFromH float64    `json:"print_from_h" doc:"first print in h after the first mix begins"`
	UsedUpH    float64    `json:"used_up_h" doc:"last print in h after the first mix begins"`
	LowH       float64    `json:"low_h" doc:"time to which the mix is safe, in h after the first mix begins: nine in ten last longer"`
	BeginAt    *time.Time `json:"begin_at,omitempty" doc:"begin of mixing"`
	PrintFrom  *time.Time `json:"print_from_at,omitempty" doc:"first print"`
	UsedUpAt   *time.Time `json:"used_up_at,omitempty" doc:"last print"`
	LowAt      *time.Time `json:"low_at,omitempty" doc:"time to which the mix is safe: nine in ten last longer"`
}

// Other is a plan with more mixes that ends earlier.
type Other struct {
	Mixes   int     `json:"mixes" doc:"number of mixes"`
	LeftG   float64 `json:"left_g" doc:"mass left over, in g"`
	FinishH float64 `json:"finish_h" doc:"end of the run in h after the first mix begins"`
}

// AnswerOf returns the answer for a plan, with its figures rounded. thinnerPct is in % of ink
// and hardener. start is when the first mix begins, nil when that is not known.
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
		Prints: run.Prints, GramsPerPrint: run.GramsPerPrint, MixedG: grams(p.MixedG), PrintedG: grams(p.PrintedG), LeftG: grams(p.LeftG),
		LeftBecause: p.Cause, LeftForLifeG: grams(p.LeftForLifeG),
		FinishH: hours(p.Finish), FinishAt: at(p.Finish), SpareH: hours(max(p.Spare, 0)), WaitsH: hours(p.Waits),
		Mixes: []Mix{}, Faster: []Other{}, Assumed: []string{},
	}
	for i, m := range p.Mixes {
		a := mix.Targets(m.SizeG/perInk, ratio, thinnerPct)
		answer.Mixes = append(answer.Mixes, Mix{
			Number: i + 1, Press: m.Press, Prints: m.Prints, TotalG: grams(m.SizeG), LeftG: grams(m.LeftG),
			Amounts: mix.Amounts{InkG: grams(a.InkG), HardenerG: grams(a.HardenerG), ThinnerG: grams(a.ThinnerG)},
			BeginH:  hours(m.Begun), PrintFromH: hours(m.PrintFrom), UsedUpH: hours(m.UsedUp), LowH: hours(m.LowAt),
			BeginAt: at(m.Begun), PrintFrom: at(m.PrintFrom), UsedUpAt: at(m.UsedUp), LowAt: at(m.LowAt),
		})
	}
	for _, f := range p.Faster {
		answer.Faster = append(answer.Faster, Other{f.Mixes, grams(f.LeftG), hours(f.Finish)})
	}
	return answer
}

// grams returns the mass in g of a mix that is not weighed yet, rounded.
func grams(g float64) float64 { return precision.Grams(g, 0) }

func hours(d time.Duration) float64 { return precision.Hours(d.Hours()) }

// longestDrift is the largest age of the air that is used. After a day the air of a room comes
// back to similar values, which the drift of the model does not.
const longestDrift = 24 * time.Hour

// LowFromNow returns a function. Its argument is how long after now a batch is mixed; its result
// is the low bound of that batch's life (see [cure.Ends]). now is the newest known air, so the
// later the batch is mixed, the older the air is. The age of the air is rounded up to a whole
// hour, which is on the safe side and limits the number of forecasts, and is at most a day.
func LowFromNow(fresh *cure.Ensemble, place cure.Place, now air.State) func(time.Duration) time.Duration {
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
