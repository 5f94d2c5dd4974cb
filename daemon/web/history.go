package web

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"reflect"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/negotiation"

	"potlifed/daemon/history"
	"potlifed/daemon/table"
)

// Spans that are asked for where the query says nothing.
const (
	historyMonth = 31 * 24 * time.Hour
	historyEver  = 10 * 366 * 24 * time.Hour
)

// longPast registers what is stored for years.
func (s *Server) longPast(api huma.API) {
	const folded = "One row for each interval, press and batch; the conditions are means over the pieces. Counts are here within two minutes of their report."
	register := func(id, path, summary, description string, list reflect.Type, do any) {
		op := huma.Operation{
			OperationID: id, Method: http.MethodGet, Path: base + path, Summary: summary, Description: description,
			Errors: []int{http.StatusNotFound, http.StatusServiceUnavailable},
			Responses: map[string]*huma.Response{"200": {Description: "The rows, oldest first", Content: map[string]*huma.MediaType{
				"application/json": {Schema: api.OpenAPI().Components.Schemas.Schema(list, true, "")},
				"text/csv":         {Schema: &huma.Schema{Type: huma.TypeString}},
			}}},
		}
		switch do := do.(type) {
		case func(context.Context, *sensorQuery) (*written, error):
			huma.Register(api, op, do)
		case func(context.Context, *countQuery) (*written, error):
			huma.Register(api, op, do)
		case func(context.Context, *endedQuery) (*written, error):
			huma.Register(api, op, do)
		case func(context.Context, *checkQuery) (*written, error):
			huma.Register(api, op, do)
		}
	}
	register("history-sensors", "history/sensors", "What a sensor measured over time",
		"Without a step the rows are the readings, which are stored for two weeks. Minutes are stored for a year and quarter-hours for good, unless retention in the configuration says otherwise. With a step each row is the mean of an interval, with the lowest and highest values.",
		reflect.TypeFor[sensorHistory](), s.historySensors)
	register("history-prints", "history/prints", "Prints by press and batch over time", folded, reflect.TypeFor[printHistory](), s.historyPrints)
	register("history-defects", "history/defects", "Rejects by press, batch and kind of defect over time", folded, reflect.TypeFor[defectHistory](), s.historyDefects)
	register("history-batches", "history/batches", "The batches that ended in a span, with age and spent life at the end, the mean air, prints and rejects", "",
		reflect.TypeFor[batchHistory](), s.historyBatches)
	register("history-checks", "history/checks", "Checks of sensors against a reference", "", reflect.TypeFor[checkHistory](), s.historyChecks)
}

type (
	sensorHistory struct {
		Sensors []history.Air `json:"sensors" doc:"what the sensor measured, oldest first"`
		Seq     uint64        `json:"seq" doc:"number of the newest event that the answer includes"`
	}
	printHistory struct {
		Prints []history.Prints `json:"prints" doc:"the prints, oldest first"`
		Seq    uint64           `json:"seq" doc:"number of the newest event that the answer includes"`
	}
	defectHistory struct {
		Defects []history.Defects `json:"defects" doc:"the rejects, oldest first"`
		Seq     uint64            `json:"seq" doc:"number of the newest event that the answer includes"`
	}
	batchHistory struct {
		Batches []history.Batch `json:"batches" doc:"the batches, oldest first"`
		Seq     uint64          `json:"seq" doc:"number of the newest event that the answer includes"`
	}
	checkHistory struct {
		Checks []history.Check `json:"checks" doc:"the checks, oldest first"`
		Seq    uint64          `json:"seq" doc:"number of the newest event that the answer includes"`
	}
)

// PastSpan is what every query has. It is exported because the library looks into no other.
type PastSpan struct {
	From   string `query:"from" doc:"begin of the span, a time or a date of the shop's calendar; default: 24 hours before to, for batches 31 days, for checks everything"`
	To     string `query:"to" doc:"end of the span, which is not included; default: now"`
	Format string `query:"format" enum:"json,csv" doc:"takes precedence over the Accept header"`
	Accept string `header:"Accept" hidden:"true"`
}

type sensorQuery struct {
	Sensor string `query:"sensor" required:"true" doc:"id of the sensor"`
	Step   string `query:"step" doc:"length of the intervals, such as 1m or 1h, or day, week or month, or auto for a few hundred rows; default: the readings"`
	PastSpan
}

type countQuery struct {
	Press string `query:"press" doc:"id of the press; default: all"`
	Batch string `query:"batch" doc:"id of the batch; default: all"`
	Step  string `query:"step" doc:"length of the intervals, such as 15m or 1h, or day, week or month; default: 15m"`
	PastSpan
}

