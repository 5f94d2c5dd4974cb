package page

import (
	"bytes"
	"encoding/json"
	"fmt"
	"image/png"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode"

	"potlifed/daemon/record"
	"potlifed/daemon/trace"
	"potlifed/daemon/view"
	"potlifed/daemon/web/label"
	"potlifed/model/can"
	"potlifed/model/lifecycle"
	"potlifed/model/mix"
)

// thing answers what belongs to one thing: the rows hold it under its path.
func (f *fakeBench) thing(w http.ResponseWriter, r *http.Request) {
	f.mu.Lock()
	defer f.mu.Unlock()
	v, ok := f.rows[r.PathValue("list")+"/"+r.PathValue("id")+"/"+r.PathValue("part")]
	if !ok {
		w.Header().Set("Content-Type", "application/problem+json")
		w.WriteHeader(http.StatusNotFound)
		v = problem(404, "there is nothing of that name")
	}
	json.NewEncoder(w).Encode(v)
}

func canRows(now time.Time) []view.Can {
	return []view.Can{
		{ID: "hardener-2", Part: mix.Hardener, Material: "hardener-a", Lot: "H 3", State: view.CanExpired, OpenedOn: "2026-02-01", LastDay: "2026-05-02", MadeAt: now},
		{ID: "ink-1", Part: mix.Ink, Material: "dial-satin", Lot: "A 17", Colour: "traffic red", State: view.CanInUse, OpenedOn: "2026-06-01", MadeAt: now, StirredAt: at(now.Add(-100 * time.Hour)), Stir: "it has stood for 4 days"},
		{ID: "ink-4", Part: mix.Ink, Material: "dial-flat", State: view.CanNew, MadeAt: now, Stir: "it was never stirred"},
		{ID: "ink-0", Part: mix.Ink, Material: "dial-satin", Lot: "A 16", State: view.CanEmpty, MadeAt: now, EmptiedAt: at(now)},
	}
}

func past(now time.Time) trace.Past {
	left := 3.4
	return trace.Past{
		ID: "0611-2", Seq: 71, Ink: "dial-satin", Cup: "cup-110", Colour: "dark", State: lifecycle.Closed, StartedAt: now.Add(-30 * time.Hour), MixedAt: at(now.Add(-30 * time.Hour)),
		ClosedAt: at(now.Add(-24 * time.Hour)), Outcome: "went-off", LeftG: &left,
		Parts:    []mix.Component{{Part: mix.Ink, Can: "ink-0", G: 45}, {Part: mix.Ink, Can: "ink-1", G: 40}, {Part: mix.Hardener, Can: "hardener-2", G: 17}, {Part: mix.Thinner, G: 7.1}},
		Lots:     []can.Lot{{Part: mix.Ink, Can: "ink-0", Lot: "A 16"}, {Part: mix.Ink, Can: "ink-1", Lot: "A 17", Assumed: true}, {Part: mix.Hardener, Can: "hardener-2", Lot: "H 3"}},
		Warnings: []string{"hardener can hardener-2 (lot H 3) was past its last day, 2026-05-02. Used all the same: trial print"},
		Presses:  []trace.Stay{{Press: "press-1", From: now.Add(-29 * time.Hour), To: at(now.Add(-27 * time.Hour)), Prints: 820}, {Press: "press-2", From: now.Add(-27 * time.Hour), To: at(now.Add(-24 * time.Hour)), Prints: 411}},
		Prints:   1231, Tests: []record.Test{{At: now.Add(-26 * time.Hour), Kind: "adhesion", Result: "pass"}, {At: now.Add(-29 * time.Hour), Kind: "adhesion", Result: "fail", PrintedAt: now.Add(-29 * time.Hour), Spent: 0.1}},
		Defects:  map[string]int64{"ghost": 1, "pinholes": 17},
		TargetsG: view.Targets{Ink: 85, Hardener: 17, Thinner: 7.65}, Ratio: &view.Ratio{InkPerHardener: 5, UncertaintyPct: 0.5, TolerancePct: 5},
	}
}

