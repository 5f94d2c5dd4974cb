package web

import (
	"context"
	"net/http"
	"reflect"

	"github.com/danielgtaylor/huma/v2"

	"potlifed/daemon/outcomes"
	"potlifed/daemon/request"
	"potlifed/daemon/view"
)

// learning is what the ends of an ink's batches say about it.
type learning struct {
	Ink        string   `json:"ink"`
	Verdict    string   `json:"verdict"`
	Cautions   []string `json:"cautions"`
	Learned    []string `json:"learned" doc:"what the batches told"`
	Assumed    []string `json:"assumed" doc:"what is still as before"`
	LifeRatio  estimate `json:"life_ratio" doc:"the life over what the data sheet says"`
	LRefH      estimate `json:"l_ref_h"`
	Moisture   estimate `json:"moisture_share"`
	Activation estimate `json:"activation_kj_mol"`
	Sigma      estimate `json:"sigma"`
	Ends       int      `json:"ends"`
	Censored   int      `json:"censored"`
	LeftOut    int      `json:"left_out"`
	Acceptable bool     `json:"acceptable"`
	WhyNot     string   `json:"why_not,omitempty"`
}

// estimate is one parameter; standard error and interval are absent where the batches
// do not determine it.
type estimate struct {
	Value    float64     `json:"value"`
	SE       *float64    `json:"se,omitempty"`
	Interval *[2]float64 `json:"interval_90,omitempty"`
	Learned  bool        `json:"learned" doc:"the batches tell at least as much as was known before"`
}

type onInk struct {
	ID  string `path:"id"`
	Key string `header:"Idempotency-Key" doc:"a repetition within a day gets the same answer"`
}

type inkByID struct {
	ID string `path:"id"`
}

// inks registers what a shop learns of its inks. The fit is made by the program from
// its own journal when somebody asks; what takes effect is never read from a request.
func (s *Server) inks(api huma.API) {
	huma.Register(api, huma.Operation{
		OperationID: "learning", Method: http.MethodGet, Path: base + "inks/{id}/learning",
		Summary: "What the ends of an ink's batches say about it", Errors: []int{http.StatusNotFound, http.StatusServiceUnavailable},
	}, func(ctx context.Context, in *inkByID) (*answer[learning], error) {
		l, err := s.learned(ctx, in.ID)
		if err != nil {
			return nil, err
		}
		return &answer[learning]{learningOf(l)}, nil
	})
	accepting, _ := request.Find(request.AcceptLearned{}.Verb())
	accept := operation(api, accepting.Verb, base+accepting.Path, accepting.Summary, http.StatusOK, reflect.TypeFor[view.Ink]())
	huma.Register(api, accept, func(ctx context.Context, in *onInk) (*changed, error) {
		l, err := s.learned(ctx, in.ID)
		if err != nil {
			return nil, err
		}
		a, err := l.Accept(l.Tests)
		if err != nil {
			return nil, problem(http.StatusConflict, "", err.Error())
		}
		return s.do(ctx, accept, in.Key, apiPath("inks", in.ID, "accept-learned"), request.AcceptLearned{
			Ink: a.Ink, Sheet: a.Sheet, Life: a.Life, Verdict: a.Verdict, Ends: a.Ends, Alive: a.Censored, Assumed: a.Assumed,
		})
	})
	revoking, _ := request.Find(request.RevokeLearned{}.Verb())
	revoke := operation(api, revoking.Verb, base+revoking.Path, revoking.Summary, http.StatusOK, reflect.TypeFor[view.Ink]())
	huma.Register(api, revoke, func(ctx context.Context, in *onInk) (*changed, error) {
		return s.do(ctx, revoke, in.Key, apiPath("inks", in.ID, "revoke-learned"), request.RevokeLearned{Ink: in.ID})
	})
}

func (s *Server) learned(ctx context.Context, id string) (outcomes.Learned, error) {
	all, err := s.settings.Learn(ctx)
	if err != nil {
		return outcomes.Learned{}, s.unread(ctx, err)
	}
	for _, l := range all {
		if l.Ink == id {
			return l, nil
		}
	}
	return outcomes.Learned{}, problem(http.StatusNotFound, "", "there is no such ink in the configuration")
}

func learningOf(l outcomes.Learned) learning {
	told, assumed := l.Learned()
	out := learning{
		Ink: l.Ink, Verdict: l.Verdict(), Cautions: orEmpty(l.Cautions()), Learned: orEmpty(told), Assumed: orEmpty(assumed),
		LifeRatio: estimate(l.LifeRatio), LRefH: estimate(l.LRefH), Moisture: estimate(l.MoistureShare),
		Activation: estimate(l.ActivationKJPerMol), Sigma: estimate(l.Sigma),
		Ends: l.Ends, Censored: l.Censored, LeftOut: len(l.LeftOut), Acceptable: true,
	}
	if _, err := l.Accept(l.Tests); err != nil {
		out.Acceptable, out.WhyNot = false, err.Error()
	}
	return out
}
