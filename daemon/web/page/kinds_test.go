package page

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"potlifed/daemon/chart"
	"potlifed/daemon/figures"
	"potlifed/daemon/history"
	"potlifed/daemon/study"
	"potlifed/daemon/trace"
	"potlifed/daemon/words"
	"potlifed/model/health"
	"potlifed/model/lifecycle"
	"potlifed/model/quality"
)

// kinds are the pictures of the pages by the path that a page asks for, of the shop that has a report.
func kinds(t *testing.T, m figures.Maker) map[string]chart.Figure {
	t.Helper()
	shop, end := reportedShop{}, reported.AddDate(0, 0, 28)
	step, err := history.StepOf("6h", time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	air, _ := shop.ZoneAir(t.Context(), "hall", reported, end, step, 0)
	batches, _ := shop.Batches(t.Context(), history.Search{}, 0)
	checks, _ := shop.Checks(t.Context(), "", reported, end, nil, 0)
	answer, err := shop.Study(t.Context(), study.Request{})
	if err != nil {
		t.Fatal(err)
	}
	control, _ := shop.Chart(t.Context(), study.ChartRequest{Press: "press-1", From: reported, To: end})
	mixed, closed := reported.Add(8*time.Hour), reported.Add(15*time.Hour)
	course := trace.Course{Past: trace.Past{ID: "0611-2", MixedAt: &mixed, ClosedAt: &closed, Outcome: lifecycle.WentOff}}
	var days []health.Day
	var pans []health.PanDay
	for i := range 8 {
		at := mixed.Add(time.Duration(i) * time.Hour)
		course.Moments = append(course.Moments, trace.Moment{At: at, Spent: float64(i) / 7, Risk: float64(i*i) / 98})
		course.Forecasts = append(course.Forecasts, trace.Forecast{At: at, Low: closed.Add(-time.Hour), Expected: closed, High: closed.Add(2 * time.Hour)})
		date := end.AddDate(0, 0, i-9).Format(time.DateOnly)
		days = append(days, health.Day{Date: date, N: 900, Oldest: 8 * time.Second, Same: time.Minute})
		pans = append(pans, health.PanDay{Date: date, Settled: 40, Settle: time.Second, NoiseG: new(0.02), ZeroG: new(0.1), Oldest: time.Second})
	}
	return map[string]chart.Figure{
		"pictures/air": m.Air(reported, end, air, batches), "pictures/air?batches=false": m.Day(reported, end, air, nil),
		"pictures/sensors": m.Sensors("sensors", reported, end, air), "pictures/curve": m.Curve("curve", answer.Curves[0], ""),
		"pictures/control": m.Control(control, reported, end, air, batches), "pictures/kept": m.Kept(quality.NewKept(figures.Forecasted(batches))),
		"pictures/checks": m.Checks(reported, end, checks), "batches/0611-2/picture": m.Life(course),
		"pictures/health?of=sensors": m.SensorHealth(end, map[string][]health.Day{"hall-air": days}),
		"pictures/health?of=scales":  m.ScaleHealth(end, map[string][]health.PanDay{"scale-1": pans}),
	}
}

// TestEveryKindOfPictureIsRead: the values of each kind of picture are read by the keyboard and by touch, on a phone,
// and each has its data as a table.
func TestEveryKindOfPictureIsRead(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := cansShop(now)
	scenes["idle"](rows, now) // a mix on the stage leaves no room for a picture
	history := rows["batches/0611-2/history"].(trace.History)
	history.MixedAt = at(reported)
	rows["batches/0611-2/history"] = history
	f := newFakeBench(t, rows)
	next := f.Config.Handler
	m := figures.Maker{Locale: words.Locale{Zone: time.UTC}, Width: 400}
	drawn := kinds(t, m)
	f.Config.Handler = http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		path := strings.TrimPrefix(r.URL.Path, "/api/v1/")
		for _, name := range []string{"of", "batches"} {
			if v := r.URL.Query().Get(name); v != "" && v != "all" {
				path += "?" + name + "=" + v
			}
		}
		figure, known := drawn[path]
		if !known {
			next.ServeHTTP(w, r)
			return
		}
		var svg strings.Builder
		if err := figure.Render(&svg); err != nil {
			t.Error(err)
		}
		tables := []map[string]any{}
		for _, one := range m.Tables(figure) {
			tables = append(tables, map[string]any{"caption": one.Caption, "head": one.Head, "rows": one.Rows})
		}
		w.Header().Set("Content-Type", "application/json")
		json.NewEncoder(w).Encode(map[string]any{"title": figure.Title, "about": figure.About, "svg": svg.String(), "tables": tables})
	})
	b := openBrowser(t, 390, 844)
	b.run(chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
		_, err := cdp.Call(ctx, target, emulation.SetTouchEmulationEnabled, emulation.SetTouchEmulationEnabledParams{Enabled: true})
		return err
	}))
	for path, pictures := range map[string]int{"/study": 6, "/devices": 4, "/batches/0611-2": 1, "/": 1} {
		b.openAt(f, path)
		b.eventually(path+" has its pictures", fmt.Sprintf(`document.querySelectorAll(".picture svg.chart").length === %d`, pictures))
		for i := range pictures {
			of := fmt.Sprintf(`[...document.querySelectorAll(".picture")].filter((e) => e.querySelector("svg.chart"))[%d]`, i)
			what := fmt.Sprintf("%s, %q", path, eval[string](b, of+`.querySelector(".picture-title").textContent`))
			value := of + `.querySelector(".picture-value").textContent`
			eval[bool](b, of+`.querySelector(".mark[tabindex='0']").focus() ?? true`)
			first := eval[string](b, value)
			b.run(chromedp.KeyEvent(kb.ArrowRight))
			if second := eval[string](b, value); first == "" || second == "" || second == first {
				t.Errorf("%s: the keyboard reads %q, then %q", what, first, second)
			}
			b.touches(of + `.querySelector(".mark:last-of-type .target, .mark .target")`)
			if got, want := eval[string](b, value), eval[[]string](b, fmt.Sprintf(`[...%s.querySelectorAll(".mark")].map((e) => e.getAttribute("aria-label"))`, of)); got == "" || !slices.Contains(want, got) {
				t.Errorf("%s: touch reads %q", what, got)
			}
			if n := eval[int](b, of+`.querySelectorAll(".picture-tables td").length`); n < 2 {
				t.Errorf("%s: its table has %d cells", what, n)
			}
		}
	}
}

