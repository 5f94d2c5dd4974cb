package web

import (
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"

	"potlifed/daemon/access"
	"potlifed/daemon/describe"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/daemon/view"
	"potlifed/model/air"
	"potlifed/model/cure"
	"potlifed/model/guide"
	"potlifed/model/lifecycle"
	"potlifed/model/light"
	"potlifed/model/mix"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// stand is a bench and a journal that do what a test tells them to.
type stand struct {
	mu       sync.Mutex
	now      *view.Snapshot
	watchers map[chan struct{}]bool
	asked    []request.Request
	do       func(ctx context.Context, r request.Request) (request.Reply, error)

	kept     []view.Event
	steps    []cure.PastStep
	unread   error // what the journal fails with
	from, to time.Time
}

var (
	_ Bench   = (*stand)(nil)
	_ Journal = (*stand)(nil)
)

func newStand() *stand {
	return &stand{now: shop(), watchers: map[chan struct{}]bool{}, do: func(_ context.Context, r request.Request) (request.Reply, error) {
		return request.Reply{Body: []byte(`{"id":"0612-1","verb":"` + r.Change.Verb() + `"}`), OnDisk: true}, nil
	}}
}

func (s *stand) Snapshot() *view.Snapshot {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.now
}

func (s *stand) Watch() (<-chan struct{}, func()) {
	s.mu.Lock()
	defer s.mu.Unlock()
	c := make(chan struct{}, 1)
	s.watchers[c] = true
	return c, func() {
		s.mu.Lock()
		defer s.mu.Unlock()
		delete(s.watchers, c)
	}
}

func (s *stand) watched() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return len(s.watchers)
}

// show makes a changed copy of the snapshot the newest one.
func (s *stand) show(change func(n *view.Snapshot)) {
	s.mu.Lock()
	defer s.mu.Unlock()
	n := *s.now
	n.Mono += time.Second
	n.At = n.At.Add(time.Second)
	change(&n)
	s.now = &n
	for c := range s.watchers {
		select {
		case c <- struct{}{}:
		default:
		}
	}
}

func (s *stand) Do(ctx context.Context, r request.Request) (request.Reply, error) {
	s.mu.Lock()
	s.asked = append(s.asked, r)
	do := s.do
	s.mu.Unlock()
	return do(ctx, r)
}

// last is the newest request.
func (s *stand) last(t *testing.T) request.Request {
	t.Helper()
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.asked) == 0 {
		t.Fatal("the bench was asked nothing")
	}
	return s.asked[len(s.asked)-1]
}

func (s *stand) Events(_ context.Context, after uint64, limit int) ([]view.Event, error) {
	var events []view.Event
	for _, e := range s.kept {
		if e.Seq > after && len(events) < limit {
			events = append(events, e)
		}
	}
	return events, s.unread
}

func (s *stand) History(_ context.Context, _ string, from, to time.Time) ([]cure.PastStep, error) {
	s.from, s.to = from, to
	return s.steps, s.unread
}

func ptr[T any](v T) *T { return &v }

var at = time.Date(2026, 6, 12, 9, 30, 0, 0, time.UTC)

func openBatch(id string) view.Batch {
	return view.Batch{BatchState: view.BatchState{
		Time: at, Seq: 40, ID: id, Ink: "dial-satin", Press: ptr("press-1"), Zone: "bench", State: lifecycle.Open,
		MixedAt: ptr(at.Add(-time.Hour)), GoodAt: ptr(at.Add(-time.Hour)), AgeS: ptr(3600.0), Spent: ptr(0.15),
		RemainingS: &view.Span[float64]{Expected: 18000, Low: 14000, High: 24000},
		EndsAt:     &view.Span[time.Time]{Expected: at.Add(5 * time.Hour), Low: at.Add(4 * time.Hour), High: at.Add(7 * time.Hour)},
		Risk:       ptr(0.001), Components: []mix.Component{{Part: mix.Ink, G: 85}, {Part: mix.Hardener, G: 17}}, Quality: view.QualityGood,
	}, TargetsG: view.Targets{Ink: 85, Hardener: 17, Thinner: 7.14}, Cup: "cup-110"}
}