func cansShop(now time.Time) map[string]any {
	rows := shop(now)
	rows["presses"].([]view.Press)[0].Defects = rejectsOf(0, 0)
	inks := rows["inks"].([]view.Ink)
	inks[0].Hardener, inks[0].Thinners = "hardener-a", []string{"thinner-s"}
	rows["cans"] = canRows(now)
	p := past(now)
	rows["cans/ink-1/batches"] = map[string]any{"batches": []trace.Past{p}, "next": 0}
	first := map[string]any{"batches": []trace.Past{p}, "next": 60}
	rows["lots/A 17/batches"] = first
	rows["batches/0611-2/history"] = trace.History{Past: p, Poured: p.Parts, Events: []json.RawMessage{
		[]byte(`{"time":"2026-06-11T06:00:00Z","seq":71,"kind":"mix-started","by":"anna","batch":"0611-2"}`),
		[]byte(`{"time":"2026-06-11T06:02:00Z","seq":72,"kind":"confirmed","by":"anna","batch":"0611-2","step":"ink","part":"ink","added_g":45}`),
		[]byte(`{"time":"2026-06-11T06:02:00Z","seq":73,"kind":"poured-from","by":"anna","batch":"0611-2","part":"ink","can":"ink-0","lot":"A 16","g":45}`),
		[]byte(`{"time":"2026-06-12T06:02:00Z","seq":90,"kind":"closed","by":"anna","batch":"0611-2","outcome":"went-off"}`),
	}}
	rows["waste"] = []trace.Waste{{Month: "2026-05", Kind: "left-over", Grams: 41.5, Batches: 12, NotWeighed: 3}, {Month: "2026-06", Kind: "went-off", Grams: 63, Batches: 1}, {Month: "2026-06", Kind: "not-known", Batches: 2, NotWeighed: 2}}
	return rows
}

func TestCansPage(t *testing.T) {
	t.Parallel()
	f, b := newFakeBench(t, cansShop(time.Now())), openBrowser(t, 1280, 800)
	b.openAt(f, "/cans")
	b.sees(".can", "hardener hardener-a, lot H 3")
	b.sees(".can", "Expired: its last day was 2 May 2026")
	b.sees(".can", "Stir it to the bottom before you pour: it has stood for 4 days.")
	b.sees(".waste", "Gone off")
	b.sees(".waste", "12, 3 not weighed")
	b.looks("cans", wide, tall, phone, zoom)

	stirred := canRows(time.Now())[1]
	stirred.Stir = ""
	f.answer("stirred", 200, stirred)
	b.act("Stirred to the bottom", "ink-1")
	f.body(t, "cans/ink-1/stirred")
	b.eventually("it need not be stirred", `![...document.querySelectorAll(".can")].some((e) => e.innerText.includes("it has stood"))`)
	b.act("More…", "ink-4")
	b.option("Mark as empty…")
	b.sees("dialog", "Is ink-4 empty?")
	b.press("Back") // a slip changes nothing
	b.closed()
	for _, c := range f.changes() {
		if c.Path == "cans/ink-4/emptied" {
			t.Error("a can was marked as empty without a question")
		}
	}
	b.act("More…", "ink-4")
	b.option("Mark as empty…")
	b.press("It is empty")
	b.closed()
	want(t, f.body(t, "cans/ink-4/emptied"))
	b.act("Opened…", "ink-4")
	b.fills("on", "2026-06-10")
	b.press("On this day")
	b.closed()
	want(t, f.body(t, "cans/ink-4/opened"), "on", "2026-06-10")

	b.act("More…", "ink-1")
	b.option("Trace")
	b.sees(".traced", "0611-2 dial-satin")
	b.sees(".traced", "40.0 g from ink-1")
	b.sees(".traced", "press-1 from")
	b.sees(".traced", "820 prints")
	b.sees("#lots", "Can ink-1 is in one batch.")
	b.run(chromedp.Evaluate[chromedp.Void](`(document.querySelector('[name="lot"]').value = "A 17", document.querySelector(".lot-form button").click())`))
	b.sees("#lots", "Lot A 17 is in one batch, and maybe in others further back.")
	b.sees("#lots", "Further back…")
	b.looks("cans-traced", wide, phone)
	b.expect("404")
	b.run(chromedp.Evaluate[chromedp.Void](`(document.querySelector('[name="lot"]').value = "B 1", document.querySelector(".lot-form button").click())`))
	b.sees("#lots", "there is nothing of that name")

	f.answer("cans", 201, view.Can{ID: "hardener-5", Part: mix.Hardener, Material: "hardener-a", State: view.CanNew, MadeAt: time.Now()})
	b.press("Add a can…")
	b.looks("dialog-can", wide, phone)
	b.click(`dialog [value="hardener:hardener-a"]`)
	b.fills("lot", " H 4 ")
	b.fills("use_by", "2027-01-31")
	b.press("Add it")
	b.closed()
	want(t, f.body(t, "cans"), "hardener", "hardener-a", "lot", "H 4", "use_by", "2027-01-31")
	b.sees("#notice", "It is hardener-5: write that on the can.")
	b.sees(".cans", "hardener-5")
}

