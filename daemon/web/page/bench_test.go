package page

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"path"
	"strings"
	"sync"
	"testing"
	"time"

	"potlifed/daemon/view"
	"potlifed/daemon/words"
	"potlifed/model/air"
	"potlifed/model/guide"
	"potlifed/model/lifecycle"
	"potlifed/model/light"
	"potlifed/model/mix"
)

// fakeBench serves the page beside an API that answers what the test tells it to. Rows
// are those of package record, so that their JSON is the wire's.
type fakeBench struct {
	*httptest.Server
	end  context.CancelFunc
	made time.Time // the time on the pages that it serves

	mu      sync.Mutex
	news    chan struct{}  // closed, and made again, when a page has asked for something
	rows    map[string]any // a list by name
	asked   []asked
	queries []url.Values      // by which closed batches were asked for
	answers map[string]answer // by the verb of a change
	readers map[chan string]bool
	silent  bool          // refuses the stream
	deaf    bool          // does not answer /healthz; set before a page is shown
	held    chan struct{} // closed when what is below the path "below" may be answered; nil when it need not wait
	below   string
	loaded  []string // the paths of pages and assets that were asked for
	recipe  *view.Recipe
}

// asked is a change that the page asked for.
type asked struct{ Path, Body, Key string }

type answer struct {
	status int
	body   any
}

func newFakeBench(t *testing.T, rows map[string]any) *fakeBench {
	return newFakeBenchIn(t, rows, words.Locale{})
}

// newFakeBenchIn makes one whose pages are in a locale.
func newFakeBenchIn(t *testing.T, rows map[string]any, l words.Locale) *fakeBench {
	ctx, end := context.WithCancel(context.Background())
	f := &fakeBench{end: end, made: time.Now(), rows: rows, news: make(chan struct{}), answers: map[string]answer{}, readers: map[chan string]bool{}}
	mux := http.NewServeMux()
	pages := In(l).Handler()
	mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Security-Policy", ContentPolicy) // as the server does
		f.mu.Lock()
		f.loaded = append(f.loaded, r.URL.Path)
		f.mu.Unlock()
		pages.ServeHTTP(w, r)
	})
	pictured(mux, l)
	mux.HandleFunc("GET /api/v1/{list}", f.list)
	mux.HandleFunc("GET /api/v1/inks/{id}/learning", f.learning)
	mux.HandleFunc("GET /api/v1/{list}/{id}/{part}", f.thing)
	mux.HandleFunc("GET /api/v1/stream", func(w http.ResponseWriter, r *http.Request) { f.stream(ctx, w, r) })
	mux.HandleFunc("POST /api/v1/", f.change)
	mux.HandleFunc("GET /readyz", f.readyz)
	mux.HandleFunc("GET /healthz", func(w http.ResponseWriter, _ *http.Request) {
		if f.deaf {
			w.WriteHeader(http.StatusServiceUnavailable)
		}
	})
	f.Server = httptest.NewServer(f.gated(mux))
	t.Cleanup(func() {
		end() // a stream ends when it is told to, and Close waits for that
		f.Close()
	})
	return f
}

