package page

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"potlifed/daemon/trace"
	"potlifed/model/lifecycle"
)

// closed answers for the batches that have ended as the server does: those of the span that are
// asked for, newest first, in pages. It is called with the mutex held.
func (f *fakeBench) closed(q url.Values) map[string]any {
	f.queries = append(f.queries, q)
	f.tell()
	all, _ := f.rows["closed"].([]trace.Ended)
	from, _ := time.Parse(time.RFC3339, q.Get("from"))
	to, err := time.Parse(time.RFC3339, q.Get("to"))
	if err != nil {
		to = f.made.AddDate(1, 0, 0)
	}
	limit, _ := strconv.Atoi(q.Get("limit"))
	before, _ := strconv.ParseUint(q.Get("before"), 10, 64)
	found, next := []trace.Ended{}, uint64(0)
	for _, b := range all {
		if b.ClosedAt.Before(from) || !b.ClosedAt.Before(to) || before > 0 && b.Seq >= before || q.Get("outcome") != "" && q.Get("outcome") != string(b.Outcome) {
			continue
		}
		if len(found) == limit {
			next = found[limit-1].Seq
			break
		}
		found = append(found, b)
	}
	return map[string]any{"batches": found, "next": next, "seq": 7}
}

// answerClosed answers in JSON, or as CSV with the header that leads to the next page. It is called with the mutex held.
func (f *fakeBench) answerClosed(w http.ResponseWriter, q url.Values) {
	page := f.closed(q)
	if q.Get("format") != "csv" {
		json.NewEncoder(w).Encode(page)
		return
	}
	w.Header().Set("Content-Type", "text/csv; charset=utf-8")
	if next := page["next"].(uint64); next > 0 {
		q.Set("before", strconv.FormatUint(next, 10))
		w.Header().Set("Link", "</api/v1/batches?"+q.Encode()+`>; rel="next"`)
	}
	fmt.Fprintln(w, "id,ink")
	for _, b := range page["batches"].([]trace.Ended) {
		fmt.Fprintf(w, "%s,%s\n", b.ID, b.Ink)
	}
}

// endedDay is a local day with so many batches, the newest first.
func endedDay(day time.Time, first uint64, n int) (rows []trace.Ended) {
	f := func(v float64) *float64 { return &v }
	for i := range n {
		closed := time.Date(day.Year(), day.Month(), day.Day(), 6+i/3, 10*(i%6), 0, 0, time.Local)
		b := trace.Ended{
			ID: fmt.Sprintf("%s-%d", day.Format("0102"), i+1), Seq: first + uint64(i), Ink: "dial-satin", Cup: "cup-110", Colour: "dark", Artwork: "fine-detail", ClosedAt: closed, MixedAt: at(closed.Add(-6 * time.Hour)),
			Presses: []trace.Stay{{Press: "press-1", From: closed.Add(-5 * time.Hour), To: &closed, Prints: 820}}, Prints: 820, Defects: map[string]int64{"dust": 2, "ghost": 1},
			Outcome: []lifecycle.Outcome{"used-up", "went-off", "discarded"}[i%3], AgeS: f(21600), Spent: f(0.874), MeanTemperatureC: f(21.34), MeanHumidityPct: f(48.4), LeftG: f(3.4),
		}
		rows = append(rows, b)
	}
	slices.Reverse(rows)
	return rows
}

// closedShop has a full day today, and before it days with few batches and with what is not
// known of some. It is noon.
func closedShop() (rows map[string]any, noon time.Time) {
	y, m, d := time.Now().Date()
	noon = time.Date(y, m, d, 12, 0, 0, 0, time.Local)
	rows = shop(noon)
	ended := append(endedDay(noon, 500, 14), endedDay(noon.AddDate(0, 0, -1), 400, 5)...)
	old := endedDay(noon.AddDate(0, 0, -9), 300, 3)
	old[0].MixedAt, old[0].AgeS, old[0].Spent, old[0].MeanTemperatureC, old[0].MeanHumidityPct, old[0].Outcome = nil, nil, nil, nil, nil, "abandoned"
	old[1].AtLeast, old[1].PouredInto, old[1].Presses, old[1].LeftG = true, old[2].ID, nil, nil
	old[2].Ink = "a-name-of-an-ink-" + strings.Repeat("that-is-long-", 8) // 120 characters and no gap
	rows["closed"] = append(ended, old...)
	return rows, noon
}

func newClosedBench(t *testing.T) (f *fakeBench, noon time.Time) {
	rows, noon := closedShop()
	f = newFakeBench(t, rows)
	f.made = noon
	return f, noon
}

