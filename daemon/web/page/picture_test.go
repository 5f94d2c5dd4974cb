package page

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"potlifed/daemon/figures"
	"potlifed/daemon/history"
	"potlifed/daemon/study"
	"potlifed/daemon/words"
	"potlifed/model/quality"
)

// pictured answers every picture with the air of a day, and the study of no prints.
func pictured(mux *http.ServeMux, l words.Locale) {
	draw := func(w http.ResponseWriter, r *http.Request) {
		width, err := strconv.Atoi(r.URL.Query().Get("width"))
		if err != nil {
			w.WriteHeader(http.StatusUnprocessableEntity)
			return
		}
		m := figures.Maker{Locale: l, Width: width}
		from := time.Date(2026, 6, 12, 0, 0, 0, 0, time.UTC)
		var rows []history.Air
		for i := range 96 {
			at := from.Add(time.Duration(i) * history.Quarter)
			rows = append(rows, history.Air{Time: at, To: at.Add(history.Quarter), Zone: "1", HumidityPct: 50, LowHumidityPct: 48, HighHumidityPct: 52})
		}
		f := m.Air(from, from.Add(24*time.Hour), rows, nil)
		f.ID = strings.ReplaceAll(strings.Trim(r.URL.Path, "/"), "/", "-") + r.URL.Query().Get("press") // unique on a page
		var svg strings.Builder
		if err := f.Render(&svg); err != nil {
			w.WriteHeader(http.StatusInternalServerError)
			return
		}
		type table struct {
			Caption string     `json:"caption"`
			Head    []string   `json:"head"`
			Rows    [][]string `json:"rows"`
		}
		var tables []table
		for _, t := range m.Tables(f) {
			tables = append(tables, table(t))
		}
		w.Header().Set("Content-Type", "application/json")
		out := map[string]any{"title": f.Title, "about": f.About, "svg": svg.String(), "tables": tables}
		if strings.HasSuffix(r.URL.Path, "/checks") {
			out["empty"], out["tables"] = l.Say("figure.checks.empty"), []table{}
		}
		json.NewEncoder(w).Encode(out)
	}
	mux.HandleFunc("GET /api/v1/pictures/{name}", draw)
	mux.HandleFunc("GET /api/v1/batches/{id}/picture", draw)
	mux.HandleFunc("GET /api/v1/study", func(w http.ResponseWriter, r *http.Request) {
		a, err := study.Make(r.Context(), study.NewTable(study.Filter{}), quality.Options{Relevant: quality.UsualRelevant}, time.UTC)
		if err != nil {
			w.WriteHeader(http.StatusInternalServerError)
			return
		}
		w.Header().Set("Content-Type", "application/json")
		json.NewEncoder(w).Encode(a.Tell(l, func(id string) string { return id }))
	})
}

// TestStudyWithoutAnAnswer: a study that the bench does not answer, or answers in part, is refused in a
// person's words, and is asked for again when there is contact.
func TestStudyWithoutAnAnswer(t *testing.T) {
	f := newFakeBench(t, map[string]any{"presses": []any{}})
	next := f.Config.Handler
	asked := make(chan int, 10)
	n := 0
	f.Config.Handler = http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path != "/api/v1/study" {
			next.ServeHTTP(w, r)
			return
		}
		n++ // the page asks for one at a time
		asked <- n
		switch n {
		case 1:
			panic(http.ErrAbortHandler) // the connection ends without an answer
		case 2:
			io.WriteString(w, `{"headline": "cut sh`)
		default:
			next.ServeHTTP(w, r)
		}
	})
	b := openBrowser(t, 800, 800)
	b.expect("ERR_EMPTY_RESPONSE")
	b.expect("503")
	b.openAt(f, "/study")
	for range 2 {
		<-asked
		b.sees(".refusal", "The bench did not answer, so this is not shown.")
		b.eventually("nothing is being computed", `document.querySelector(".study-headline").textContent === ""`)
		f.cut()
		f.mu.Lock()
		f.silent = false
		f.mu.Unlock()
	}
	b.sees(".study-headline", "Nothing can be said yet")
}

// TestPictureIsReadByKeyboard: the values of a picture are reached by the arrow keys and written
// below it, and its data is a table.
func TestPictureIsReadByKeyboard(t *testing.T) {
	f := newFakeBench(t, map[string]any{"presses": []any{}})
	b := openBrowser(t, 1280, 800)
	b.openAt(f, "/study")
	b.sees(".study-headline", "Nothing can be said yet")
	b.eventually("the marks of a picture", `document.querySelectorAll(".picture-drawing .mark").length > 10`)
	read := func() string {
		b.run(chromedp.KeyEvent(kb.ArrowRight))
		return eval[string](b, `document.querySelector(".picture-value").textContent`)
	}
	eval[bool](b, `document.querySelector(".picture-drawing .mark").focus() ?? true`)
	first, second := read(), read()
	if !strings.Contains(first, "1, 12 Jun 2026") || first == second {
		t.Errorf("the arrow keys read %q, then %q", first, second)
	}
	b.click(".picture-data summary")
	b.sees(".picture-tables", "Relative humidity, %")
}

