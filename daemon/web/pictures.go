package web

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"potlifed/daemon/chart"
	"potlifed/daemon/excerpt"
	"potlifed/daemon/figures"
	"potlifed/daemon/history"
	"potlifed/daemon/study"
	"potlifed/daemon/trace"
	"potlifed/daemon/view"
	"potlifed/model/health"
	"potlifed/model/quality"
)

// picture is a figure as the pages show it: the drawing, and the same data as tables.
type picture struct {
	Title  string        `json:"title" doc:"what the picture shows"`
	About  string        `json:"about" doc:"how to read it"`
	SVG    string        `json:"svg" doc:"the picture, an svg element whose classes /assets' chart.css gives colours"`
	Empty  string        `json:"empty,omitempty" doc:"what to say in place of the picture where it has no data"`
	Tables []pictureData `json:"tables" doc:"the data of the picture"`
}

type pictureData struct {
	Caption string     `json:"caption" doc:"what the rows are"`
	Head    []string   `json:"head" doc:"the columns"`
	Rows    [][]string `json:"rows" doc:"the values, in the shop's language, time zone and units"`
}

// draw makes a picture of a figure.
func draw(m figures.Maker, f chart.Figure) (*answer[picture], error) {
	var svg strings.Builder
	if err := f.Render(&svg); err != nil {
		return nil, err
	}
	p := picture{Title: f.Title, About: f.About, SVG: svg.String(), Tables: []pictureData{}}
	for _, t := range m.Tables(f) {
		p.Tables = append(p.Tables, pictureData(t))
	}
	if len(p.Tables) == 0 {
		p.Empty = f.Empty
	}
	return &answer[picture]{p}, nil
}

// PictureSize is what every query of a picture has. It is exported because the library looks into
// no other.
type PictureSize struct {
	Width int `query:"width" minimum:"240" maximum:"2400" default:"900" doc:"width of the picture in CSS pixels; texts keep their size"`
}

type airPictureQuery struct {
	Zone    string `query:"zone" doc:"id of the zone; default: all"`
	Batches bool   `query:"batches" default:"true" doc:"whether the batches that lived then are shown below"`
	PastSpan
	PictureSize
}

type sensorsPictureQuery struct {
	Sensor string `query:"sensor" doc:"id of a sensor; its neighbours in the zone are shown with it; default: all sensors"`
	PastSpan
	PictureSize
}

type pastPictureQuery struct {
	PastSpan
	PictureSize
}

type healthPictureQuery struct {
	Of string `query:"of" enum:"sensors,scales" default:"sensors" doc:"the instruments that are shown"`
	PictureSize
}

type lifePictureQuery struct {
	ID  string `path:"id" doc:"id of the batch"`
	Seq uint64 `query:"seq" doc:"an event of the batch; an id is used again after a year; default: the newest batch of the id"`
	PictureSize
}

type controlPictureQuery struct {
	Press string `query:"press" required:"true" doc:"id of the press"`
	Kind  string `query:"kind" doc:"kind of defect; default: all kinds together"`
	Runs  bool   `query:"runs" doc:"whether runs rules are judged too"`
	By    string `query:"by" enum:"hour,batch,day" doc:"what a point counts; default: the finest with at least five rejects a point on average and at most 366 points"`
	PastSpan
	PictureSize
}

type curvePictureQuery struct {
	Factor string `query:"factor" enum:"vapour_density_g_m3,humidity_pct,temperature_c,spent,thinner_pct,ratio_error_pct" default:"vapour_density_g_m3" doc:"the condition"`
	Of     string `query:"of" maxLength:"100" doc:"kind of defect whose rate is shown; default: all kinds together"`
	Press  string `query:"press" maxLength:"100" doc:"id of the press; default: all"`
	From   string `query:"from" doc:"begin of the span, a time or a date of the shop's calendar; default: everything"`
	To     string `query:"to" doc:"end of the span, which is not included; default: now"`
	PictureSize
}

// drawn registers the pictures.
func (s *Server) drawn(api huma.API) {
	operation := func(id, path, summary string) huma.Operation {
		return huma.Operation{
			OperationID: id, Method: http.MethodGet, Path: base + path, Summary: summary,
			Errors: []int{http.StatusNotFound, http.StatusServiceUnavailable},
		}
	}
	huma.Register(api, operation("picture-air", "pictures/air", "The air of the zones, and the batches that lived in it"), s.airPicture)
	huma.Register(api, operation("picture-sensors", "pictures/sensors", "What the sensors measured"), s.sensorsPicture)
	huma.Register(api, operation("picture-checks", "pictures/checks", "Checks of the sensors over time"), s.checksPicture)
	huma.Register(api, operation("picture-health", "pictures/health", "How the sensors or the scales were on each day of the last month"), s.healthPicture)
	huma.Register(api, operation("picture-kept", "pictures/kept", "How the forecasts of pot life were kept"), s.keptPicture)
	huma.Register(api, operation("picture-control", "pictures/control", "The control chart of a press, with air and batches on the same axis of time"), s.controlPicture)
	huma.Register(api, operation("picture-curve", "pictures/curve", "The rate of rejects over a condition, with intervals and the fitted line"), s.curvePicture)
	huma.Register(api, operation("picture-life", "batches/{id}/picture", "The life of a batch: forecast, spent life, risk and end"), s.lifePicture)
}

