package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"

	"github.com/danielgtaylor/huma/v2"

	"potlifed/daemon/excerpt"
	"potlifed/daemon/planning"
	"potlifed/daemon/view"
	"potlifed/model/cure"
	"potlifed/model/mix"
	"potlifed/model/plan"
)

type planQuery struct {
	Ink           string  `query:"ink" required:"true" doc:"id of the ink"`
	Press         string  `query:"press" required:"true" doc:"id of the press whose cup is used and in whose air it is"`
	Presses       int     `query:"presses" minimum:"1" maximum:"100" default:"1" doc:"number of presses like it that print"`
	Prints        int     `query:"prints" required:"true" minimum:"1" maximum:"100000000" doc:"number of prints"`
	GramsPerPrint float64 `query:"grams_per_print" required:"true" exclusiveMinimum:"0" maximum:"1000" doc:"mass of mixed ink per print in g"`
	PrintsPerHour float64 `query:"prints_per_hour" required:"true" exclusiveMinimum:"0" maximum:"100000" doc:"prints per hour of each press"`
	ResidueG      float64 `query:"residue_g" minimum:"0" maximum:"10000" default:"0" doc:"mass of each mix that cannot be printed, in g"`
	ThinnerPct    float64 `query:"thinner_pct" minimum:"-1" maximum:"100" default:"-1" doc:"thinner in % of ink and hardener together; -1, the default, for the ink's start for dark colours"`
}

func (s *Server) plans(api huma.API) {
	huma.Register(api, huma.Operation{
		OperationID: "plan", Method: http.MethodGet, Path: base + "plan",
		Summary: "How many mixes for a print run, how big, begun when, if it begins now",
		Errors:  []int{http.StatusNotFound, http.StatusConflict},
	}, s.plan)
}

// plan answers with a plan for a run that begins now. It assumes the present air of the press's zone, what holds
// for new batches of the ink, and the press's cup. Each mix is used up before the low bound of its pot life.
func (s *Server) plan(_ context.Context, in *planQuery) (*answer[planning.Answer], error) {
	snap := s.bench.Snapshot()
	i := slices.IndexFunc(snap.Inks, func(k view.Ink) bool { return k.ID == in.Ink })
	p := slices.IndexFunc(snap.Presses, func(p view.Press) bool { return p.ID == in.Press })
	if i < 0 || p < 0 {
		return nil, problem(http.StatusNotFound, "", fmt.Sprintf("there is no ink %q or no press %q", excerpt.Short(in.Ink), excerpt.Short(in.Press)))
	}
	ink, press := snap.Inks[i], snap.Presses[p]
	z := slices.IndexFunc(snap.Air, func(a view.Air) bool { return a.Zone == press.Zone })
	if z < 0 || snap.Air[z].Measured == nil {
		return nil, problem(http.StatusConflict, "", fmt.Sprintf("the air of zone %q was never measured", press.Zone)).Saying("air-unmeasured", "zone", press.Zone)
	}
	now := *snap.Air[z].Measured
	thinner := in.ThinnerPct
	if thinner < 0 {
		thinner = ink.ThinnerDark
	}
	perInk := mix.Targets(1, ink.Ratio, thinner).TotalG()
	run := plan.Run{
		Prints: in.Prints, GramsPerPrint: in.GramsPerPrint, Presses: in.Presses, PrintsPerHour: in.PrintsPerHour,
		CupMinimumG: press.InkMinimumG * perInk, CupMaximumG: press.FillMaximumG, ResidueG: in.ResidueG,
		MixingTakes: snap.MixingTakes, Rest: ink.Rest,
		Low: planning.LowFromNow(cure.New(ink.Life, snap.Air[z].Accuracy, 0, now), press.Place, now),
	}
	planned, err := plan.For(run)
	switch {
	case errors.Is(err, plan.ErrImpossible):
		return nil, problem(http.StatusConflict, "", err.Error())
	case err != nil:
		return nil, problem(http.StatusUnprocessableEntity, "", err.Error())
	}
	out := planning.AnswerOf(run, planned, ink.Ratio, thinner, &snap.At)
	out.Assumed = append(out.Assumed, s.settings.Locale.Say("assumes.air-drifts", "zone", press.Zone))
	if ink.Assumed != "" {
		out.Assumed = append(out.Assumed, ink.Assumed)
	}
	return &answer[planning.Answer]{out}, nil
}