// TestPictureOfATurnedScreen: a picture is drawn again for another width, so that its letters keep their size; the
// mark that is read stays.
func TestPictureOfATurnedScreen(t *testing.T) {
	t.Parallel()
	b := openBrowser(t, 800, 1280)
	b.openAt(newFakeBench(t, shop(time.Now())), "/study")
	b.eventually("the marks of a picture", `document.querySelectorAll(".picture-drawing .mark").length > 10`)
	const letters = `(() => { const svg = document.querySelector(".picture-drawing svg"); return parseFloat(getComputedStyle(svg.querySelector("text")).fontSize) * svg.getBoundingClientRect().width / svg.viewBox.baseVal.width; })()`
	upright := eval[float64](b, letters)
	eval[bool](b, `document.querySelectorAll(".picture-drawing .mark")[3].focus() ?? true`)
	for _, s := range []size{phone, wide} {
		b.run(chromedp.EmulateViewport(s.width, s.height))
		b.eventually("its letters have their size again", fmt.Sprintf("Math.abs(%s - %v) < 0.06 * %v", letters, upright, upright))
		if at := eval[int](b, `[...document.querySelectorAll(".picture-drawing .mark")].indexOf(document.activeElement)`); at != 3 {
			t.Errorf("%d px: mark %d is read, want the one that was", s.width, at)
		}
	}
}

// TestPictureWithoutData: where nothing is to be drawn, a sentence says so and takes no more room than that.
func TestPictureWithoutData(t *testing.T) {
	t.Parallel()
	b := openBrowser(t, 1280, 800)
	b.openAt(newFakeBench(t, shop(time.Now())), "/devices")
	b.sees("main", "No check has been recorded in this period.")
	height := `[...document.querySelectorAll(".picture")].map((e) => Math.round(e.getBoundingClientRect().height))`
	b.eventually("the others", `document.querySelectorAll(".picture svg").length === 3`)
	if heights := eval[[]int](b, height); len(heights) != 4 || heights[3] > 120 {
		t.Errorf("the pictures are %d px high; want little for the one without data", heights)
	}
	gaps := `[...document.querySelectorAll(".picture")].slice(1).map((e) => Math.round(e.getBoundingClientRect().top - e.previousElementSibling.getBoundingClientRect().bottom))`
	if got := eval[[]int](b, gaps); slices.Min(got) < 24 {
		t.Errorf("the pictures stand %d px apart, so that a heading without a picture belongs to neither", got)
	}
}

// TestPlaceOfAPictureIsNarrow: while a picture has not come, its place is no wider than a phone.
func TestPlaceOfAPictureIsNarrow(t *testing.T) {
	t.Parallel()
	b := openBrowser(t, 320, 640)
	f := newFakeBench(t, shop(time.Now()))
	release := f.hold("/api/v1/pictures/")
	defer release()
	b.run(chromedp.Navigate(f.URL + "/devices"))
	b.eventually("its place", `document.querySelector(".picture-drawing")?.getBoundingClientRect().height >= 420`)
	b.eventually("what comes there", `document.querySelector(".picture-drawing").innerText === "Being drawn…"`)
	if width := eval[int](b, `document.documentElement.scrollWidth`); width > 320 {
		t.Errorf("the page is %d px wide", width)
	}
}

// TestStudyOfTheAddress: the fields show what the page's address asks for, also a press and a kind that the bench
// names later, and the address follows the fields, so that a link to the page keeps them.
func TestStudyOfTheAddress(t *testing.T) {
	t.Parallel()
	b := openBrowser(t, 800, 800)
	b.openAt(newFakeBench(t, shop(time.Now())), "/study?from=2025-12-01&to=2026-02-30&press=press-1&factor=spent")
	b.eventually("the press by its name", `document.querySelectorAll(".study-form [name=press] option").length > 2`)
	const fields = `[...document.querySelectorAll(".study-form :is(input, select)")].map((e) => e.value).join()`
	if got := eval[string](b, fields); got != "2025-12-01,,press-1,,spent" {
		t.Errorf("the fields are %s", got)
	}
	asked := func(query string) {
		t.Helper()
		b.eventually("it asks for "+query, fmt.Sprintf(`performance.getEntriesByType("resource").some((e) => e.name.includes(%q))`, query))
	}
	asked("/api/v1/study?from=2025-12-01&press=press-1")
	asked("pictures/control?from=2025-12-01&press=press-1")
	eval[bool](b, `(() => { const to = document.querySelector(".study-form [name=to]"); to.value = "2026-02-28"; return to.dispatchEvent(new Event("change", { bubbles: true })); })()`)
	asked("/api/v1/study?from=2025-12-01&to=2026-03-01&press=press-1")
	if got := eval[string](b, `location.search`); got != "?from=2025-12-01&to=2026-02-28&press=press-1&factor=spent" {
		t.Errorf("the address is %s", got)
	}
}

// TestAYearOfAir: one choice shows what the sensors measured in a year.
func TestAYearOfAir(t *testing.T) {
	t.Parallel()
	b := openBrowser(t, 390, 800)
	b.openAt(newFakeBench(t, shop(time.Now())), "/devices")
	b.click(`#pictures input[value="365"]`)
	from := time.Now().AddDate(0, 0, -365).UTC().Format("2006-01")
	b.eventually("it asks for a year", fmt.Sprintf(`performance.getEntriesByType("resource").some((e) => e.name.includes("pictures/sensors?from=%s"))`, from))
}