// TestBatchPageTellsACorrection: a pour that was too much is told as such, what put it right too, and what was asked
// for before and after it.
func TestBatchPageTellsACorrection(t *testing.T) {
	t.Parallel()
	rows := cansShop(time.Now())
	p := past(time.Now())
	p.TargetsG = view.Targets{Ink: 98.2, Hardener: 19.64, Thinner: 8.25}
	confirmed := func(second int, step, next, part string, added, ink, hardener float64) json.RawMessage {
		return fmt.Appendf(nil, `{"time":"2026-06-11T06:02:%02dZ","seq":%d,"kind":"confirmed","by":"anna","batch":"0611-2","step":%q,"next":%q,"part":%q,"added_g":%v,
			"mix":{"recipe":{"ratio":"5:1","ink_target_g":85,"thinner_pct":7},"pours":[{"part":"ink","g":%v},{"part":"hardener","g":%v}]}}`, second, 71+second, step, next, part, added, ink, hardener)
	}
	rows["batches/0611-2/history"] = trace.History{Past: p, Poured: p.Parts, Events: []json.RawMessage{
		[]byte(`{"time":"2026-06-11T06:00:00Z","seq":71,"kind":"mix-started","by":"anna","batch":"0611-2","mix":{"recipe":{"ratio":"5:1","ink_target_g":85,"thinner_pct":7}}}`),
		confirmed(1, "ink", "hardener", "ink", 85, 85, 0),
		confirmed(2, "hardener", "hardener", "hardener", 8, 85, 8),
		confirmed(3, "hardener", "hardener", "hardener", 12.5, 85, 20.5),
		confirmed(4, "hardener", "stir-hardener", "ink", 13.2, 98.2, 20.5),
	}}
	f, b := newFakeBench(t, rows), openBrowser(t, 390, 844)
	b.openAt(f, "/batches/0611-2")
	for _, words := range []string{
		"85.0 g of ink poured", "8.0 g of hardener poured: not enough yet", "12.5 g of hardener poured: too much", "13.2 g of ink added to put the hardener right",
		"Asked at first: 85.0 g ink, 17.0 g hardener, 7.1 g thinner", "Asked after the correction: 98.2 g ink, 19.6 g hardener, 8.3 g thinner",
	} {
		b.sees(".history", words)
	}
	b.looks("batch-corrected", phone, wide)
}