type endedQuery struct {
	Press string `query:"press" doc:"id of the press that the batch was on last; default: all"`
	PastSpan
}

type checkQuery struct {
	Sensor string `query:"sensor" doc:"id of the sensor; default: all"`
	PastSpan
}

// zone is the shop's time zone.
func (s *Server) zone() *time.Location {
	if s.settings.Locale.Zone != nil {
		return s.settings.Locale.Zone
	}
	return time.Local
}

// between reads the begin and the end of a span.
func between(from, to string, usual time.Duration, now time.Time, zone *time.Location) (begin, end time.Time, err error) {
	if end, err = moment(to, now, zone); err != nil {
		return begin, end, err
	}
	if begin, err = moment(from, end.Add(-usual), zone); err != nil {
		return begin, end, err
	}
	if begin.Year() < 1900 || end.Year() > 2200 || !begin.Before(end) {
		return begin, end, problem(http.StatusUnprocessableEntity, "", "from must come before to, both between the years 1900 and 2200").Saying("span")
	}
	return begin, end, nil
}

// moment reads a time, or a date as the beginning of that day in a time zone.
func moment(text string, otherwise time.Time, zone *time.Location) (time.Time, error) {
	if text == "" {
		return otherwise, nil
	}
	if at, err := time.Parse(time.RFC3339, text); err == nil {
		return at, nil
	}
	at, err := time.ParseInLocation(time.DateOnly, text, zone)
	if err != nil {
		return at, problem(http.StatusUnprocessableEntity, "", "from and to are dates such as 2026-06-12, or times by RFC 3339").Saying("date-form")
	}
	return at, nil
}

// spanOf checks a query and brings the history up to date with the journal.
func (s *Server) spanOf(ctx context.Context, in PastSpan, usual time.Duration) (find history.Search, err error) {
	if s.settings.History == nil {
		return find, problem(http.StatusServiceUnavailable, "", "this bench stores no history").Saying("no-history")
	}
	find.From, find.To, err = between(in.From, in.To, usual, s.bench.Snapshot().At, s.zone())
	if err != nil {
		return find, err
	}
	if err := s.settings.History.Fresh(ctx); err != nil {
		return find, s.unread(ctx, err)
	}
	return find, nil
}

// unpast is the problem of a history that could not be read.
func (s *Server) unpast(ctx context.Context, err error) error {
	switch {
	case errors.Is(err, history.ErrTooMany), errors.Is(err, history.ErrStep):
		return problem(http.StatusUnprocessableEntity, "", err.Error()).Saying("span-too-long")
	case ctx.Err() == nil:
		s.log.Error("history not read", "err", err)
	}
	return problem(http.StatusServiceUnavailable, "", "the history cannot be read; the bench's log says why").Saying("records-unread")
}

// told writes rows in the form that the query asks for.
func told[R any](in PastSpan, rows []R, list any) (*written, error) {
	out := &written{ContentType: "application/json", Vary: "Accept"}
	if !wantsCSV(in.Format, in.Accept) {
		var err error
		out.Body, err = json.Marshal(list)
		return out, err
	}
	out.ContentType = "text/csv; charset=utf-8"
	var body bytes.Buffer
	w := table.NewCSV(&body, reflect.TypeFor[R]())
	err := w.Header()
	for _, r := range rows {
		err = errors.Join(err, w.Write(r))
	}
	out.Body = body.Bytes()
	return out, err
}

// wantsCSV reports whether a list is to be written as CSV. format takes precedence over the Accept header.
func wantsCSV(format, accept string) bool {
	if format != "" {
		return format == "csv"
	}
	return negotiation.SelectQValue(accept, []string{"application/json", "text/csv"}) == "text/csv"
}

func (s *Server) historyPrints(ctx context.Context, in *countQuery) (*written, error) {
	find, step, err := s.counts(ctx, in)
	if err != nil {
		return nil, err
	}
	rows, err := s.settings.History.PrintsIn(ctx, find, step, historyRows)
	if err != nil {
		return nil, s.unpast(ctx, err)
	}
	return told(in.PastSpan, rows, printHistory{orEmpty(rows), s.bench.Snapshot().Seq})
}

func (s *Server) historyDefects(ctx context.Context, in *countQuery) (*written, error) {
	find, step, err := s.counts(ctx, in)
	if err != nil {
		return nil, err
	}
	rows, err := s.settings.History.DefectsIn(ctx, find, step, historyRows)
	if err != nil {
		return nil, s.unpast(ctx, err)
	}
	return told(in.PastSpan, rows, defectHistory{orEmpty(rows), s.bench.Snapshot().Seq})
}