// shop is a bench with one batch on a press and another being mixed.
func shop() *view.Snapshot {
	mixing := view.Batch{BatchState: view.BatchState{
		Time: at, Seq: 41, ID: "0612-2", Ink: "dial-flat", Zone: "bench", State: lifecycle.Mixing, Quality: view.QualityGood,
	}, Step: ptr(guide.Ink), Scale: "scale-1", Cup: "cup-110"}
	closed := openBatch("0611-7")
	closed.State, closed.Press, closed.ClosedAt, closed.Outcome, closed.StillGood = lifecycle.Closed, nil, ptr(at.Add(-time.Hour)), "used-up", "yes"
	return &view.Snapshot{
		At: at, Mono: time.Hour, Seq: 42, Journal: "j", Bench: "bench-1", Version: "0.1.0", ClockSynced: true,
		Air: []view.Air{{
			Time: at, Zone: "bench", Sensor: "bench-air", TemperatureC: ptr(22.5), HumidityPct: ptr(55.0), DewPointC: ptr(13.0),
			VapourDensity: ptr(11.0), Quality: view.QualityGood, Measured: &air.State{TemperatureC: 22.5, HumidityPct: 55},
		}},
		Scales: []view.Scale{{
			Time: at, ID: "scale-1", WeightG: ptr(42.0), Quality: view.QualityGood, Batch: "0612-2", Up: true,
			Pouring: &view.Pouring{Part: mix.Ink, PouredG: 30, TargetG: 85, LowG: 83, HighG: 87},
		}},
		Sensors: []view.Sensor{{ID: "bench-air", Condition: "up", Since: at}},
		Batches: []view.Batch{openBatch("0612-1"), mixing},
		Lives:   map[string]view.Life{"0612-1": oneLife(at)},
		Closed:  []view.Batch{closed},
		Presses: []view.Press{
			{
				ID: "press-1", Zone: "bench", Cup: "cup-110", Batch: ptr("0612-1"), Light: light.InOrder,
				Place: cure.Place{Exposure: 1}, InkMinimumG: 85, FillMaximumG: 150,
				RemainingS: &view.Span[float64]{Expected: 18000, Low: 14000, High: 24000}, Risk: ptr(0.001),
			},
			{ID: "press-2", Zone: "bench", Cup: "cup-110", Light: light.Empty},
		},
		Lights: []view.Light{{Time: at, ID: "press-1", Seq: 40, Meaning: light.InOrder, Colour: "green", Press: "press-1", Batch: "0612-1"}},
		Alarms: []view.Alarm{{Time: at, Seq: 39, Name: "sensor-stale", Subject: "floor-air", State: "unacknowledged", Priority: "medium", Since: at, Text: "no reading"}},
		Cans:   []view.Can{{ID: "ink-1", Part: mix.Ink, Material: "dial-satin", Lot: "A 17", State: view.CanNew, MadeAt: at, Stir: "it was never stirred"}},
		Inks:   []view.Ink{{ID: "dial-satin", Thinners: []string{}, HardenerRatio: "5:1", TolerancePct: 5, LifeRefH: 5.05, MoistureShare: 0.2, ThinnerDark: 7, Ratio: 5, Life: oneLife(at).Ensemble.Ink()}},
	}
}

func newServer(t testing.TB, s *stand) *Server {
	t.Helper()
	metrics := http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { io.WriteString(w, "potlife_build_info 1\n") })
	ready := func() []Check { return []Check{{Name: "journal", OK: true}, {Name: "scale-1", OK: true}} }
	settings := Settings{Listen: "127.0.0.1:9755", Hosts: []string{"bench-1.local"}, Version: "0.1.0", Learn: learnedInks, Access: access.Open(t.TempDir()), Events: everyKind()}
	server, err := New(settings, s, s, metrics, ready, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	return server
}

// everyKind returns the kinds of events, as the daemon gives them to the server.
func everyKind() []describe.EventKind {
	var kinds []describe.EventKind
	for _, kind := range record.Kinds() {
		if kind.IsEvent() {
			meaning, body := kind.Meaning()
			kinds = append(kinds, describe.EventKind{Kind: string(kind), Meaning: meaning, Body: body})
		}
	}
	return kinds
}

// fromHere is a request from this computer, to this computer.
func fromHere(method, path, body string) *http.Request {
	r := httptest.NewRequest(method, path, strings.NewReader(body))
	r.Host, r.RemoteAddr = "127.0.0.1:9755", "127.0.0.1:50000"
	if body != "" {
		r.Header.Set("Content-Type", "application/json")
	}
	return r
}

func answerTo(h http.Handler, r *http.Request) *httptest.ResponseRecorder {
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

// object reads an answer that is a JSON object.
func object(t *testing.T, w *httptest.ResponseRecorder) map[string]any {
	t.Helper()
	var v map[string]any
	if err := json.Unmarshal(w.Body.Bytes(), &v); err != nil {
		t.Fatalf("not an object: %v: %s", err, w.Body)
	}
	return v
}

// isProblem checks that an answer is a problem of the given status, by RFC 9457.
func isProblem(t *testing.T, w *httptest.ResponseRecorder, status int) map[string]any {
	t.Helper()
	if w.Code != status {
		t.Fatalf("status %d, want %d: %s", w.Code, status, w.Body)
	}
	if ct := w.Header().Get("Content-Type"); ct != "application/problem+json" {
		t.Errorf("content type %q", ct)
	}
	p := object(t, w)
	if p["status"] != float64(status) || p["title"] == "" || p["detail"] == nil {
		t.Errorf("problem %v", p)
	}
	if text, _ := p["text"].(string); text == "" || rawWords.MatchString(text) {
		t.Errorf("%v has no words for a person: %q", p, text)
	}
	return p
}

// rawWords find what no text for a person has: a path, a duration as Go writes it, a command, a name of the
// API, and the quotation marks of %q.
var rawWords = regexp.MustCompile(`(^|\s)/\w|\d+[hm]\d+|potlifed [a-z]|\w_\w|RFC|Idempotency|"|%!`)

// Recipe is a fixed one.
func (s *stand) Recipe(c request.StartMix) (view.Recipe, error) {
	if c.Ink != "dial-satin" {
		return view.Recipe{}, request.Refuse(request.Invalid, "no such ink", "there is no ink %q in the configuration", c.Ink)
	}
	return view.Recipe{Ink: c.Ink, Why: []string{"because"}, Grade: "fine"}, nil
}
