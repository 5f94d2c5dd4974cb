package web

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"net/http"
	"net/url"
	"reflect"
	"strconv"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"potlifed/daemon/trace"
	"potlifed/daemon/view"
	"potlifed/model/lifecycle"
)

// batches registers the lists of the open and of the ended batches, and a batch by its id.
func (s *Server) batches(api huma.API) {
	schemas := api.OpenAPI().Components.Schemas
	open := schemas.Schema(reflect.TypeFor[batchList](), true, "")
	ended := schemas.Schema(reflect.TypeFor[endedList](), true, "")
	huma.Register(api, huma.Operation{
		OperationID: "batches", Method: http.MethodGet, Path: base + "batches", Errors: []int{http.StatusServiceUnavailable},
		Summary: "The open batches, or those that have ended",
		Description: "Without state, the answer is a BatchList of the open batches. With state=closed it is an EndedList of the batches that ended in a span, newest first, " +
			"or the same as CSV. The other parameters need state=closed. Ask again with the answer's next as before, until it is 0; a page may hold fewer batches than limit. " +
			"The link to the next page is in the header Link, too.",
		Responses: map[string]*huma.Response{"200": {
			Description: "The batches",
			Headers: map[string]*huma.Param{"Link": {
				Description: "the next page of ended batches, with rel=\"next\"; absent when there are no more", Schema: &huma.Schema{Type: huma.TypeString},
			}},
			Content: map[string]*huma.MediaType{
				"application/json": {Schema: &huma.Schema{AnyOf: []*huma.Schema{open, ended}}},
				"text/csv":         {Schema: &huma.Schema{Type: huma.TypeString}},
			},
		}},
	}, s.listBatches)

	type byID struct {
		ID string `path:"id" doc:"as pencilled on the cup"`
	}
	huma.Register(api, huma.Operation{
		OperationID: "batch", Method: http.MethodGet, Path: base + "batches/{id}",
		Summary: "A batch that is open or was closed recently", Errors: []int{http.StatusNotFound},
	}, func(_ context.Context, in *byID) (*answer[view.Batch], error) {
		b, ok := findBatch(s.bench.Snapshot(), in.ID)
		if !ok {
			return nil, noBatch(in.ID)
		}
		return &answer[view.Batch]{b}, nil
	})
}

// findBatch looks among the open batches and then among the recently closed.
func findBatch(n *view.Snapshot, id string) (view.Batch, bool) {
	for _, batches := range [][]view.Batch{n.Batches, n.Closed} {
		for _, b := range batches {
			if b.ID == id {
				return batchRow(b), true
			}
		}
	}
	return view.Batch{}, false
}

type batchList struct {
	Batches []view.Batch `json:"batches" doc:"the open batches"`
	Seq     uint64       `json:"seq" doc:"number of the newest event that the answer includes"`
}

type endedList struct {
	Batches []trace.Ended `json:"batches" doc:"the batches that have ended, newest end first"`
	Next    uint64        `json:"next" doc:"value of before for the next page; 0 when there are no more"`
	Seq     uint64        `json:"seq" doc:"number of the newest event that the answer includes"`
}

type batchesQuery struct {
	State   string `query:"state" enum:"open,closed" default:"open" doc:"which batches: the open ones, or those that have ended"`
	From    string `query:"from" doc:"beginning of the span in which they ended: a date or a time; default: 7 days before to"`
	To      string `query:"to" doc:"end of the span: a date, which is not included, or a time; default: now"`
	Press   string `query:"press" maxLength:"64" doc:"id of a press that they stood on"`
	Ink     string `query:"ink" maxLength:"64" doc:"id of their ink"`
	Outcome string `query:"outcome" enum:"used-up,discarded,went-off,not-known,abandoned" doc:"how they ended"`
	Search  string `query:"search" maxLength:"100" doc:"text in the id of the batch, its ink, cup, presses, cans or lots, its colour class or artwork; upper and lower case are the same"`
	Before  uint64 `query:"before" maximum:"9007199254740991" doc:"next of the last answer; 0 for the newest"`
	Limit   int    `query:"limit" minimum:"1" maximum:"100" default:"20" doc:"largest number of batches"`
	Format  string `query:"format" enum:"json,csv" doc:"takes precedence over the Accept header"`
	Accept  string `header:"Accept" hidden:"true"`
}

// writtenPage is a page of a list that was written out here.
type writtenPage struct {
	ContentType string `header:"Content-Type"`
	Vary        string `header:"Vary"`
	Link        string `header:"Link"`
	Body        []byte
}