func (f *fakeBench) list(w http.ResponseWriter, r *http.Request) {
	f.mu.Lock()
	defer f.mu.Unlock()
	name := r.PathValue("list")
	if name == "recipe" && f.recipe != nil {
		w.Header().Set("Content-Type", "application/json")
		json.NewEncoder(w).Encode(f.recipe)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	if r.URL.Query().Get("state") == "closed" {
		f.answerClosed(w, r.URL.Query())
		return
	}
	rows, ok := f.rows[name]
	if !ok {
		rows = []any{}
	}
	body := map[string]any{name: rows, "seq": 7}
	if name == "sessions" {
		body["pin_set"] = f.rows["pin_set"] == true
	}
	json.NewEncoder(w).Encode(body)
}

func (f *fakeBench) learning(w http.ResponseWriter, _ *http.Request) {
	f.mu.Lock()
	defer f.mu.Unlock()
	w.Header().Set("Content-Type", "application/json")
	found, ok := f.rows["learning"]
	if !ok {
		found = map[string]any{"verdict": "too few batches to say", "cautions": []string{}, "acceptable": false, "why_not": "there is nothing to accept"}
	}
	json.NewEncoder(w).Encode(found)
}

// readyz answers with the checks that the rows hold, as the server's does.
func (f *fakeBench) readyz(w http.ResponseWriter, _ *http.Request) {
	f.mu.Lock()
	defer f.mu.Unlock()
	checks, _ := f.rows["readyz"].([]readyCheck)
	if checks == nil {
		checks = []readyCheck{{Name: "journal", OK: true}, {Name: "broker", OK: true}}
	}
	w.Header().Set("Content-Type", "application/json")
	for _, c := range checks {
		if !c.OK {
			w.WriteHeader(http.StatusServiceUnavailable)
			break
		}
	}
	json.NewEncoder(w).Encode(map[string]any{"checks": checks})
}

// readyCheck is a line of what the server says of its readiness.
type readyCheck struct {
	Name   string `json:"name"`
	OK     bool   `json:"ok"`
	Detail string `json:"detail,omitempty"`
}

func (f *fakeBench) stream(ctx context.Context, w http.ResponseWriter, r *http.Request) {
	f.mu.Lock()
	if f.silent {
		f.mu.Unlock()
		http.Error(w, "no stream", http.StatusServiceUnavailable)
		return
	}
	events := make(chan string, 100)
	f.readers[events] = true
	f.tell()
	f.mu.Unlock()
	defer func() {
		f.mu.Lock()
		delete(f.readers, events)
		f.mu.Unlock()
	}()
	w.Header().Set("Content-Type", "text/event-stream")
	io.WriteString(w, ": open\n\n")
	w.(http.Flusher).Flush()
	for {
		select {
		case <-ctx.Done():
			return
		case <-r.Context().Done():
			return
		case e, open := <-events:
			if !open {
				return
			}
			io.WriteString(w, e)
			w.(http.Flusher).Flush()
		}
	}
}

func (f *fakeBench) change(w http.ResponseWriter, r *http.Request) {
	body, _ := io.ReadAll(r.Body)
	f.mu.Lock()
	defer f.mu.Unlock()
	f.asked = append(f.asked, asked{strings.TrimPrefix(r.URL.Path, "/api/v1/"), string(body), r.Header.Get("Idempotency-Key")})
	f.tell()
	a, ok := f.answers[path.Base(r.URL.Path)]
	if !ok {
		a = answer{200, map[string]any{}}
	}
	w.Header().Set("Content-Type", "application/json")
	if a.status >= 400 {
		w.Header().Set("Content-Type", "application/problem+json")
	}
	w.WriteHeader(a.status)
	json.NewEncoder(w).Encode(a.body)
}

// answer sets what changes with the given verb are answered.
func (f *fakeBench) answer(verb string, status int, body any) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.answers[verb] = answer{status, body}
}