func TestClosedPage(t *testing.T) {
	t.Parallel()
	f, noon := newClosedBench(t)
	b := openBrowser(t, 1280, 800)
	b.openAt(f, "/closed")
	b.sees(".day-name", noon.Format("Mon 2 Jan 2006"))
	b.sees(".day-sum", "14 batches; ")
	b.sees(".day-sum", "11480 prints")
	first := endedDay(noon, 500, 14)[0]
	row := eval[string](b, `document.querySelector(".closed-row").innerText.replaceAll("\u00a0", " ").replaceAll(/\s+/g, " ")`)
	for _, want := range []string{first.ID, "dial-satin, dark ink, fine detail motif", "press-1", first.ClosedAt.Format("15:04"), first.MixedAt.Format("15:04"), "6 h 00 min", "87 %", "21.3 °C, 48 %", "820 prints, 3 rejects", "3.4 g"} {
		if !strings.Contains(row, want) {
			t.Errorf("the first row says %q, and not %q", row, want)
		}
	}
	if to := eval[string](b, `document.querySelector(".closed-link").getAttribute("href")`); to != fmt.Sprintf("/batches/%s?seq=%d", first.ID, first.Seq) {
		t.Errorf("it leads to %s", to)
	}
	// A day of which there is more is not summed up.
	if rows := eval[int](b, `document.querySelectorAll(".closed-row").length`); rows != 20 {
		t.Errorf("%d rows at first", rows)
	}
	b.press("Further back…")
	b.sees(".day-name", noon.AddDate(0, 0, -9).Format("Mon 2 Jan 2006"))
	b.sees(".closed-row", "poured into")
	b.sees(".closed-row", "at least 6 h 00 min")
	b.sees(".closed-row", "no hardener")
	b.eventually("that was all", `![...document.querySelectorAll("button")].some((e) => e.checkVisibility() && e.innerText === "Further back…")`)
	for _, s := range []size{wide, tall, phone, zoom, {320, 640}} {
		b.looks("closed", s)
	}

	// Each choice asks again and is kept in the address.
	b.run(chromedp.Evaluate[chromedp.Void](`(() => { const s = document.querySelector('[name="outcome"]'); s.value = "went-off"; s.dispatchEvent(new Event("change", {bubbles: true})); })()`))
	b.eventually("only those that went off", `document.querySelectorAll(".closed-row").length === 8 && location.search === "?outcome=went-off"`)
	b.run(chromedp.Evaluate[chromedp.Void](`(document.querySelector('[name="search"]').value = " A 17 ", undefined)`))
	b.press("Search")
	asked := f.lastQuery(t, "search", "A 17")
	if asked.Get("outcome") != "went-off" || asked.Get("state") != "closed" {
		t.Errorf("asked for %v", asked)
	}
	b.press("Show all")
	b.eventually("all again", `document.querySelectorAll(".closed-row").length === 20 && location.search === ""`)
}

// The table for a spreadsheet has every batch that is asked for, however many answers of the bench that takes.
func TestTheTableHasEveryBatch(t *testing.T) {
	t.Parallel()
	f, noon := newClosedBench(t)
	f.mu.Lock()
	f.rows["closed"] = endedDay(noon.AddDate(0, 0, -1), 1000, 230)
	f.mu.Unlock()
	b := openBrowser(t, 1280, 800)
	b.openAt(f, "/closed")
	b.sees(".csv-button", "As a table for a spreadsheet (CSV)")
	b.run(chromedp.Evaluate[chromedp.Void](`(URL.createObjectURL = (blob) => { blob.text().then((text) => { window.saved = text; }); return "#saved"; }, undefined)`))
	b.press("As a table for a spreadsheet (CSV)")
	b.eventually("a file", `window.saved !== undefined`)
	lines := strings.Split(strings.TrimSpace(eval[string](b, `window.saved`)), "\n")
	if len(lines) != 231 || lines[0] != "id,ink" || slices.Contains(lines[1:], "id,ink") || !strings.HasSuffix(lines[230], "-1,dial-satin") {
		t.Errorf("%d lines: %q to %q", len(lines), lines[0], lines[len(lines)-1])
	}
	b.sees(".csv-button", "As a table for a spreadsheet (CSV)")
}

// A bench at which nothing has ended says so, and does not speak of a search.
func TestClosedPageOfANewBench(t *testing.T) {
	t.Parallel()
	f, b := newFakeBench(t, shop(time.Now())), openBrowser(t, 1280, 800)
	b.openAt(f, "/closed")
	b.sees("#closed", "No batch has ended yet.")
}

// TestSheetOfADay: the sheet of a day holds all of it, and on paper there is the sheet alone.
func TestSheetOfADay(t *testing.T) {
	t.Parallel()
	f, noon := newClosedBench(t)
	b := openBrowser(t, 1280, 800)
	yesterday := noon.AddDate(0, 0, -1)
	b.openAt(f, "/closed?day="+yesterday.Format(time.DateOnly)+"&press=press-7")
	b.sees(".sheet-title", "Closed batches, "+yesterday.Format("Mon 2 Jan 2006")+", press-7")
	b.sees(".day-sum", "5 batches")
	asked := f.lastQuery(t, "press", "press-7")
	if asked.Get("from") != time.Date(yesterday.Year(), yesterday.Month(), yesterday.Day(), 0, 0, 0, 0, time.Local).UTC().Format("2006-01-02T15:04:05.000Z") {
		t.Errorf("asked for %v", asked)
	}
	b.looks("closed-day", wide, phone)
	b.press("The day after")
	b.sees(".day-sum", "14 batches")
	b.press("The day after")
	b.sees("#closed", "No batch like that ended on")
	b.press("The day before")
	b.sees(".day-sum", "14 batches")

	b.run(chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
		_, err := cdp.Call(ctx, target, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"})
		return err
	}))
	if shown := eval[[]string](b, `[...document.querySelectorAll("nav, button, input, select, #contact, #caution, .csv-button")].filter((e) => e.checkVisibility()).map((e) => e.outerHTML)`); len(shown) > 0 {
		t.Errorf("on paper there is %s", shown[0])
	}
	b.sees(".sheet-title", noon.Format("Mon 2 Jan 2006"))
	if columns := eval[int](b, `[...document.querySelectorAll(".closed-table th")].filter((e) => e.checkVisibility()).length`); columns != 11 {
		t.Errorf("%d columns on paper", columns)
	}
	b.keepsPaper("closed-sheet")
}

