package web

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"net/http"
	"reflect"
	"strconv"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"potlifed/daemon/history"
	"potlifed/daemon/precision"
	"potlifed/daemon/view"
	"potlifed/model/air"
	"potlifed/model/cure"
)

// past registers what is read from the journal.
func (s *Server) past(api huma.API) {
	huma.Register(api, huma.Operation{
		OperationID: "events", Method: http.MethodGet, Path: base + "events",
		Summary:     "The journal's events after a given one, oldest first",
		Description: "Ask again with the last event's seq until the list is empty. Another journal id in an event means a new journal, whose events are numbered on their own.",
		Errors:      []int{http.StatusServiceUnavailable},
	}, s.events)

	csvOrJSON := map[string]*huma.Response{"200": {Description: "The air, oldest first", Content: map[string]*huma.MediaType{
		"application/json": {Schema: api.OpenAPI().Components.Schemas.Schema(reflect.TypeFor[historyList](), true, "")},
		"text/csv":         {Schema: &huma.Schema{Type: huma.TypeString}},
	}}}
	huma.Register(api, huma.Operation{
		OperationID: "history-air", Method: http.MethodGet, Path: base + "history/air",
		Summary:     "The air of a zone over time",
		Description: airDescription,
		Responses:   csvOrJSON,
		Errors:      []int{http.StatusNotFound, http.StatusServiceUnavailable},
	}, s.historyAir)
}

type eventsQuery struct {
	After uint64 `query:"after" maximum:"9007199254740991" doc:"number of the last event known; 0 for all"`
	Limit int    `query:"limit" minimum:"1" maximum:"1000" default:"100" doc:"largest number of events"`
}

type eventList struct {
	Events []json.RawMessage `json:"events" doc:"the events, oldest first"`
	Seq    uint64            `json:"seq" doc:"number of the newest event in the journal"`
}

func (s *Server) events(ctx context.Context, in *eventsQuery) (*answer[eventList], error) {
	events, err := s.journal.Events(ctx, in.After, min(in.Limit, eventsAtOnce))
	if err != nil {
		return nil, s.unread(ctx, err)
	}
	out := eventList{make([]json.RawMessage, 0, len(events)), s.bench.Snapshot().Seq}
	for _, e := range events {
		out.Events = append(out.Events, e.JSON)
		out.Seq = max(out.Seq, e.Seq)
	}
	return &answer[eventList]{out}, nil
}

// unread is the problem of a journal that could not be read.
func (s *Server) unread(ctx context.Context, err error) error {
	if ctx.Err() == nil {
		s.log.Error("journal not read", "err", err)
	}
	return problem(http.StatusServiceUnavailable, "", "the journal cannot be read; the bench's log says why").Saying("records-unread")
}

const airDescription = "Without a step the rows are those at which the air was recorded, and between two rows it went in a straight line. " +
	"With a step below 15m each row is the air at its time. With a longer step in whole quarter-hours, or day, week or month of the shop's calendar, " +
	"each row is the mean of an interval, with the lowest and highest values; imported air fills what the bench did not record. " +
	"These are stored for good, and the span may be of any length."

type historyQuery struct {
	Zone   string `query:"zone" required:"true" doc:"id of the zone"`
	From   string `query:"from" doc:"begin of the span, a time or a date of the shop's calendar; default: 24 hours before to"`
	To     string `query:"to" doc:"end of the span; default: now; without a step, or with one below 15m, at most 31 days after from"`
	Step   string `query:"step" doc:"time between rows, such as 1m or 1h, at least 1s; or day, week or month; or auto, for a few hundred rows; default: the rows as recorded"`
	Format string `query:"format" enum:"json,csv" doc:"takes precedence over the Accept header"`
	Accept string `header:"Accept" hidden:"true"`
}