func TestBatchPage(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := cansShop(now)
	open := past(now)
	open.ID, open.State, open.ClosedAt, open.LeftG, open.Outcome = "0612-1", lifecycle.Open, nil, nil, ""
	open.FlowTimes = []record.Flow{{Seq: 80, At: now.Add(-time.Hour), Cup: "ford-4", RunsS: []float64{41.2}, ViscosityMM2PerS: 146, Spent: 0.2}}
	rows["batches/0612-1/history"] = trace.History{Past: open, Poured: open.Parts, Events: []json.RawMessage{}}
	rows["batches/0612-1/band"] = map[string]any{
		"id": "0612-1", "ln_spread": 0.2, "names": []string{"One batch differs from the next", "The air to come"}, "advice": "Measure the flow time.",
		"parts":      []map[string]any{{"part": "batch-scatter", "share": 0.74}, {"part": "air-to-come", "share": 0.257}, {"part": "cup", "share": 0.003}},
		"flow_times": []map[string]any{{"seq": 80, "confirmed": false, "doubted": 0.8, "why": "It contradicts the batch's age."}},
	}
	h := rows["batches/0611-2/history"].(trace.History)
	h.Events = append(h.Events,
		[]byte(`{"time":"2026-06-11T06:04:00Z","seq":90,"kind":"taken-up","by":"bench","batch":"0611-2","scale":"scale-1","recognised":true}`),
		[]byte(`{"time":"2026-06-11T06:05:00Z","seq":91,"kind":"undone","by":"anna","batch":"0611-2","undoes":90,"of":"taken-up"}`))
	rows["batches/0611-2/history"] = h
	f, b := newFakeBench(t, rows), openBrowser(t, 1280, 800)
	b.openAt(f, "/batches/0611-2?seq=71")
	b.sees(".history", "its cup was recognised by its weight at scale-1")
	b.sees(".history", "what was done just before, undone (anna)")
	b.sees(".history", "with 10 % of the pot life spent. That is not from age: look at hardener, ratio and surface")
	b.sees(".history", "gone off, 3.4 g left")
	b.sees(".history", "ink from ink-0")
	b.sees(".history", "lot A 17")
	b.sees(".history", "nobody named it")
	b.sees(".history", "Asked: 85.0 g ink, 17.0 g hardener, 7.7 g thinner")
	b.sees(".history", "Ratio exact (5.00:1")
	b.sees(".history", "Used all the same: trial print")
	b.sees(".history", "Altogether 1231 prints.")
	b.sees(".history", "18 rejects: Pinholes 17, Ghost of the last print 1")
	b.sees(".history", "Adhesion, passed")
	b.sees(".history", "ink came from can ink-0, lot A 16 (anna)")
	b.looks("batch", wide, tall, phone)
	// Its print is tested on the next day.
	f.answer("tests", 200, map[string]any{"id": "0611-2"})
	b.clickNamed("button", "A print was tested…")
	b.sees("dialog", "often tested a day later")
	b.run(chromedp.Evaluate[chromedp.Void](`document.querySelector("dialog [name=kind][value=adhesion]").click(); document.querySelector("dialog [name=result][value=pass]").click()`))
	printed := open.MixedAt.Local().Add(30 * time.Minute)
	b.fills("printed", printed.Format("15:04"))
	b.press("Log it")
	b.closed()
	body := f.body(t, "batches/0611-2/tests")
	when, err := time.Parse(time.RFC3339, fmt.Sprint(body["printed_at"]))
	if body["kind"] != "adhesion" || body["result"] != "pass" || err != nil || when.Before(open.MixedAt.Add(28*time.Minute)) || when.After(open.MixedAt.Add(31*time.Minute)) {
		t.Errorf("asked for %v", body)
	}

	b.openAt(f, "/batches/0612-1")
	b.sees("#batch", "Safe to ")
	b.sees("#batch", "about 6 h")
	f.send("batch", openBatch(now, "0612-1", "dial-satin", "press-1", -3*time.Hour, -2*time.Hour, -64*time.Minute))
	b.sees(".batch-page-life", "Past its time: do not print; the latest end was 1 h 04 min ago.")
	b.sees(".band-parts", "One batch differs from the next")
	if got := eval[[]string](b, `[...document.querySelectorAll(".band-share")].map((e) => e.innerText.replace(/\s/g, ""))`); !slices.Equal(got, []string{"74%", "26%"}) {
		t.Errorf("the parts are %q", got)
	}
	b.sees("#batch", "Measure the flow time.")
	b.sees("#batch", "It contradicts the batch's age.")
	b.looks("batch-band", wide, phone)
	b.sees("#batch", "Its label")

	b.expect("404")
	b.openAt(f, "/batches/0612-99")
	b.sees("#batch", "No record of batch 0612-99.")
}