func (s *Server) maker(size PictureSize) figures.Maker {
	return figures.Maker{Locale: s.settings.Locale, Width: size.Width}
}

// airIn returns the air of a zone, or of all, in intervals that a picture can show.
func (s *Server) airIn(ctx context.Context, zone string, find history.Search) ([]history.Air, error) {
	var zones []string
	for _, z := range s.bench.Snapshot().Air {
		if zone == "" || z.Zone == zone {
			zones = append(zones, z.Zone)
		}
	}
	if zone != "" && len(zones) == 0 {
		return nil, noZone(zone)
	}
	return s.pictured(ctx, find, zones, s.settings.History.ZoneAir)
}

// pictured returns the air of each of some zones or sensors, which read returns, in intervals that a
// picture can show.
func (s *Server) pictured(ctx context.Context, find history.Search, ids []string, read func(ctx context.Context, id string, from, to time.Time, step history.Step, most int) ([]history.Air, error)) ([]history.Air, error) {
	all, err := history.PictureOf(find.From, find.To, s.zone(), func(from time.Time, step history.Step) (all []history.Air, err error) {
		for _, id := range ids {
			rows, err := read(ctx, id, from, find.To, step, historyRows)
			if err != nil {
				return nil, err
			}
			all = append(all, rows...)
		}
		return all, nil
	})
	if err != nil {
		return nil, s.unpast(ctx, err)
	}
	return all, nil
}

func (s *Server) airPicture(ctx context.Context, in *airPictureQuery) (*answer[picture], error) {
	find, err := s.spanOf(ctx, in.PastSpan, historyDefault)
	if err != nil {
		return nil, err
	}
	air, err := s.airIn(ctx, in.Zone, find)
	if err != nil {
		return nil, err
	}
	m := s.maker(in.PictureSize)
	if !in.Batches {
		return draw(m, m.Day(find.From, find.To, air, s.newestAir(in.Zone)))
	}
	batches, err := s.livedIn(ctx, find)
	if err != nil {
		return nil, err
	}
	return draw(m, m.Air(find.From, find.To, air, batches))
}

// newestAir returns what is measured of a zone, or of all, now.
func (s *Server) newestAir(zone string) []view.Air {
	all := slices.Clone(s.bench.Snapshot().Air)
	return slices.DeleteFunc(all, func(v view.Air) bool { return zone != "" && v.Zone != zone })
}

// livedIn returns the ended batches that lived in a span, or some where there are more than a picture shows. One that
// ended after it may have begun in it; a pot life is shorter than two days.
func (s *Server) livedIn(ctx context.Context, find history.Search) ([]history.Batch, error) {
	from, to := find.From, find.To
	find.To = find.To.Add(48 * time.Hour)
	lived := 0
	return s.endedIn(ctx, find, func(b history.Batch) bool {
		if figures.Lived(b, from, to) {
			lived++
		}
		return lived > figures.MostBatches
	})
}

// errEnough ends the reading of batches.
var errEnough = errors.New("enough batches")

// endedIn returns the batches that ended in a span, oldest first, without their prints and rejects: to add these up
// for a year takes longer than all the rest of a picture, and no picture shows them. It stops after the first batch
// that is enough.
func (s *Server) endedIn(ctx context.Context, find history.Search, enough func(history.Batch) bool) ([]history.Batch, error) {
	var batches []history.Batch
	err := s.settings.History.EachBatch(ctx, find, func(b history.Batch) error {
		if len(batches) == historyRows {
			return fmt.Errorf("%w: more than %d; ask for a shorter span", history.ErrTooMany, historyRows)
		}
		batches = append(batches, b)
		if enough(b) {
			return errEnough
		}
		return nil
	})
	if err != nil && !errors.Is(err, errEnough) {
		return nil, s.unpast(ctx, err)
	}
	slices.SortFunc(batches, func(a, b history.Batch) int { return cmp.Or(a.ClosedAt.Compare(b.ClosedAt), cmp.Compare(a.Seq, b.Seq)) })
	return batches, nil
}