func (s *Server) listBatches(ctx context.Context, in *batchesQuery) (*writtenPage, error) {
	now := s.bench.Snapshot()
	if in.State == "closed" {
		return s.endedBatches(ctx, in, now)
	}
	if in.asksForEnded() {
		return nil, problem(http.StatusUnprocessableEntity, "", "from, to, press, ink, outcome, search, before and format=csv need state=closed")
	}
	rows := make([]view.Batch, 0, len(now.Batches))
	for _, b := range now.Batches {
		rows = append(rows, batchRow(b))
	}
	body, err := inJSON(batchList{rows, now.Seq})
	return &writtenPage{ContentType: "application/json", Body: body}, err
}

// asksForEnded reports whether a parameter is given that only the ended batches have.
func (in *batchesQuery) asksForEnded() bool {
	return in.From+in.To+in.Press+in.Ink+in.Outcome+in.Search != "" || in.Before > 0 || in.Format == "csv"
}

func (s *Server) endedBatches(ctx context.Context, in *batchesQuery, now *view.Snapshot) (*writtenPage, error) {
	to, err := moment(in.To, now.At.Add(time.Second), s.zone())
	if err != nil {
		return nil, err
	}
	from, err := moment(in.From, to.AddDate(0, 0, -7), s.zone())
	if err != nil {
		return nil, err
	}
	if !from.Before(to) || from.Year() < 2000 || to.Year() > 2200 {
		return nil, problem(http.StatusUnprocessableEntity, "", "from must come before to, both between the years 2000 and 2200").Saying("span")
	}
	find := in.search(from, to)
	page, err := s.ends.List(ctx, find, in.Before, in.Limit)
	if err != nil {
		return nil, s.unread(ctx, err)
	}
	out := &writtenPage{ContentType: "application/json", Vary: "Accept"}
	if page.Next > 0 {
		out.Link = in.nextPage(find, page.Next)
	}
	if wantsCSV(in.Format, in.Accept) {
		out.ContentType = "text/csv; charset=utf-8"
		out.Body, err = endedCSV(page.Batches)
	} else {
		out.Body, err = inJSON(endedList{page.Batches, page.Next, now.Seq})
	}
	return out, err
}

func (in *batchesQuery) search(from, to time.Time) trace.Search {
	return trace.Search{From: from, To: to, Press: in.Press, Ink: in.Ink, Outcome: lifecycle.Outcome(in.Outcome), Text: in.Search}
}

// nextPage returns the header (RFC 8288) that leads to the next page of the same span.
func (in *batchesQuery) nextPage(find trace.Search, next uint64) string {
	q := url.Values{"state": {"closed"}, "limit": {strconv.Itoa(in.Limit)}, "before": {strconv.FormatUint(next, 10)}}
	q.Set("from", find.From.UTC().Format(time.RFC3339Nano))
	q.Set("to", find.To.UTC().Format(time.RFC3339Nano))
	for name, value := range map[string]string{"press": in.Press, "ink": in.Ink, "outcome": in.Outcome, "search": in.Search, "format": in.Format} {
		if value != "" {
			q.Set(name, value)
		}
	}
	return "<" + base + "batches?" + q.Encode() + `>; rel="next"`
}

// inJSON writes a list as all other lists are written.
func inJSON(v any) ([]byte, error) {
	var out bytes.Buffer
	w := json.NewEncoder(&out)
	w.SetEscapeHTML(false)
	err := w.Encode(v)
	return out.Bytes(), err
}

func endedCSV(rows []trace.Ended) ([]byte, error) {
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	w.Write([]string{
		"id", "seq", "ink", "cup", "colour_class", "artwork", "presses", "mixed_at", "closed_at", "outcome", "still_good", "poured_into",
		"left_g", "age_s", "at_least", "spent", "mean_temperature_c", "mean_humidity_pct", "prints", "rejects",
	})
	number := func(v *float64) string {
		if v == nil {
			return ""
		}
		return strconv.FormatFloat(*v, 'f', -1, 64)
	}
	for _, b := range rows {
		var presses []string
		for _, p := range b.Presses {
			presses = append(presses, p.Press)
		}
		mixed := ""
		if b.MixedAt != nil {
			mixed = b.MixedAt.Format(time.RFC3339Nano)
		}
		rejects := int64(0)
		for _, n := range b.Defects {
			rejects += n
		}
		w.Write([]string{
			b.ID, strconv.FormatUint(b.Seq, 10), b.Ink, b.Cup, b.Colour, b.Artwork, strings.Join(presses, " "), mixed, b.ClosedAt.Format(time.RFC3339Nano),
			string(b.Outcome), string(b.StillGood), b.PouredInto, number(b.LeftG), number(b.AgeS), strconv.FormatBool(b.AtLeast), number(b.Spent),
			number(b.MeanTemperatureC), number(b.MeanHumidityPct), strconv.FormatUint(b.Prints, 10), strconv.FormatInt(rejects, 10),
		})
	}
	w.Flush()
	return out.Bytes(), w.Error()
}