// Which can, stirred, not past its day, and what to do when it runs out.
func TestPouredFrom(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := shop(now)
	expiredCan(rows, now)
	rows["scales"].([]view.Scale)[0].Stable = true // a tap is taken at once
	mixing := rows["batches"].([]view.Batch)[0]
	f, b := newFakeBench(t, rows), openBrowser(t, 1280, 800)
	b.open(f)
	b.sees(".can-expired", "The last day of hardener can hardener-2 was 2026-05-02.")
	b.looks("bench-cans", wide, tall, phone)
	f.answer("confirm", 200, mixing)
	b.press("Use it all the same…")
	b.press("Only for a trial print")
	b.press("Use it for this reason")
	b.closed()
	b.sees(".pour-from", "Used all the same: Only for a trial print")
	b.press("The hardener is in")
	want(t, f.body(t, "batches/0612-4/confirm"), "can", "hardener-2", "can_override", "Only for a trial print", "step", "hardener")

	// The reason is for that can.
	b.click(`.pour-from [value="hardener-5"]`)
	b.sees(".stir-first", "First stir can hardener-5 to the bottom")
	b.press("Can hardener-5 is stirred")
	f.body(t, "cans/hardener-5/stirred")
	b.act("It is empty now", "hardener-5")
	f.body(t, "cans/hardener-5/emptied")
	want(t, f.body(t, "batches/0612-4/confirm"), "can", "hardener-5", "step", "hardener")
}

// On a telephone the warning of a can that is past its day is under the bar's edge: the button asks about it first,
// and the can does not look chosen until somebody has answered. That nothing was poured stays no longer than it is true.
func TestAnExpiredCanIsAskedAbout(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := shop(now)
	expiredCan(rows, now)
	pour := view.Pouring{Part: "hardener", PouredG: 0, TargetG: 17, LowG: 16.15, HighG: 17.85}
	rows["scales"] = []view.Scale{scaleRow(now, 102.6, true, "0612-4", &pour)}
	f, b := newFakeBench(t, rows), openBrowser(t, 390, 844)
	b.open(f)
	checked := `document.querySelectorAll(".pour-from input:checked").length`
	b.sees(".mix .main", "First: is can hardener-2 still to be used?")
	if is := eval[string](b, fmt.Sprintf(onTop, ".mix .main")); is != "" || eval[int](b, checked) != 0 {
		t.Errorf("the button %s, %d cans look chosen", is, eval[int](b, checked))
	}
	b.click(`.pour-from [value="hardener-2"]`)
	b.eventually("a tap on the can is no answer", checked+" === 0")
	b.click(".mix .main")
	b.sees("dialog", "The last day of hardener can hardener-2 was 2026-05-02.")
	if sent := f.changes(); len(sent) != 0 {
		t.Fatalf("sent without an answer: %v", sent)
	}
	b.press("Only for a trial print")
	b.press("Use it for this reason")
	b.closed()
	b.sees(".mix .main", "The hardener is in")
	b.eventually("the can is chosen", `document.querySelector(".pour-from input:checked")?.value === "hardener-2"`)

	b.expect("409")
	nothing := problem(409, "nothing has been poured yet")
	nothing["type"] = "urn:potlifed:nothing-poured"
	f.answer("confirm", 409, nothing)
	b.click(".mix .main")
	b.sees(".mix .refusal", "nothing has been poured yet")
	pour.PouredG = 5
	f.send("scale", scaleRow(now.Add(time.Second), 107.6, false, "0612-4", &pour))
	b.eventually("it is poured", `![...document.querySelectorAll(".mix .refusal:not(.can-expired)")].some((e) => e.checkVisibility())`)
}