// airPoint is a zone's air at one moment, or its mean over an interval.
type airPoint struct {
	Time          time.Time    `json:"time" doc:"time of the values, or begin of the interval"`
	To            *time.Time   `json:"to,omitempty" doc:"end of the interval; absent for the air at one moment"`
	Local         string       `json:"local" doc:"the time in the shop's time zone"`
	TemperatureC  float64      `json:"temperature_c" doc:"air temperature in °C, the mean of an interval"`
	HumidityPct   float64      `json:"humidity_pct" doc:"relative humidity over liquid water in %, the mean of an interval"`
	DewPointC     *float64     `json:"dew_point_c,omitempty" doc:"dew point in °C; absent when the air is too dry to have one"`
	VapourDensity float64      `json:"vapour_density_g_m3" doc:"water vapour in g per m³ of air"`
	Quality       view.Quality `json:"quality" doc:"good, uncertain (suspect or bridged) or bad (no reading)"`
	// The following are those of an interval.
	LowTemperatureC  *float64       `json:"temperature_low_c,omitempty" doc:"lowest air temperature of the interval in °C"`
	HighTemperatureC *float64       `json:"temperature_high_c,omitempty" doc:"highest air temperature of the interval in °C"`
	LowHumidityPct   *float64       `json:"humidity_low_pct,omitempty" doc:"lowest relative humidity of the interval in %"`
	HighHumidityPct  *float64       `json:"humidity_high_pct,omitempty" doc:"highest relative humidity of the interval in %"`
	KnownS           *float64       `json:"known_s,omitempty" doc:"time of the interval for which the air was known, in s"`
	Source           history.Source `json:"source,omitempty" enum:"bench,paper" doc:"of an interval: bench (recorded by the bench) or paper (imported)"`
}

type historyList struct {
	Air []airPoint `json:"air" doc:"the air at each time, oldest first"`
	Seq uint64     `json:"seq" doc:"number of the newest event that the answer includes"`
}

// written is an answer that was written out here.
type written struct {
	ContentType string `header:"Content-Type"`
	Vary        string `header:"Vary"`
	Body        []byte
}

func (s *Server) historyAir(ctx context.Context, in *historyQuery) (*written, error) {
	now := s.bench.Snapshot()
	asked, err := in.span(now, s.zone())
	if err != nil {
		return nil, err
	}
	if asked.long != nil && s.settings.History != nil {
		return s.longAir(ctx, in, asked, now.Seq)
	}
	// A step is filed under its end, so those that straddle the span's end come later.
	const longestStep = 24 * time.Hour
	steps, err := s.journal.History(ctx, in.Zone, asked.from, asked.to.Add(longestStep))
	if err != nil {
		return nil, s.unread(ctx, err)
	}
	var points []airPoint
	if asked.step > 0 {
		points = sampled(steps, asked.from, asked.to, asked.step)
	} else {
		points = recorded(steps, asked.from, asked.to)
	}
	if len(points) > historyRows {
		return nil, problem(http.StatusUnprocessableEntity, "", fmt.Sprintf("more than %d rows; ask for a shorter span or a step", historyRows)).Saying("span-too-long")
	}
	for i := range points {
		points[i].Local = points[i].Time.In(s.zone()).Format(time.RFC3339)
	}
	out := &written{ContentType: "application/json", Vary: "Accept"}
	if wantsCSV(in.Format, in.Accept) {
		out.ContentType = "text/csv; charset=utf-8"
		out.Body, err = writeCSV(in.Zone, points)
	} else {
		out.Body, err = json.Marshal(historyList{orEmpty(points), now.Seq})
	}
	return out, err
}

// airSpan is what is asked for, checked.
type airSpan struct {
	from, to time.Time
	step     time.Duration // 0 for the rows as recorded
	long     *history.Step // not nil when the rows are means of quarter-hours or longer
}