// touches taps the middle of an element with a finger, and once more where the page moved under the finger: a
// picture that is drawn later than others pushes them down.
func (b *browser) touches(element string) {
	b.t.Helper()
	at := fmt.Sprintf(`(() => { const r = %s.getBoundingClientRect(); return [r.left + r.width / 2, r.top + r.height / 2]; })()`, element)
	value := fmt.Sprintf(`%s.closest("figure").querySelector(".picture-value")`, element)
	eval[bool](b, fmt.Sprintf(`(%s.scrollIntoView({block: "center", behavior: "instant"}), true)`, element))
	eval[string](b, value+`.textContent = ""`)
	for range 20 {
		middle := eval[[2]float64](b, at)
		for _, one := range []input.DispatchTouchEventParams{
			{Type: input.DispatchTouchEventTypeTouchStart, TouchPoints: []*input.TouchPoint{{X: middle[0], Y: middle[1]}}}, {Type: input.DispatchTouchEventTypeTouchEnd, TouchPoints: []*input.TouchPoint{}},
		} {
			b.run(chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
				_, err := cdp.Call(ctx, target, input.DispatchTouchEvent, one)
				return err
			}))
		}
		taken := fmt.Sprintf(`%s.textContent !== ""`, value)
		b.eventually("the tap is taken, or the page has moved", fmt.Sprintf(`%s || String(%s) !== %q`, taken, at, fmt.Sprintf("%v,%v", middle[0], middle[1])))
		if eval[bool](b, taken) {
			return
		}
	}
	b.t.Fatalf("%s moves without an end", element)
}