func (s *Server) sensorsPicture(ctx context.Context, in *sensorsPictureQuery) (*answer[picture], error) {
	find, err := s.spanOf(ctx, in.PastSpan, 7*24*time.Hour)
	if err != nil {
		return nil, err
	}
	zone, known := "", in.Sensor == ""
	sensors := s.bench.Snapshot().Sensors
	for _, i := range sensors {
		if i.ID == in.Sensor && !i.Scale {
			zone, known = i.Zone, true
		}
	}
	if !known {
		return nil, noSensor(in.Sensor)
	}
	var ids []string
	for _, i := range sensors {
		if !i.Scale && (in.Sensor == "" || i.Zone == zone) {
			ids = append(ids, i.ID)
		}
	}
	all, err := s.pictured(ctx, find, ids, s.settings.History.SensorAir)
	if err != nil {
		return nil, err
	}
	m := s.maker(in.PictureSize)
	return draw(m, m.Sensors("sensors-"+cmp.Or(in.Sensor, "all"), find.From, find.To, all))
}

func (s *Server) checksPicture(ctx context.Context, in *pastPictureQuery) (*answer[picture], error) {
	find, err := s.spanOf(ctx, in.PastSpan, 366*24*time.Hour)
	if err != nil {
		return nil, err
	}
	checks, err := s.settings.History.Checks(ctx, "", find.From, find.To, s.zone(), historyRows)
	if err != nil {
		return nil, s.unpast(ctx, err)
	}
	m := s.maker(in.PictureSize)
	return draw(m, m.Checks(find.From, find.To, checks))
}

func (s *Server) healthPicture(_ context.Context, in *healthPictureQuery) (*answer[picture], error) {
	now, m := s.bench.Snapshot(), s.maker(in.PictureSize)
	sensors, scales := map[string][]health.Day{}, map[string][]health.PanDay{}
	for _, v := range now.Sensors {
		if v.Scale {
			scales[v.ID] = v.PanDays
		} else {
			sensors[v.ID] = v.Days
		}
	}
	if in.Of == "scales" {
		return draw(m, m.ScaleHealth(now.At, scales))
	}
	return draw(m, m.SensorHealth(now.At, sensors))
}

func (s *Server) keptPicture(ctx context.Context, in *pastPictureQuery) (*answer[picture], error) {
	find, err := s.spanOf(ctx, in.PastSpan, historyEver)
	if err != nil {
		return nil, err
	}
	batches, err := s.endedIn(ctx, find, func(history.Batch) bool { return false })
	if err != nil {
		return nil, err
	}
	m := s.maker(in.PictureSize)
	return draw(m, m.Kept(quality.NewKept(figures.Forecasted(batches))))
}

func (s *Server) controlPicture(ctx context.Context, in *controlPictureQuery) (*answer[picture], error) {
	find, err := s.spanOf(ctx, in.PastSpan, historyMonth)
	if err != nil {
		return nil, err
	}
	presses := s.bench.Snapshot().Presses
	at := slices.IndexFunc(presses, func(p view.Press) bool { return p.ID == in.Press })
	if at < 0 {
		return nil, problem(http.StatusNotFound, "", "there is no press "+excerpt.Short(in.Press))
	}
	q := chartQuery{From: in.From, To: in.To, Press: in.Press, Kind: in.Kind, By: in.By, Runs: in.Runs}
	c, err := s.controlChart(ctx, &q)
	if err != nil {
		return nil, err
	}
	air, err := s.airIn(ctx, presses[at].Zone, find)
	if err != nil {
		return nil, err
	}
	find.Press = in.Press
	batches, err := s.livedIn(ctx, find)
	if err != nil {
		return nil, err
	}
	m := s.maker(in.PictureSize)
	return draw(m, m.Control(c.Body, find.From, find.To, air, batches))
}

func (s *Server) curvePicture(ctx context.Context, in *curvePictureQuery) (*answer[picture], error) {
	a, err := s.study(ctx, &studyQuery{From: in.From, To: in.To, Press: in.Press, Relevant: 100 * quality.UsualRelevant, Model: "poisson"})
	if err != nil {
		return nil, err
	}
	for _, c := range a.Body.Curves {
		if c.Factor == in.Factor && c.Kind == cmp.Or(in.Of, study.All) {
			m := s.maker(in.PictureSize)
			kind := ""
			if in.Of != "" {
				kind = s.defectWords(in.Of)
			}
			return draw(m, m.Curve("curve-"+in.Factor+"-"+c.Kind, c, kind))
		}
	}
	return nil, problem(http.StatusNotFound, "", "nothing was counted of "+excerpt.Short(in.Of))
}

func (s *Server) lifePicture(ctx context.Context, in *lifePictureQuery) (*answer[picture], error) {
	course, err := trace.CourseOf(ctx, s.journal, in.ID, in.Seq)
	if errors.Is(err, trace.ErrUnknown) {
		return nil, noBatch(in.ID)
	}
	if err != nil {
		return nil, s.unread(ctx, err)
	}
	m := s.maker(in.PictureSize)
	return draw(m, m.Life(course))
}