// send sends an event to everyone who reads the stream.
func (f *fakeBench) send(event string, row any) {
	data, err := json.Marshal(row)
	if err != nil {
		panic(err)
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	for events := range f.readers {
		events <- fmt.Sprintf("event: %s\ndata: %s\n\n", event, data)
	}
}

// cut ends every stream and lets none begin.
func (f *fakeBench) cut() {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.silent = true
	for events := range f.readers {
		close(events)
	}
}

// changes returns what the page has asked for so far.
func (f *fakeBench) changes() []asked {
	f.mu.Lock()
	defer f.mu.Unlock()
	return append([]asked(nil), f.asked...)
}

// tell wakes those who wait in until. f.mu is held.
func (f *fakeBench) tell() {
	close(f.news)
	f.news = make(chan struct{})
}

// until waits until what the pages have asked for fulfils a condition, under f.mu.
func (f *fakeBench) until(t *testing.T, what string, fulfilled func() bool) {
	t.Helper()
	late := time.After(waitAtMost)
	for {
		f.mu.Lock()
		done, news := fulfilled(), f.news
		f.mu.Unlock()
		if done {
			return
		}
		select {
		case <-news:
		case <-late:
			t.Fatalf("%s: not within %v; the page asked for %v", what, waitAtMost, f.changes())
		}
	}
}

// The shop of the tests.

func at[T any](v T) *T { return &v }

func airRow(now time.Time, zone string, temperature, humidity, dew float64) view.Air {
	return view.Air{Time: now, Zone: zone, Sensor: zone + "-air", Sensors: []string{zone + "-air"}, TemperatureC: &temperature, HumidityPct: &humidity, DewPointC: &dew, Quality: view.QualityGood,
		Measured: &air.State{TemperatureC: temperature, HumidityPct: humidity}}
}

// openBatch is a batch whose end is expected within the given times.
func openBatch(now time.Time, id, ink, press string, low, expected, high time.Duration) view.Batch {
	step := guide.Load
	b := view.Batch{
		BatchState: view.BatchState{
			Time: now, ID: id, Ink: ink, Zone: "bench", State: lifecycle.Open, MixedAt: at(now.Add(-40 * time.Minute)),
			EndsAt:     &view.Span[time.Time]{Expected: now.Add(expected), Low: now.Add(low), High: now.Add(high)},
			Components: []mix.Component{{Part: "ink", G: 85}, {Part: "hardener", G: 17}, {Part: "thinner", G: 7.1}},
			Quality:    view.QualityGood,
		},
		Step: &step, TargetsG: view.Targets{Ink: 85, Hardener: 17, Thinner: 7.14},
		Corrections: []mix.Correction{}, Warnings: []string{}, Scale: "scale-1", Cup: "cup-110",
		NextMixAt: at(now.Add(low - 15*time.Minute)),
	}
	if press != "" {
		b.Press, b.Step, b.Zone = &press, nil, "floor"
	}
	return b
}

// addWaiting adds mix 0612-5, which is ready for press-2 and waits for it, and returns it.
func addWaiting(rows map[string]any, now time.Time, ink string, low, expected, high time.Duration) view.Batch {
	b := openBatch(now, "0612-5", ink, "", low, expected, high)
	b.For, b.Step = "press-2", at(guide.Load)
	rows["batches"] = append(rows["batches"].([]view.Batch), b)
	return b
}

// mixingAt is a guided mix that waits at a step.
func mixingAt(now time.Time, step guide.Step) view.Batch {
	b := openBatch(now, "0612-4", "dial-satin", "", 0, 0, 0)
	b.State, b.Step, b.MixedAt, b.EndsAt, b.NextMixAt, b.For = lifecycle.Mixing, &step, nil, nil, nil, "press-1"
	b.Components = []mix.Component{}
	if step != guide.Cup && step != guide.Ink {
		b.Components = []mix.Component{{Part: "ink", G: 85}}
	}
	return b
}

// scaleRow is what a scale shows. The verdict of a pour that has none follows from its figures.
func scaleRow(now time.Time, weight float64, stable bool, batch string, pour *view.Pouring) view.Scale {
	if pour != nil && pour.Verdict == "" {
		switch {
		case pour.PouredG > pour.HighG:
			pour.Verdict = guide.Over
		case pour.PouredG >= pour.LowG:
			pour.Verdict = guide.Right
		default:
			pour.Verdict = guide.Below
		}
	}
	return view.Scale{Time: now, ID: "scale-1", WeightG: &weight, DivisionG: 0.1, Stable: stable, Quality: view.QualityGood, Batch: batch, Pouring: pour}
}

func lamp(now time.Time, id string, meaning light.Meaning, flashing bool, reason, batch string) view.Light {
	return view.Light{
		Time: now, ID: id, ValidUntil: now.Add(view.LightValidFor), Meaning: meaning, Colour: meaning.Colour(),
		Flashing: flashing, Reason: reason, Press: id, Batch: batch,
	}
}

// shop has a pour of hardener going on and three batches open.
func shop(now time.Time) map[string]any {
	checked := now.AddDate(0, 0, -7)
	pour := &view.Pouring{Part: "hardener", PouredG: 5, TargetG: 17, LowG: 16.15, HighG: 17.85}
	assumed := "the sheet names no humidity: its ends are taken as 30 and 80 % at 20 °C"
	ink := func(id, ratio, assumed string, rest float64) view.Ink {
		return view.Ink{
			ID: id, Hardener: "hardener-a", HardenerRatio: ratio, TolerancePct: 5, ThinnerMinPct: 6, ThinnerMaxPct: 14,
			ThinnerDark: 7, ThinnerLight: 9, RestS: rest, LifeRefH: 5.05, MoistureShare: 0.204, Assumed: assumed,
		}
	}
	press := func(id string, batch *string, m light.Meaning) view.Press {
		return view.Press{ID: id, Zone: "floor", Cup: "cup-110", Batch: batch, Light: m}
	}
	printing := press("press-1", at("0612-1"), light.InOrder)
	printing.Next = "0612-4"
	return map[string]any{
		"air":    []view.Air{airRow(now, "bench", 23.4, 51, 12.7), airRow(now, "floor", 25.1, 58, 16.2)},
		"scales": []view.Scale{scaleRow(now, 107.6, false, "0612-4", pour)},
		"batches": []view.Batch{
			mixingAt(now, guide.Hardener),
			openBatch(now, "0612-1", "dial-satin", "press-1", 5*time.Hour+5*time.Minute, 6*time.Hour+10*time.Minute, 7*time.Hour+40*time.Minute),
			openBatch(now, "0612-2", "dial-flat", "press-2", 31*time.Minute, 42*time.Minute, 55*time.Minute),
			openBatch(now, "0612-3", "dial-bend", "", 2*time.Hour, 3*time.Hour, 4*time.Hour+30*time.Minute),
		},
		"presses": []view.Press{printing, press("press-2", at("0612-2"), light.Soon), press("press-3", nil, light.Empty)},
		"lights": []view.Light{
			lamp(now, "press-1", light.InOrder, false, "nothing is wrong", "0612-1"),
			lamp(now, "press-2", light.Soon, true, "the batch ends soon", "0612-2"),
			lamp(now, "press-3", light.Empty, false, "nothing loaded", ""),
		},
		"alarms": []view.Alarm{{
			Time: now, Seq: 6, Name: "batch-ending", Title: "Batch ends soon", Subject: "0612-2", About: "batch", State: "unacknowledged", Priority: "medium",
			Since: now.Add(-4 * time.Minute), Text: "0612-2 on press-2 may end from 14:05 on",
			Response: "Begin the next mix now, and plan the change of the cup.",
		}},
		"sensors": []view.Sensor{
			{ID: "bench-air", Condition: "up", Checked: &checked, Since: now.Add(-26 * time.Hour), TemperatureC: at(23.4), HumidityPct: at(51.0), ReadAt: now},
			{ID: "floor-air", Condition: "up", Checked: &checked, Since: now.Add(-3 * time.Hour), TemperatureC: at(25.1), HumidityPct: at(58.0), ReadAt: now},
			{ID: "scale-1", Condition: "up", Checked: &checked, Since: now.Add(-26 * time.Hour), Detail: "9600 baud, 8N1"},
		},
		"inks": []view.Ink{ink("dial-satin", "5:1", assumed, 0), ink("dial-flat", "8:1", "", 900), ink("dial-bend", "25:2", assumed, 0), ink("gauge-quick", "3:1", "", 0)},
	}
}