func TestCloseByWeighing(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := shop(now)
	one := openBatch(now, "0612-1", "dial-satin", "press-1", 5*time.Hour, 6*time.Hour, 7*time.Hour)
	one.Scale, one.CupEmptyG = "scale-1", at(18.0)
	rows["batches"] = []view.Batch{one}
	rows["scales"] = []view.Scale{scaleRow(now, 40.2, false, "", nil)}
	f, b := newFakeBench(t, rows), openBrowser(t, 1280, 800)
	b.open(f)
	b.act("Close…", "0612-1")
	b.run(chromedp.Evaluate[chromedp.Void](`(document.querySelector('dialog input[value="used-up"]').click(), document.querySelector('dialog input[value="weigh"]').click())`))
	b.sees(".left-live", "scale-1 shows 40.2 g, moving; less the cup, 18.0 g: 22.2 g left.")
	f.send("scale", scaleRow(now, 39.1, true, "", nil))
	b.sees(".left-live", "settled; less the cup, 18.0 g: 21.1 g left.")
	b.looks("dialog-close-weigh", wide, phone)
	f.send("scale", scaleRow(now, 0, true, "", nil))
	b.sees(".left-live", "Put the cup of 0612-1 on scale-1.")
	b.press("Close it")
	b.closed()
	want(t, f.body(t, "batches/0612-1/close"), "outcome", "used-up", "scale", "scale-1", "still_good", "unknown", "weigh", true)

	one.CupEmptyG, one.Warnings = nil, []string{"another cup"}
	f.send("batch", one)
	b.sees(".batch", "another cup")
	b.act("Close…", "0612-1")
	b.run(chromedp.Evaluate[chromedp.Void](`document.querySelector('dialog input[value="discarded"]').click()`))
	b.fills("empty_g", "11")
	b.press("Close it")
	b.closed()
	want(t, f.body(t, "batches/0612-1/close"), "empty_g", 11, "outcome", "discarded", "scale", "scale-1", "still_good", "unknown", "weigh", true)
}

// The label as a browser draws it can be read by somebody else's reader.
func TestLabelIsReadOffTheScreen(t *testing.T) {
	t.Parallel()
	b := openBrowser(t, 600, 400)
	made := time.Now()
	l := label.Label{
		Batch: "0612-3b", Ink: "dial-satin", Press: "press-1", MixedAt: made.Add(-5 * time.Minute), MadeAt: made, Low: made.Add(5 * time.Hour),
		Expected: made.Add(6 * time.Hour), URL: "http://bench-1.local:9755/batches/0612-3b",
	}
	svg, err := l.SVG()
	if err != nil {
		t.Fatal(err)
	}
	mux := http.NewServeMux()
	mux.HandleFunc("/", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/html")
		w.Write([]byte(`<!doctype html><link rel="icon" href="data:,"><body style="margin:0"><img src="/l.svg" style="width:600px;height:400px">`))
	})
	mux.HandleFunc("/l.svg", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "image/svg+xml")
		w.Write(svg)
	})
	b.run(chromedp.Navigate(serve(t, mux)))
	b.eventually("the label is drawn", `document.images[0].complete && document.images[0].naturalWidth > 0`)
	picture, err := chromedp.Run(b, chromedp.FullScreenshot(100))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(t.ArtifactDir(), "label.png"), picture, 0o644); err != nil {
		t.Fatal(err)
	}
	img, err := png.Decode(bytes.NewReader(picture))
	if err != nil {
		t.Fatal(err)
	}
	bits, err := gozxing.NewBinaryBitmapFromImage(img)
	if err != nil {
		t.Fatal(err)
	}
	read, err := qrcode.NewQRCodeReader().Decode(bits, nil)
	if err != nil || read.GetText() != l.URL {
		t.Errorf("read %v, %v; want %s", read, err, l.URL)
	}
}

func serve(t *testing.T, h http.Handler) string {
	t.Helper()
	s := httptest.NewServer(h)
	t.Cleanup(s.Close)
	return s.URL
}
