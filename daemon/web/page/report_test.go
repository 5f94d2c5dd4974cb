package page

import (
	"bytes"
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"potlifed/daemon/history"
	"potlifed/daemon/report"
	"potlifed/daemon/study"
	"potlifed/daemon/view"
	"potlifed/daemon/words"
	"potlifed/model/lifecycle"
	"potlifed/model/quality"
)

var reported = time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC)

// reportedShop is four weeks of a press with twice as many rejects on humid days, with checks of its sensor and
// batches of which some went off.
type reportedShop struct{}

func (reportedShop) humidity(day int) float64 { return 40 + 25*float64(day%2) + float64(day%5) }

func (s reportedShop) ZoneAir(_ context.Context, zone string, from, to time.Time, step history.Step, _ int) (rows []history.Air, err error) {
	for at := step.Begin(from); at.Before(to); at = step.Next(at) {
		h := s.humidity(int(at.Sub(reported).Hours() / 24))
		rows = append(rows, history.Air{Time: at, To: step.Next(at), Zone: zone, TemperatureC: 21, HumidityPct: h, LowHumidityPct: h - 2, HighHumidityPct: h + 2})
	}
	return rows, nil
}

func (s reportedShop) Batches(context.Context, history.Search, int) (batches []history.Batch, err error) {
	for day := range 28 {
		mixed, risk := reported.AddDate(0, 0, day).Add(8*time.Hour), float64(day)/28
		b := history.Batch{
			ID: fmt.Sprintf("06%02d-1", day+1), Ink: "gloss-4", Press: "press-1", MixedAt: &mixed, ClosedAt: mixed.Add(5 * time.Hour), Outcome: lifecycle.UsedUp,
			StillGood: lifecycle.GoodYes, Lots: "A-1", Prints: 4000, Defects: 30, Risk: &risk, Spent: &risk,
		}
		if day%4 == 3 {
			b.Outcome, b.StillGood = lifecycle.WentOff, ""
		}
		batches = append(batches, b)
	}
	return batches, nil
}

func (reportedShop) Checks(context.Context, string, time.Time, time.Time, *time.Location, int) ([]history.Check, error) {
	read, off := 73.0, -2.3
	return []history.Check{
		{Time: reported.AddDate(0, 0, 4), Sensor: "hall-air", Passed: true, ReferencePct: 75.3, ReadPct: &read, OffPct: &off, AllowedPct: 3},
		{Time: reported.AddDate(0, 0, 9), Sensor: "hall-air", ReferencePct: 75.3, ReadPct: &read, OffPct: &off, AllowedPct: 2},
	}, nil
}

func (s reportedShop) table() *study.Table {
	t := study.NewTable(study.Filter{})
	for day := range 28 {
		for cell := range 16 {
			c := study.Counts{Press: "press-1", Batch: fmt.Sprintf("06%02d-1", day+1), Ink: "gloss-4", At: reported.AddDate(0, 0, day).Add(8*time.Hour + time.Duration(cell)*history.Quarter), Pieces: 250, Conditions: study.Unknown()}
			c.Conditions[quality.RelativeHumidity], c.Conditions[quality.Temperature] = s.humidity(day), 20+float64(cell%3)
			c.Conditions[quality.VapourDensity] = 0.18 * s.humidity(day)
			t.Add(c)
			c.Kind, c.Pieces, c.Conditions = "pinholes", float64((2+(day+cell)%3)*(1+day%2)), study.Unknown()
			t.Add(c)
		}
	}
	return t
}

func (s reportedShop) Study(ctx context.Context, _ study.Request) (study.Answer, error) {
	return study.Make(ctx, s.table(), quality.Options{Relevant: quality.UsualRelevant}, time.UTC)
}

func (s reportedShop) Chart(_ context.Context, q study.ChartRequest) (study.Chart, error) {
	return s.table().Chart(q, time.UTC), nil
}