// span checks what is asked for.
func (in *historyQuery) span(now *view.Snapshot, zone *time.Location) (asked airSpan, err error) {
	refuse := func(format string, args ...any) (airSpan, error) {
		return asked, problem(http.StatusUnprocessableEntity, "", fmt.Sprintf(format, args...))
	}
	known := false
	for _, z := range now.Air {
		known = known || z.Zone == in.Zone
	}
	if !known {
		return asked, noZone(in.Zone)
	}
	if asked.from, asked.to, err = between(in.From, in.To, historyDefault, now.At, zone); err != nil {
		return asked, err
	}
	text := in.Step
	if text == "auto" {
		text = history.AutoStep(asked.from, asked.to)
	}
	if step, err := history.StepOf(text, zone); err == nil && text != "" {
		asked.long = &step
		if step.Intervals(asked.from, asked.to, historyRows) > historyRows {
			return refuse("more than %d rows; ask for a shorter span or a longer step", historyRows)
		}
	}
	if text != "" && asked.long == nil {
		if asked.step, err = time.ParseDuration(text); err != nil || asked.step < time.Second {
			return refuse("step is a duration of at least 1s, such as 1m or 1h, or day, week, month or auto; from 15m on in whole quarter-hours")
		}
		if asked.step > history.Quarter {
			return refuse("a step above 15m has whole quarter-hours, such as 30m or 1h")
		}
	}
	if asked.long == nil && asked.to.Sub(asked.from) > historyAtMost {
		return refuse("at most 31 days can be asked for at once, or more with a step of at least 15m")
	}
	if asked.step > 0 && asked.to.Sub(asked.from)/asked.step >= historyRows {
		return refuse("more than %d rows; ask for a shorter span or a longer step", historyRows)
	}
	return asked, nil
}

// recorded are the ends of the steps inside the span, each moment once. Where one
// step ends in other air than the next begins in, the later counts.
func recorded(steps []cure.PastStep, from, to time.Time) []airPoint {
	var points []airPoint
	add := func(p cure.PastStep, at time.Time) {
		if at.Before(from) || at.After(to) {
			return
		}
		if n := len(points); n > 0 && !points[n-1].Time.Before(at) {
			if points[n-1].Time.After(at) { // the clock was set back
				return
			}
			points = points[:n-1]
		}
		points = append(points, pointAt(p, at))
	}
	for _, p := range steps {
		add(p, p.Start)
		add(p, p.End())
	}
	return points
}

// sampled is the air at from, from + step and so on; moments that no step covers are
// left out. Invariant: no step before next ends after the moment.
func sampled(steps []cure.PastStep, from, to time.Time, step time.Duration) []airPoint {
	var points []airPoint
	next := 0
	for at := from; !at.After(to); at = at.Add(step) {
		for next < len(steps) && steps[next].End().Before(at) {
			next++
		}
		if next < len(steps) && !steps[next].Start.After(at) {
			points = append(points, pointAt(steps[next], at))
		}
	}
	return points
}

// pointAt is the air at a moment of a step.
func pointAt(p cure.PastStep, at time.Time) airPoint {
	fraction := 0.0
	if p.Step.Duration > 0 {
		fraction = float64(at.Sub(p.Start)) / float64(p.Step.Duration)
	}
	state := air.Lerp(p.Step.From, p.Step.To, fraction)
	point := airPoint{
		Time: at.UTC(), TemperatureC: precision.Celsius(state.TemperatureC), HumidityPct: precision.Percent(state.HumidityPct),
		VapourDensity: precision.GramsPerM3(state.VapourDensityGM3()), Quality: view.QualityGood,
	}
	if dew, ok := state.DewPointC(); ok {
		point.DewPointC = precision.Known(&dew, precision.Celsius)
	}
	switch {
	case p.Step.Kind == cure.Stale:
		point.Quality = view.QualityBad
	case p.Step.Uncertain || p.Step.Kind == cure.Bridged:
		point.Quality = view.QualityUncertain
	}
	return point
}

func writeCSV(zone string, points []airPoint) ([]byte, error) {
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	number := func(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
	w.Write([]string{"time", "zone", "temperature_c", "humidity_pct", "dew_point_c", "vapour_density_g_m3", "quality"})
	for _, p := range points {
		dew := ""
		if p.DewPointC != nil {
			dew = number(*p.DewPointC)
		}
		w.Write([]string{
			p.Time.Format(time.RFC3339Nano), zone, number(p.TemperatureC), number(p.HumidityPct), dew, number(p.VapourDensity), string(p.Quality),
		})
	}
	w.Flush()
	return out.Bytes(), w.Error()
}