// keepsPaper prints the page, which must fit one sheet of A4, and keeps it where -artifacts asks.
func (b *browser) keepsPaper(name string) {
	b.t.Helper()
	var printed []byte
	b.run(chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
		out, err := cdp.Call(ctx, target, page.PrintToPDF, page.PrintToPDFParams{PaperWidth: 8.27, PaperHeight: 11.69})
		if err == nil {
			printed = out.Data
		}
		return err
	}))
	if pages := strings.Count(string(printed), "/Type /Page\n"); pages > 1 {
		b.t.Errorf("%s: %d sheets of paper", name, pages)
	}
	if err := os.WriteFile(filepath.Join(b.t.ArtifactDir(), name+".pdf"), printed, 0o644); err != nil {
		b.t.Fatal(err)
	}
}

// With many rows nothing breaches WCAG.
func TestClosedPageIsAccessible(t *testing.T) {
	t.Parallel()
	b, axe := openAxe(t)
	f, noon := newClosedBench(t)
	b.openAt(f, "/closed")
	b.sees(".closed-row", "dial-satin")
	b.accessible(axe, "/closed", wide, tall, phone)
	b.openAt(f, "/closed?day="+noon.Format(time.DateOnly))
	b.sees(".closed-row", "dial-satin")
	b.accessible(axe, "/closed of a day", wide, phone)
}

// lastQuery waits until closed batches were asked for with a parameter, and returns what was
// asked for last.
func (f *fakeBench) lastQuery(t *testing.T, name, value string) url.Values {
	t.Helper()
	var last url.Values
	f.until(t, "a question with "+name+" "+value, func() bool {
		if n := len(f.queries); n > 0 {
			last = f.queries[n-1]
		}
		return last.Get(name) == value
	})
	return last
}

// TestFieldsKeepTheirPlaceOnAPhone: a field for a date is no wider than its column.
func TestFieldsKeepTheirPlaceOnAPhone(t *testing.T) {
	t.Parallel()
	f, _ := newClosedBench(t)
	b := openBrowser(t, 390, 844)
	for _, path := range []string{"/closed", "/study"} {
		b.openAt(f, path)
		b.drawn(path)
		for _, found := range eval[[]string](b, `[...document.querySelectorAll("form .field")].filter((e) => e.checkVisibility()).flatMap((e) => {
			const input = e.querySelector("input, select").getBoundingClientRect(), field = e.getBoundingClientRect();
			return input.right > field.right + 1 ? [e.innerText + " is " + input.width + " px wide in " + field.width] : [];
		})`) {
			t.Errorf("%s: %s", path, found)
		}
	}
}

// TestBatchPageAfterASplit: what was poured agrees with what happened, and what is in the cup is
// told beside it.
func TestBatchPageAfterASplit(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := cansShop(now)
	p := past(now)
	whole := p.Parts
	p.Parts = slices.Clone(whole)
	for i := range p.Parts {
		p.Parts[i].G /= 2
	}
	rows["batches/0611-2/history"] = trace.History{Past: p, Poured: whole, Events: []json.RawMessage{
		[]byte(`{"time":"2026-06-11T06:02:00Z","seq":72,"kind":"confirmed","by":"anna","batch":"0611-2","step":"ink","part":"ink","added_g":45}`),
		[]byte(`{"time":"2026-06-11T06:09:00Z","seq":74,"kind":"split","by":"anna","batch":"0611-2b","from":"0611-2","g":54.6}`),
	}}
	f, b := newFakeBench(t, rows), openBrowser(t, 1280, 800)
	b.openAt(f, "/batches/0611-2?seq=71")
	b.sees(".history", "45.0 g of ink poured")
	part := func(heading string) string {
		return eval[string](b, fmt.Sprintf(`[...document.querySelectorAll(".history-part")].find((e) => e.querySelector("h3").innerText === %q)?.innerText.replaceAll(/\s+/g, " ") ?? ""`, heading))
	}
	if poured := part("Poured"); !strings.Contains(poured, "45.0 g ink from ink-0") {
		t.Errorf("poured: %q", poured)
	}
	if left := part("In it at the end"); !strings.Contains(left, "42.5 g ink") {
		t.Errorf("in it: %q", left)
	}
}