func (s *Server) counts(ctx context.Context, in *countQuery) (history.Search, history.Step, error) {
	step, err := history.StepOf(in.Step, s.zone())
	if err != nil {
		return history.Search{}, step, s.unpast(ctx, err)
	}
	find, err := s.spanOf(ctx, in.PastSpan, historyDefault)
	find.Press, find.Batch = in.Press, in.Batch
	return find, step, err
}

func (s *Server) historyBatches(ctx context.Context, in *endedQuery) (*written, error) {
	find, err := s.spanOf(ctx, in.PastSpan, historyMonth)
	if err != nil {
		return nil, err
	}
	find.Press = in.Press
	rows, err := s.settings.History.Batches(ctx, find, historyRows)
	if err != nil {
		return nil, s.unpast(ctx, err)
	}
	return told(in.PastSpan, rows, batchHistory{orEmpty(rows), s.bench.Snapshot().Seq})
}

func (s *Server) historyChecks(ctx context.Context, in *checkQuery) (*written, error) {
	find, err := s.spanOf(ctx, in.PastSpan, historyEver)
	if err != nil {
		return nil, err
	}
	rows, err := s.settings.History.Checks(ctx, in.Sensor, find.From, find.To, s.zone(), historyRows)
	if err != nil {
		return nil, s.unpast(ctx, err)
	}
	return told(in.PastSpan, rows, checkHistory{orEmpty(rows), s.bench.Snapshot().Seq})
}

func (s *Server) historySensors(ctx context.Context, in *sensorQuery) (*written, error) {
	find, err := s.spanOf(ctx, in.PastSpan, historyDefault)
	if err != nil {
		return nil, err
	}
	known := false
	for _, i := range s.bench.Snapshot().Sensors {
		known = known || i.ID == in.Sensor && !i.Scale
	}
	if !known {
		return nil, noSensor(in.Sensor)
	}
	rows, err := s.sensorRows(ctx, in, find)
	if err != nil {
		return nil, s.unpast(ctx, err)
	}
	return told(in.PastSpan, rows, sensorHistory{orEmpty(rows), s.bench.Snapshot().Seq})
}

func (s *Server) sensorRows(ctx context.Context, in *sensorQuery, find history.Search) ([]history.Air, error) {
	text := in.Step
	switch text {
	case "":
		readings, err := s.settings.History.SensorReadings(ctx, in.Sensor, find.From, find.To, historyRows)
		rows := make([]history.Air, 0, len(readings))
		for _, r := range readings {
			rows = append(rows, readingRow(in.Sensor, r, s.zone()))
		}
		return rows, err
	case "auto":
		text = history.AutoStep(find.From, find.To)
	}
	if step, err := history.StepOf(text, s.zone()); err == nil {
		return s.settings.History.SensorAir(ctx, in.Sensor, find.From, find.To, step, historyRows)
	}
	every, err := time.ParseDuration(text)
	if err != nil || every < time.Minute || every%time.Minute != 0 || every > history.Quarter {
		return nil, fmt.Errorf("%w; or whole minutes below 15m, or auto", history.ErrStep)
	}
	return s.settings.History.SensorMinutes(ctx, in.Sensor, find.From, find.To, every, s.zone(), historyRows)
}

// readingRow is a reading as a row whose interval has no length.
func readingRow(sensor string, r history.Reading, zone *time.Location) history.Air {
	var b history.Bucket
	b.Add(r.Air)
	return b.Row(sensor, r.At, r.At, zone)
}

// longAir answers with means of quarter-hours or longer.
func (s *Server) longAir(ctx context.Context, in *historyQuery, asked airSpan, seq uint64) (*written, error) {
	if err := s.settings.History.Fresh(ctx); err != nil {
		return nil, s.unread(ctx, err)
	}
	rows, err := s.settings.History.ZoneAir(ctx, in.Zone, asked.from, asked.to, *asked.long, historyRows)
	if err != nil {
		return nil, s.unpast(ctx, err)
	}
	points := make([]airPoint, 0, len(rows))
	for _, r := range rows {
		points = append(points, airPoint{
			Time: r.Time, To: &r.To, Local: r.Local, TemperatureC: r.TemperatureC, HumidityPct: r.HumidityPct,
			DewPointC: r.DewPointC, VapourDensity: r.VapourDensity, Quality: r.Quality,
			LowTemperatureC: &r.LowTemperatureC, HighTemperatureC: &r.HighTemperatureC,
			LowHumidityPct: &r.LowHumidityPct, HighHumidityPct: &r.HighHumidityPct, KnownS: &r.KnownS, Source: r.Source,
		})
	}
	return told(PastSpan{Format: in.Format, Accept: in.Accept}, rows, historyList{points, seq})
}