// reportFile is the file of a report that has every part.
func reportFile(t *testing.T) []byte {
	t.Helper()
	var file bytes.Buffer
	err := report.Write(t.Context(), &file, report.Sources{
		Bench: "bench-1", History: reportedShop{}, Study: reportedShop{}, Zones: []string{"hall"}, Presses: []report.Press{{ID: "press-1", Zone: "hall"}},
		Locale: words.Locale{Zone: time.UTC}, Kind: func(id string) string { return id },
	}, report.Request{From: reported, To: reported.AddDate(0, 0, 28)})
	if err != nil {
		t.Fatal(err)
	}
	return file.Bytes()
}

// TestNoReportBreachesWCAG judges the file of a report that has every part, with its tables folded and open.
func TestNoReportBreachesWCAG(t *testing.T) {
	t.Parallel()
	b, axe := openAxe(t)
	file := reportFile(t)
	served := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { // axe-core judges nothing at an address of a file
		w.Header().Set("Content-Type", "text/html")
		w.Write(file)
	}))
	t.Cleanup(served.Close)
	b.run(chromedp.Navigate(served.URL))
	if n := eval[int](b, `document.querySelectorAll("svg.chart").length`); n != 5 {
		t.Fatalf("%d pictures: want the air, rejects over the vapour, a control chart, kept forecasts and checks", n)
	}
	b.accessible(axe, "the file of a report", wide)
	b.run(chromedp.Evaluate[chromedp.Void](`document.querySelectorAll("details").forEach((d) => { d.open = true });undefined`))
	b.accessible(axe, "the file of a report, tables open", phone)
}

// TestReportsOnAPhone: the record of a check and a report are read on a phone: no letter stands alone on its line,
// nothing moves the page sideways, a report says that its pictures are moved, and a link leads back.
func TestReportsOnAPhone(t *testing.T) {
	t.Parallel()
	var check bytes.Buffer
	sensor := view.Sensor{ID: "hall-air", CheckPoints: []view.SensorCheckPoint{{At: reported, Salt: "sodium-chloride", ReadPct: 66, ReferencePct: 75.5, OffPct: -9.5, AllowedPct: 3, By: "local"}}}
	if _, err := report.WriteCheck(&check, "bench-1", "/devices", sensor, earlierChecks(), words.Locale{Zone: time.UTC}); err != nil {
		t.Fatal(err)
	}
	files := map[string][]byte{"/check": check.Bytes(), "/report": bytes.Replace(reportFile(t), []byte("<header>"), []byte(`<header><a class="back" href="/study">Back</a>`), 1)}
	served := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "text/html")
		w.Write(files[r.URL.Path])
	}))
	t.Cleanup(served.Close)
	b := openBrowser(t, 390, 844)
	b.expect("404")
	for path := range files {
		b.run(chromedp.Navigate(served.URL + path))
		if over := eval[int](b, `document.documentElement.scrollWidth - innerWidth`); over > 0 {
			t.Errorf("%s is %d px wider than the screen", path, over)
		}
		const narrow = `[...document.querySelectorAll("caption, td, th")].filter((e) => e.checkVisibility() && getComputedStyle(e).clipPath === "none" && e.offsetWidth > 0 && e.offsetWidth < 20).map((e) => e.outerHTML.slice(0, 60)).join()`
		if got := eval[string](b, narrow); got != "" {
			t.Errorf("%s: too narrow to be read: %s", path, got)
		}
		if h := eval[int](b, `document.querySelector(".back").offsetHeight`); h < 44 {
			t.Errorf("%s: the link back is %d px high", path, h)
		}
	}
	b.run(chromedp.Navigate(served.URL + "/report"))
	b.sees("header", "Pictures and tables are wider than this screen: move them sideways.")
	b.run(chromedp.EmulateViewport(wide.width, wide.height))
	b.eventually("nothing is said on a wide screen", `!document.querySelector(".moves").checkVisibility()`)
}

// earlierChecks is a check of a year ago with a long note.
func earlierChecks() []history.Check {
	read, off := 51.2, -1.9
	return []history.Check{{
		Time: time.Date(2025, 6, 12, 9, 0, 0, 0, time.UTC), By: "local", ReferencePct: 53.1, ReadPct: &read, OffPct: &off, AllowedPct: 3, Passed: true,
		Note: "meter 11, certificate K-2025-118-of-the-laboratory-that-has-a-long-name",
	}}
}
