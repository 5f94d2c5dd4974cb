package web

import (
	"context"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"potlifed/daemon/study"
	"potlifed/model/quality"
)

// Study says how rejects go with the conditions of prints. Its answers take seconds, not of the
// bench's loop. Errors are those of reading, or of the context.
type Study interface {
	Study(ctx context.Context, q study.Request) (study.Answer, error)
	Chart(ctx context.Context, q study.ChartRequest) (study.Chart, error)
}

type studyQuery struct {
	From     string  `query:"from" doc:"begin of the span, a time or a date of the shop's calendar; default: everything"`
	To       string  `query:"to" doc:"end of the span, which is not included; default: now"`
	Press    string  `query:"press" maxLength:"100" doc:"id of the press; default: all"`
	Kind     string  `query:"kind" maxLength:"100" doc:"id of the kind of defect; default: all"`
	Relevant float64 `query:"relevant_pct" minimum:"1" maximum:"1000" default:"25" doc:"increase between the driest and the most humid tenth of the prints that would matter, in %"`
	Model    string  `query:"model" enum:"poisson,logistic" default:"poisson" doc:"poisson: effects are ratios of rates; logistic: of odds"`
}

type chartQuery struct {
	From  string `query:"from" doc:"begin of the span, a time or a date of the shop's calendar; default: 31 days before its end"`
	To    string `query:"to" doc:"end of the span, which is not included; default: now"`
	Press string `query:"press" required:"true" maxLength:"100" doc:"id of the press"`
	Kind  string `query:"kind" maxLength:"100" doc:"id of the kind of defect; default: all kinds together"`
	By    string `query:"by" enum:"hour,batch,day" doc:"what a point counts; default: the finest with at least five rejects a point on average and at most 366 points"`
	Runs  bool   `query:"runs" doc:"judge runs rules (Nelson's tests 2 to 8) as well"`
}

func (s *Server) studies(api huma.API) {
	huma.Register(api, huma.Operation{
		OperationID: "study", Method: http.MethodGet, Path: base + "study",
		Summary: "Whether humid air goes with more rejects, from which humidity on, and how sure that is",
		Errors:  []int{http.StatusServiceUnavailable},
	}, s.study)
	huma.Register(api, huma.Operation{
		OperationID: "control-chart", Method: http.MethodGet, Path: base + "study/chart",
		Summary: "Control chart of the rejects of a press, with its batches and its air",
		Errors:  []int{http.StatusServiceUnavailable},
	}, s.controlChart)
}

func (s *Server) study(ctx context.Context, in *studyQuery) (*answer[study.Answer], error) {
	q := study.Request{Filter: study.Filter{Press: in.Press, Kind: in.Kind}, Relevant: in.Relevant / 100}
	if in.Model == "logistic" {
		q.Family = quality.Binomial
	}
	var err error
	if q.From, q.To, err = s.openSpan(in.From, in.To); err != nil {
		return nil, err
	}
	if s.settings.Study == nil {
		return nil, problem(http.StatusServiceUnavailable, "", "this bench stores no history").Saying("no-history")
	}
	a, err := s.settings.Study.Study(ctx, q)
	if err != nil {
		return nil, s.unpast(ctx, err)
	}
	told := a.Tell(s.settings.Locale, s.defectWords)
	if at := told.ComputedAt; at != nil {
		told.Sentences = append(told.Sentences, s.settings.Locale.Say("study.as-of", "at", s.settings.Locale.Clock(*at, *at)))
	}
	return &answer[study.Answer]{told}, nil
}

func (s *Server) controlChart(ctx context.Context, in *chartQuery) (*answer[study.Chart], error) {
	from, to, err := between(in.From, in.To, historyMonth, s.bench.Snapshot().At, s.zone())
	if err != nil {
		return nil, err
	}
	if s.settings.Study == nil {
		return nil, problem(http.StatusServiceUnavailable, "", "this bench stores no history").Saying("no-history")
	}
	c, err := s.settings.Study.Chart(ctx, study.ChartRequest{From: from, To: to, Press: in.Press, Kind: in.Kind, By: study.Grouping(in.By), Runs: in.Runs})
	if err != nil {
		return nil, s.unpast(ctx, err)
	}
	return &answer[study.Chart]{c}, nil
}

// openSpan reads a span whose ends may be open, which are then zero.
func (s *Server) openSpan(from, to string) (begin, end time.Time, err error) {
	if begin, err = moment(from, time.Time{}, s.zone()); err != nil {
		return begin, end, err
	}
	if end, err = moment(to, time.Time{}, s.zone()); err != nil {
		return begin, end, err
	}
	if !begin.IsZero() && !end.IsZero() && !begin.Before(end) {
		err = problem(http.StatusUnprocessableEntity, "", "from must come before to").Saying("span")
	}
	return begin.UTC(), end.UTC(), err
}

// defectWords returns the name of a kind of defect, and the id of one that is not configured.
func (s *Server) defectWords(id string) string {
	for _, p := range s.bench.Snapshot().Presses {
		for _, d := range p.Defects {
			if d.Kind == id && d.Words != "" {
				return d.Words
			}
		}
	}
	return id
}
