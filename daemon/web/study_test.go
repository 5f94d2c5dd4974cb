package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/study"
	"potlifed/daemon/view"
	"potlifed/model/quality"
)

// asking is a study that remembers what it was asked.
type asking struct {
	study  []study.Request
	charts []study.ChartRequest
	err    error
}

func (a *asking) Study(_ context.Context, q study.Request) (study.Answer, error) {
	a.study = append(a.study, q)
	ratio, low, high, p := 1.12, 1.04, 1.21, 0.001
	at := time.Date(2026, 6, 8, 12, 7, 0, 0, time.UTC)
	return study.Answer{
		ComputedAt: &at,
		Verdict:    quality.MoreDefects, Prints: 9000, Kinds: []string{"dust"}, Relevant: 25, Model: "poisson", Clustering: quality.ByDay,
		Effects: []study.Effect{{Kind: "dust", Factor: "vapour_density_g_m3", Ratio: &ratio, Low: &low, High: &high, P: &p, Q: &p, Found: true, Method: quality.BiasReduced}},
	}, a.err
}

func (a *asking) Chart(_ context.Context, q study.ChartRequest) (study.Chart, error) {
	a.charts = append(a.charts, q)
	return study.Chart{Press: q.Press, Kind: study.All, By: study.ByHour, Type: quality.PChart, Points: []study.ChartPoint{}}, a.err
}

func TestStudy(t *testing.T) {
	s, asked := newStand(), &asking{}
	s.now.Presses[0].Defects = []view.DefectCount{{Kind: "dust", Words: "Dust"}}
	server := newServer(t, s)
	server.settings.Study = asked
	h := server.Handler()
	w := answerTo(h, fromHere("GET", "/api/v1/study?from=2026-06-01&to=2026-06-08T00:00:00Z&press=press-1&kind=dust&relevant_pct=10&model=logistic", ""))
	if w.Code != http.StatusOK {
		t.Fatalf("status %d: %s", w.Code, w.Body)
	}
	got := object(t, w)
	if got["headline"] != "Yes: humid air goes with more rejects (“Dust”)." || got["verdict"] != "more-defects" {
		t.Errorf("%v", got)
	}
	if said := w.Body.String(); !strings.Contains(said, "Things that go together need not cause each other.") {
		t.Errorf("no caution: %s", said)
	}
	asOf := "Computed at " + server.settings.Locale.Clock(time.Date(2026, 6, 8, 12, 7, 0, 0, time.UTC), time.Date(2026, 6, 8, 12, 7, 0, 0, time.UTC))
	if said := w.Body.String(); !strings.Contains(said, asOf) {
		t.Errorf("want %q: %s", asOf, said)
	}
	q := asked.study[0]
	if !q.To.Equal(time.Date(2026, 6, 8, 0, 0, 0, 0, time.UTC)) || q.From.IsZero() || q.Press != "press-1" || q.Kind != "dust" || q.Relevant != 0.1 || q.Family != quality.Binomial {
		t.Errorf("asked for %+v", q)
	}
	if answerTo(h, fromHere("GET", "/api/v1/study", "")); !asked.study[1].From.IsZero() || !asked.study[1].To.IsZero() || asked.study[1].Relevant != 0.25 {
		t.Errorf("asked for %+v", asked.study[1])
	}
	if w := answerTo(h, fromHere("GET", "/api/v1/study/chart?press=press-1&by=batch&runs=true", "")); w.Code != http.StatusOK || object(t, w)["press"] != "press-1" {
		t.Errorf("status %d: %s", w.Code, w.Body)
	}
	if c := asked.charts[0]; c.By != study.ByBatch || !c.Runs || c.To.Sub(c.From) != 31*24*time.Hour {
		t.Errorf("asked for %+v", c)
	}
	for _, query := range []string{"study?from=soon", "study?from=2026-06-08&to=2026-06-01", "study?relevant_pct=0", "study?model=cubic", "study/chart", "study/chart?press=press-1&by=week"} {
		isProblem(t, answerTo(h, fromHere("GET", "/api/v1/"+query, "")), http.StatusUnprocessableEntity)
	}
	asked.err = errors.New("no disk")
	isProblem(t, answerTo(h, fromHere("GET", "/api/v1/study", "")), http.StatusServiceUnavailable)
	isProblem(t, answerTo(h, fromHere("GET", "/api/v1/study/chart?press=press-1", "")), http.StatusServiceUnavailable)
	server.settings.Study = nil
	isProblem(t, answerTo(h, fromHere("GET", "/api/v1/study", "")), http.StatusServiceUnavailable)
}

// rejecting is a source of 40 days in which humid air goes with more rejects.
type rejecting struct{}

func (rejecting) Fill(_ context.Context, t *study.Table, f study.Filter) error {
	for day := range 40 {
		for cell := range 8 {
			c := study.Counts{
				Press: "press-1", Batch: fmt.Sprint(day), Ink: "dial-satin", At: at.Add(time.Duration(24*day-24*40)*time.Hour + time.Duration(cell)*15*time.Minute),
				Pieces: 300, Conditions: study.Unknown(),
			}
			humid := day % 4
			c.Conditions[quality.VapourDensity] = float64(7 + 2*humid)
			c.Conditions[quality.RelativeHumidity] = float64(40 + 10*humid)
			c.Conditions[quality.Temperature] = 20 + float64(cell%3)
			c.Conditions[quality.SpentLife] = float64(cell) / 8
			t.Add(c)
			c.Kind, c.Pieces = "dust", float64(1+humid+(day+cell)%2)
			t.Add(c)
		}
	}
	return nil
}

// TestStudyOfASource: what the API sends of a real study has all its parts.
func TestStudyOfASource(t *testing.T) {
	server := newServer(t, newStand())
	server.settings.Study = study.NewRunner(rejecting{}, time.UTC, time.Now)
	got := object(t, answerTo(server.Handler(), fromHere("GET", "/api/v1/study", "")))
	if got["verdict"] != "more-defects" || got["prints"] != 96000.0 || dig(got, "threshold", "kind") == nil || len(got["curves"].([]any)) != len(got["effects"].([]any)) {
		t.Errorf("%v", got)
	}
	got = object(t, answerTo(server.Handler(), fromHere("GET", "/api/v1/study/chart?press=press-1&runs=true", "")))
	if points, _ := got["points"].([]any); len(points) != 31*3 || got["by"] != "hour" {
		t.Errorf("%d points, by %v", len(points), got["by"])
	}
}
