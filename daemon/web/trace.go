package web

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"net/http"
	"reflect"
	"strconv"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"potlifed/daemon/trace"
	"potlifed/daemon/view"
)

// traced registers what the journal tells of batches that may be long closed.
func (s *Server) traced(api huma.API) {
	failures := []int{http.StatusNotFound, http.StatusServiceUnavailable}
	huma.Register(api, huma.Operation{
		OperationID: "batch-history", Method: http.MethodGet, Path: base + "batches/{id}/history", Errors: failures,
		Summary: "What a batch was made of, where it stood, what it printed, and its events; of any batch there ever was",
	}, s.history)
	const listed = "Newest first. Ask again with the answer's next as before, until it is 0. A batch that another of them was poured into says via which."
	huma.Register(api, huma.Operation{
		OperationID: "can-batches", Method: http.MethodGet, Path: base + "cans/{id}/batches", Errors: failures,
		Summary: "The batches that a can went into", Description: listed,
	}, func(ctx context.Context, in *ofCan) (*answer[tracedList], error) {
		return s.into(ctx, trace.Source{Can: in.ID}, in.Pages)
	})
	huma.Register(api, huma.Operation{
		OperationID: "lot-batches", Method: http.MethodGet, Path: base + "lots/{lot}/batches", Errors: failures,
		Summary: "The batches that a lot went into", Description: listed,
	}, func(ctx context.Context, in *ofLot) (*answer[tracedList], error) {
		return s.into(ctx, trace.Source{Lot: in.Lot}, in.Pages)
	})
	huma.Register(api, huma.Operation{
		OperationID: "waste", Method: http.MethodGet, Path: base + "waste",
		Summary:     "What was thrown away, by month and kind",
		Description: "Cleaning solvent is not known to the bench, nor is what nobody weighed. Waste with hardener in it may give off gas: leave lids loose, and dispose of it as local rules say.",
		Responses: map[string]*huma.Response{"200": {Description: "Oldest first", Content: map[string]*huma.MediaType{
			"application/json": {Schema: api.OpenAPI().Components.Schemas.Schema(reflect.TypeFor[wasteList](), true, "")},
			"text/csv":         {Schema: &huma.Schema{Type: huma.TypeString}},
		}}},
		Errors: []int{http.StatusServiceUnavailable},
	}, s.waste)
}

// Pages asks for a part of a list. It is exported because the library looks into no other.
type Pages struct {
	Before uint64 `query:"before" maximum:"9007199254740991" doc:"next of the last answer; 0 for the newest"`
	Limit  int    `query:"limit" minimum:"1" maximum:"100" default:"20" doc:"largest number of pours that are looked at"`
}

type ofCan struct {
	ID string `path:"id" maxLength:"64" doc:"id of the can"`
	Pages
}

type ofLot struct {
	Lot string `path:"lot" maxLength:"200" doc:"lot number, as printed on the can; upper and lower case are the same"`
	Pages
}

type tracedList struct {
	Batches []trace.Past `json:"batches" doc:"the batches, newest first"`
	Next    uint64       `json:"next" doc:"value of before for the next page; 0 when there are no more"`
	Seq     uint64       `json:"seq" doc:"number of the newest event that the answer includes"`
}

func (s *Server) into(ctx context.Context, from trace.Source, p Pages) (*answer[tracedList], error) {
	page, err := trace.Into(ctx, s.journal, from, p.Before, p.Limit, s.settings.Locale)
	if err != nil {
		return nil, s.unread(ctx, err)
	}
	return &answer[tracedList]{tracedList{page.Batches, page.Next, s.bench.Snapshot().Seq}}, nil
}

type historyOf struct {
	ID  string `path:"id" maxLength:"64" doc:"id of the batch"`
	Seq uint64 `query:"seq" maximum:"9007199254740991" doc:"number of any event of the batch that is meant, since an id is used again after a year; default: the newest batch"`
}

func (s *Server) history(ctx context.Context, in *historyOf) (*answer[trace.History], error) {
	snap := s.bench.Snapshot()
	h, err := trace.Of(ctx, s.journal, in.ID, in.Seq, view.Source{Bench: snap.Bench, Journal: snap.Journal}, s.settings.Locale)
	switch {
	case errors.Is(err, trace.ErrUnknown):
		return nil, noBatch(in.ID)
	case err != nil:
		return nil, s.unread(ctx, err)
	}
	return &answer[trace.History]{h}, nil
}

type wasteQuery struct {
	From   string `query:"from" doc:"a date or a time; default: a year before to"`
	To     string `query:"to" doc:"a date, which is not included, or a time; default: now"`
	Format string `query:"format" enum:"json,csv" doc:"takes precedence over the Accept header"`
	Accept string `header:"Accept" hidden:"true"`
}

type wasteList struct {
	Waste []trace.Waste `json:"waste" doc:"the waste by month and kind, oldest first"`
	Seq   uint64        `json:"seq" doc:"number of the newest event that the answer includes"`
}

func (s *Server) waste(ctx context.Context, in *wasteQuery) (*written, error) {
	now := s.bench.Snapshot()
	to, err := moment(in.To, now.At.Add(time.Second), s.zone())
	if err != nil {
		return nil, err
	}
	from, err := moment(in.From, to.AddDate(-1, 0, 0), s.zone())
	if err != nil {
		return nil, err
	}
	if !from.Before(to) || from.Year() < 2000 || to.Year() > 2200 {
		return nil, problem(http.StatusUnprocessableEntity, "", "from must come before to, both between the years 2000 and 2200").Saying("span")
	}
	rows, err := trace.Wasted(ctx, s.journal, from, to, s.zone())
	switch {
	case errors.Is(err, trace.ErrTooMany):
		return nil, problem(http.StatusUnprocessableEntity, "", err.Error()).Saying("span-too-long")
	case err != nil:
		return nil, s.unread(ctx, err)
	}
	out := &written{ContentType: "application/json", Vary: "Accept"}
	if wantsCSV(in.Format, in.Accept) {
		out.ContentType = "text/csv; charset=utf-8"
		out.Body, err = wasteCSV(rows)
	} else {
		out.Body, err = json.Marshal(wasteList{orEmpty(rows), now.Seq})
	}
	return out, err
}

func wasteCSV(rows []trace.Waste) ([]byte, error) {
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	w.Write([]string{"month", "kind", "grams", "batches", "not_weighed"})
	for _, r := range rows {
		w.Write([]string{r.Month, string(r.Kind), strconv.FormatFloat(r.Grams, 'f', -1, 64), strconv.Itoa(r.Batches), strconv.Itoa(r.NotWeighed)})
	}
	w.Flush()
	return out.Bytes(), w.Error()
}
