package web

import (
	"context"
	"net/http"
	"reflect"

	"github.com/danielgtaylor/huma/v2"

	"potlifed/daemon/excerpt"
	"potlifed/daemon/outcomes"
	"potlifed/daemon/precision"
	"potlifed/daemon/request"
	"potlifed/daemon/view"
	"potlifed/daemon/words"
	"potlifed/model/learn"
)

// learning is what the ends of an ink's batches say about it.
type learning struct {
	Ink        string   `json:"ink" doc:"id of the ink"`
	Verdict    string   `json:"verdict" doc:"what the batches showed, in sentences"`
	Cautions   []string `json:"cautions" doc:"what to be careful with, in sentences"`
	Learned    []string `json:"learned" doc:"the parameters that the batches determine"`
	Assumed    []string `json:"assumed" doc:"the parameters that are still assumed"`
	LifeRatio  estimate `json:"life_ratio" doc:"pot life divided by that of the data sheet"`
	LRefH      estimate `json:"l_ref_h" doc:"pot life in h at 20 °C and 50 % relative humidity"`
	Moisture   estimate `json:"moisture_share" doc:"share of the pot life that moisture determines, 0 to 1"`
	Activation estimate `json:"activation_kj_mol" doc:"activation energy in kJ/mol"`
	Sigma      estimate `json:"sigma" doc:"spread from batch to batch, as the standard deviation of the logarithm of the pot life"`
	Ends       int      `json:"ends" doc:"number of batches whose end was seen"`
	Censored   int      `json:"censored" doc:"number of batches that were used up while still good"`
	Jars       int      `json:"jars" doc:"number of jars of tests that counted"`
	LeftOut    int      `json:"left_out" doc:"number of batches that could not be used"`
	// Rows and groups that people should look at.
	LeftOutRows []unusedBatch      `json:"left_out_rows" doc:"the batches that could not be used, and why"`
	Differences []learn.Difference `json:"differences" doc:"how groups of batches ended, the most unusual first, at most 20"`

	Lots learn.Lots `json:"lots" doc:"what the batches showed of the lots of ink and hardener; zeros where nothing"`

	Acceptable bool   `json:"acceptable" doc:"the result may be accepted"`
	WhyNot     string `json:"why_not,omitempty" doc:"why it may not be accepted; absent when it may"`
}

// estimate is one parameter; standard error and interval are absent where the batches
// do not determine it.
type estimate struct {
	Value    float64     `json:"value" doc:"the estimate"`
	SE       *float64    `json:"se,omitempty" doc:"standard error; absent where the batches do not determine the parameter"`
	Interval *[2]float64 `json:"interval_90,omitempty" doc:"lower and upper end of the 90 % interval; absent where the batches do not determine the parameter"`
	Learned  bool        `json:"learned" doc:"the batches say at least as much as was known before"`
}

type onInk struct {
	ID  string `path:"id" doc:"id of the ink"`
	Key string `header:"Idempotency-Key" doc:"a name of the client's own for this request, up to 200 visible ASCII characters; the same request under the same key within 24 hours is carried out only once"`
}

type inkByID struct {
	ID string `path:"id" doc:"id of the ink"`
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
		return &answer[learning]{learningOf(l, s.settings.Locale)}, nil
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
			p := problem(http.StatusConflict, "", err.Error())
			p.Text = s.settings.Locale.LearnRefusal(err)
			return nil, p
		}
		return s.do(ctx, accept, in.Key, apiPath("inks", in.ID, "accept-learned"), request.AcceptLearned{
			Ink: a.Ink, Sheet: a.Sheet, Life: a.Life, Verdict: s.settings.Locale.LearnVerdict(l.Result), Ends: a.Ends, Alive: a.Censored, Assumed: a.Assumed, Lots: a.Lots,
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
	return outcomes.Learned{}, problem(http.StatusNotFound, "", "there is no such ink in the configuration").Saying("no-material", "material", excerpt.Short(id))
}

func learningOf(l outcomes.Learned, in words.Locale) learning {
	told, assumed := l.Learned()
	out := learning{
		Ink: l.Ink, Verdict: in.LearnVerdict(l.Result), Cautions: orEmpty(in.LearnCautions(l.Result)), Learned: orEmpty(told), Assumed: orEmpty(assumed),
		LifeRatio: estimateOf(l.LifeRatio, precision.Share), LRefH: estimateOf(l.LRefH, precision.Hours),
		Moisture:   estimateOf(l.MoistureShare, precision.Share),
		Activation: estimateOf(l.ActivationKJPerMol, precision.KJPerMol), Sigma: estimateOf(l.Sigma, precision.Share),
		Ends: l.Ends, Censored: l.Censored, Jars: l.Jars, LeftOut: len(l.LeftOut), LeftOutRows: unused(l.LeftOut), Differences: differencesOf(l.Differences), Lots: lotsOf(l.Lots), Acceptable: true,
	}
	if _, err := l.Accept(l.Tests); err != nil {
		out.Acceptable, out.WhyNot = false, in.LearnRefusal(err)
	}
	return out
}

// unusedBatch is a batch that says nothing of the ink.
type unusedBatch learn.LeftOut

func unused(all []learn.LeftOut) []unusedBatch {
	rows := []unusedBatch{}
	for _, one := range all {
		rows = append(rows, unusedBatch(one))
	}
	return rows
}

// differencesOf returns the groups with their figures rounded.
func differencesOf(all []learn.Difference) []learn.Difference {
	rounded := []learn.Difference{}
	for _, d := range all {
		d.LifeRatio, d.LnSE = precision.Share(d.LifeRatio), precision.Share(d.LnSE)
		rounded = append(rounded, d)
	}
	return rounded
}

// lotsOf returns the lots with their figures rounded.
func lotsOf(l learn.Lots) learn.Lots {
	known := []learn.Lot{}
	for _, one := range l.Known {
		one.LifeRatio, one.LnSE, one.WithLife = precision.Share(one.LifeRatio), precision.Share(one.LnSE), precision.Share(one.WithLife)
		known = append(known, one)
	}
	return learn.Lots{InkLnSpread: precision.Share(l.InkLnSpread), HardenerLnSpread: precision.Share(l.HardenerLnSpread), Within: precision.Share(l.Within), Known: known}
}

// estimateOf returns an estimate with its figures rounded.
func estimateOf(e learn.Estimate, rounded func(float64) float64) estimate {
	out := estimate{Value: rounded(e.Value), SE: precision.Known(e.SE, rounded), Learned: e.Learned}
	if e.Interval != nil {
		out.Interval = &[2]float64{rounded(e.Interval[0]), rounded(e.Interval[1])}
	}
	return out
}
