package metrics

import (
	"fmt"
	"io"
	"log/slog"
	"math"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"
	"github.com/prometheus/client_golang/prometheus/testutil"
	"go.uber.org/goleak"

	"potlifed/daemon/view"
	"potlifed/model/air"
	"potlifed/model/lifecycle"
	"potlifed/model/light"
	"potlifed/model/mix"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// stand is a bench that shows what it is given.
type stand struct {
	now atomic.Pointer[view.Snapshot]
}

func (s *stand) Snapshot() *view.Snapshot { return s.now.Load() }

func newStand(n *view.Snapshot) *stand {
	s := &stand{}
	s.now.Store(n)
	return s
}

func ptr[T any](v T) *T { return &v }

var at = time.Date(2026, 6, 12, 9, 30, 0, 500e6, time.UTC)

// shop is a bench with the given number of open batches, the first on a press.
func shop(batches int) *view.Snapshot {
	n := &view.Snapshot{
		At: at, Seq: 42, Bench: "bench-1", ClockSynced: true,
		Air: []view.Air{{
			Time: at, Zone: "bench", TemperatureC: ptr(22.5), HumidityPct: ptr(55.0), DewPointC: ptr(13.0),
			VapourDensity: ptr(11.0), Quality: view.QualityGood,
		}},
		Scales: []view.Scale{{
			Time: at, ID: "scale-1", WeightG: ptr(72.0), Stable: true, Quality: view.QualityGood, Up: true,
			Lines: map[string]uint64{"ok": 100, "torn": 2},
		}},
		Sensors: []view.Sensor{
			{ID: "bench-air", Condition: "up", ReadAt: at, LastTook: 2 * time.Millisecond, Reads: map[string]uint64{"ok": 7}, Zone: "bench", Air: &air.State{TemperatureC: 22.4, HumidityPct: 54}, CheckDue: ptr(at), Health: &view.Health{SameS: ptr(5.0), JumpsPerDay: ptr(2.5), ErrorShare: ptr(0.08), Fails: true, DriftPct: ptr(-0.5)}},
			{ID: "scale-1", Condition: "up", Scale: true, CheckDue: ptr(at), Health: &view.Health{SettleS: ptr(2.1), NoiseG: ptr(0.02), ZeroG: ptr(0.1)}},
		},
		Presses: []view.Press{
			{ID: "press-1", Batch: ptr("0612-1"), Light: light.InOrder, RemainingS: &view.Span[float64]{Expected: 7200, Low: 3600, High: 10800}, Risk: ptr(0.01), PrintsTotal: ptr(uint64(1200)), Zone: "floor", Defects: []view.DefectCount{{Kind: "dust", Total: 4, Highest: 5}, {Kind: "ghost"}}},
			{ID: "press-2", Light: light.Empty, Zone: "floor"},
		},
		Lights:      []view.Light{{ID: "press-1", Meaning: light.InOrder}, {ID: "press-2", Meaning: light.Empty}},
		Alarms:      []view.Alarm{{Name: "sensor-stale", Subject: "floor-air", State: "unacknowledged", Priority: "medium"}},
		ClosedTotal: []view.ClosedTotal{{Ink: "dial-satin", Outcome: "used-up", Count: 3}},
		Ends: []view.BatchEnds{{
			Outcome: "used-up", Count: 3, SpentSum: 2.5, AgeSumS: 40000, Spent: map[float64]uint64{0.5: 1, 1: 2}, AgeS: map[float64]uint64{14400: 2},
		}},
	}
	for i := range batches {
		b := view.Batch{BatchState: view.BatchState{
			ID: fmt.Sprintf("0612-%d", i+1), Ink: "dial-satin", State: lifecycle.Open, MixedAt: ptr(at.Add(-time.Hour)), Spent: ptr(0.25),
			RemainingS: &view.Span[float64]{Expected: 7200, Low: 3600, High: 10800}, Risk: ptr(0.01),
			Components: []mix.Component{{Part: mix.Ink, G: 55}, {Part: mix.Ink, G: 30}, {Part: mix.Hardener, G: 17}, {Part: mix.Thinner, G: 7.1}},
		}}
		if i == 0 {
			b.Press = ptr("press-1")
		}
		n.Batches = append(n.Batches, b)
	}
	return n
}

func settings() Settings {
	return Settings{Bench: "bench-1", Version: "0.1.0", MQTT: func() []MQTT {
		return []MQTT{
			{Broker: "hall", Connected: true, Waiting: 3, Messages: map[Message]uint64{{"out", "ok"}: 12}, Refusals: map[string]uint64{"publish": 2, "connect": 0}},
			{Broker: "plant", Waiting: 40, Messages: map[Message]uint64{{"out", "ok"}: 7}},
		}
	}}
}

func scrape(t testing.TB, h http.Handler, accept string) (body, contentType string) {
	t.Helper()
	r := httptest.NewRequest(http.MethodGet, "/metrics", nil)
	r.Header.Set("Accept", accept)
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	if w.Code != http.StatusOK {
		t.Fatalf("status %d: %s", w.Code, w.Body)
	}
	return w.Body.String(), w.Header().Get("Content-Type")
}

func quiet() *slog.Logger { return slog.New(slog.DiscardHandler) }

// TestSeries pins every series of the collector by name, label and value.
func TestSeries(t *testing.T) {
	set := settings()
	set.TimeLapse = 60
	c := newCollector(set, newStand(shop(1)), "go1.26")
	want := `
potlife_air_dew_point_celsius{bench="bench-1",zone="bench"} 13
potlife_air_relative_humidity_ratio{bench="bench-1",zone="bench"} 0.55
potlife_air_temperature_celsius{bench="bench-1",zone="bench"} 22.5
potlife_air_vapour_density_grams_per_cubic_meter{bench="bench-1",zone="bench"} 11
potlife_alarm_active{alarm="sensor-stale",bench="bench-1",priority="medium",subject="floor-air"} 1
potlife_alarm_unacknowledged{alarm="sensor-stale",bench="bench-1",subject="floor-air"} 1
potlife_batch_component_grams{batch="0612-1",bench="bench-1",part="hardener"} 17
potlife_batch_component_grams{batch="0612-1",bench="bench-1",part="ink"} 85
potlife_batch_component_grams{batch="0612-1",bench="bench-1",part="thinner"} 7.1
potlife_batch_dead_risk_ratio{batch="0612-1",bench="bench-1"} 0.01
potlife_batch_end_age_seconds_bucket{bench="bench-1",outcome="used-up",le="14400"} 2
potlife_batch_end_age_seconds_bucket{bench="bench-1",outcome="used-up",le="+Inf"} 3
potlife_batch_end_age_seconds_sum{bench="bench-1",outcome="used-up"} 40000
potlife_batch_end_age_seconds_count{bench="bench-1",outcome="used-up"} 3
potlife_batch_end_spent_ratio_bucket{bench="bench-1",outcome="used-up",le="0.5"} 1
potlife_batch_end_spent_ratio_bucket{bench="bench-1",outcome="used-up",le="1"} 2
potlife_batch_end_spent_ratio_bucket{bench="bench-1",outcome="used-up",le="+Inf"} 3
potlife_batch_end_spent_ratio_sum{bench="bench-1",outcome="used-up"} 2.5
potlife_batch_end_spent_ratio_count{bench="bench-1",outcome="used-up"} 3
potlife_batch_info{batch="0612-1",bench="bench-1",ink="dial-satin",press="press-1",state="open"} 1
potlife_batch_mixed_timestamp_seconds{batch="0612-1",bench="bench-1"} 1.7812530005e+09
potlife_batch_remaining_seconds{batch="0612-1",bench="bench-1",bound="expected"} 7200
potlife_batch_remaining_seconds{batch="0612-1",bench="bench-1",bound="high"} 10800
potlife_batch_remaining_seconds{batch="0612-1",bench="bench-1",bound="low"} 3600
potlife_batch_spent_ratio{batch="0612-1",bench="bench-1"} 0.25
potlife_batches_closed_total{bench="bench-1",ink="dial-satin",outcome="used-up"} 3
potlife_broker_refusals_total{action="connect",bench="bench-1"} 0
potlife_broker_refusals_total{action="publish",bench="bench-1"} 2
potlife_build_info{bench="bench-1",goversion="go1.26",version="0.1.0"} 1
potlife_clock_synchronised{bench="bench-1"} 1
potlife_defects_total{bench="bench-1",kind="dust",press="press-1"} 5
potlife_defects_total{bench="bench-1",kind="ghost",press="press-1"} 0
potlife_light{bench="bench-1",light="press-1",meaning="act"} 0
potlife_light{bench="bench-1",light="press-1",meaning="do-not-print"} 0
potlife_light{bench="bench-1",light="press-1",meaning="empty"} 0
potlife_light{bench="bench-1",light="press-1",meaning="in-order"} 1
potlife_light{bench="bench-1",light="press-1",meaning="soon"} 0
potlife_light{bench="bench-1",light="press-1",meaning="unknown"} 0
potlife_light{bench="bench-1",light="press-2",meaning="act"} 0
potlife_light{bench="bench-1",light="press-2",meaning="do-not-print"} 0
potlife_light{bench="bench-1",light="press-2",meaning="empty"} 1
potlife_light{bench="bench-1",light="press-2",meaning="in-order"} 0
potlife_light{bench="bench-1",light="press-2",meaning="soon"} 0
potlife_light{bench="bench-1",light="press-2",meaning="unknown"} 0
potlife_mqtt_connected{bench="bench-1",broker="hall"} 1
potlife_mqtt_connected{bench="bench-1",broker="plant"} 0
potlife_mqtt_messages_total{bench="bench-1",broker="hall",direction="out",result="ok"} 12
potlife_mqtt_messages_total{bench="bench-1",broker="plant",direction="out",result="ok"} 7
potlife_mqtt_waiting_messages{bench="bench-1",broker="hall"} 3
potlife_mqtt_waiting_messages{bench="bench-1",broker="plant"} 40
potlife_press_dead_risk_ratio{bench="bench-1",press="press-1"} 0.01
potlife_press_info{bench="bench-1",ink="",press="press-2",zone="floor"} 1
potlife_press_info{bench="bench-1",ink="dial-satin",press="press-1",zone="floor"} 1
potlife_press_remaining_seconds{bench="bench-1",bound="expected",press="press-1"} 7200
potlife_press_remaining_seconds{bench="bench-1",bound="high",press="press-1"} 10800
potlife_press_remaining_seconds{bench="bench-1",bound="low",press="press-1"} 3600
potlife_prints_total{bench="bench-1",press="press-1"} 1200
potlife_scale_check_due_timestamp_seconds{bench="bench-1",scale="scale-1"} 1.7812566005e+09
potlife_scale_finding{bench="bench-1",finding="check-failed",scale="scale-1"} 0
potlife_scale_finding{bench="bench-1",finding="drifts",scale="scale-1"} 0
potlife_scale_finding{bench="bench-1",finding="noisy",scale="scale-1"} 0
potlife_scale_finding{bench="bench-1",finding="other-device",scale="scale-1"} 0
potlife_scale_lines_total{bench="bench-1",result="ok",scale="scale-1"} 100
potlife_scale_lines_total{bench="bench-1",result="overload",scale="scale-1"} 0
potlife_scale_lines_total{bench="bench-1",result="overlong",scale="scale-1"} 0
potlife_scale_lines_total{bench="bench-1",result="torn",scale="scale-1"} 2
potlife_scale_lines_total{bench="bench-1",result="unknown",scale="scale-1"} 0
potlife_scale_noise_grams{bench="bench-1",scale="scale-1"} 0.02
potlife_scale_settle_seconds{bench="bench-1",scale="scale-1"} 2.1
potlife_scale_stable{bench="bench-1",scale="scale-1"} 1
potlife_scale_up{bench="bench-1",scale="scale-1"} 1
potlife_scale_weight_grams{bench="bench-1",scale="scale-1"} 72
potlife_scale_zero_grams{bench="bench-1",scale="scale-1"} 0.1
potlife_sensor_check_due_timestamp_seconds{bench="bench-1",sensor="bench-air"} 1.7812566005e+09
potlife_sensor_condition{bench="bench-1",condition="down",sensor="bench-air"} 0
potlife_sensor_condition{bench="bench-1",condition="stale",sensor="bench-air"} 0
potlife_sensor_condition{bench="bench-1",condition="up",sensor="bench-air"} 1
potlife_sensor_condition{bench="bench-1",condition="waiting",sensor="bench-air"} 0
potlife_sensor_drift_ratio{bench="bench-1",sensor="bench-air"} -0.005
potlife_sensor_failed_ratio{bench="bench-1",sensor="bench-air"} 0.08
potlife_sensor_finding{bench="bench-1",finding="check-failed",sensor="bench-air"} 0
potlife_sensor_finding{bench="bench-1",finding="disagrees",sensor="bench-air"} 0
potlife_sensor_finding{bench="bench-1",finding="drifts",sensor="bench-air"} 0
potlife_sensor_finding{bench="bench-1",finding="fails",sensor="bench-air"} 1
potlife_sensor_finding{bench="bench-1",finding="jumps",sensor="bench-air"} 0
potlife_sensor_finding{bench="bench-1",finding="other-device",sensor="bench-air"} 0
potlife_sensor_finding{bench="bench-1",finding="stuck",sensor="bench-air"} 0
potlife_sensor_jumps_per_day{bench="bench-1",sensor="bench-air"} 2.5
potlife_sensor_last_reading_timestamp_seconds{bench="bench-1",sensor="bench-air"} 1.7812566005e+09
potlife_sensor_read_duration_seconds{bench="bench-1",sensor="bench-air"} 0.002
potlife_sensor_reads_total{bench="bench-1",result="error",sensor="bench-air"} 0
potlife_sensor_reads_total{bench="bench-1",result="ok",sensor="bench-air"} 7
potlife_sensor_reads_total{bench="bench-1",result="rejected",sensor="bench-air"} 0
potlife_sensor_relative_humidity_ratio{bench="bench-1",sensor="bench-air",zone="bench"} 0.54
potlife_sensor_temperature_celsius{bench="bench-1",sensor="bench-air",zone="bench"} 22.4
potlife_sensor_unchanged_seconds{bench="bench-1",sensor="bench-air"} 5
potlife_sensor_up{bench="bench-1",sensor="bench-air"} 1
potlife_time_lapse_ratio{bench="bench-1"} 60
`
	if got := samples(t, c); got != strings.TrimSpace(want) {
		t.Errorf("series differ; got:\n%s", got)
	}
	if problems, err := testutil.CollectAndLint(c); err != nil || len(problems) > 0 {
		t.Errorf("lint: %v, %v", problems, err)
	}
}

// samples is what a collector exports, without help and type.
func samples(t *testing.T, c *collector) string {
	t.Helper()
	registry := prometheus.NewPedanticRegistry() // checks each sample against its description
	registry.MustRegister(c)
	text, _ := scrape(t, promhttp.HandlerFor(registry, promhttp.HandlerOpts{ErrorHandling: promhttp.HTTPErrorOnError}), "")
	var lines []string
	for line := range strings.Lines(text) {
		if !strings.HasPrefix(line, "#") {
			lines = append(lines, strings.TrimSpace(line))
		}
	}
	return strings.Join(lines, "\n")
}

// TestUnknownIsAbsent: what is not known has no sample, not even a zero.
func TestUnknownIsAbsent(t *testing.T) {
	n := shop(1)
	n.Air[0].Quality = view.QualityBad
	n.Air = append(n.Air, view.Air{Zone: "floor", Quality: view.QualityUncertain})
	n.Scales[0].WeightG = nil
	n.Sensors[0].ReadAt = time.Time{}
	n.Sensors[0].Condition, n.Sensors[0].Air = "waiting", nil
	b := &n.Batches[0]
	b.State, b.Press, b.MixedAt, b.Spent, b.RemainingS, b.Risk, b.Components = lifecycle.Mixing, nil, nil, nil, nil, nil, nil
	n.Presses[0].RemainingS, n.Presses[0].Risk = nil, nil
	n.Alarms = nil
	set := settings()
	set.MQTT = nil
	got := samples(t, newCollector(set, newStand(n), "go1.26"))
	for _, absent := range []string{
		"potlife_air_", "potlife_scale_weight_grams", "potlife_scale_stable", "potlife_sensor_last_reading", "potlife_sensor_read_duration",
		"potlife_batch_remaining", "potlife_batch_spent", "potlife_batch_dead_risk", "potlife_batch_mixed", "potlife_batch_component",
		"potlife_press_remaining", "potlife_press_dead", "potlife_alarm_", "potlife_sensor_temperature", "potlife_sensor_relative", "potlife_mqtt_", "potlife_broker_", "potlife_time_lapse",
	} {
		if strings.Contains(got, absent) {
			t.Errorf("%s… is there although it is not known:\n%s", absent, got)
		}
	}
	for _, there := range []string{
		`potlife_batch_info{batch="0612-1",bench="bench-1",ink="dial-satin",press="",state="mixing"} 1`,
		`potlife_sensor_up{bench="bench-1",sensor="bench-air"} 0`,
	} {
		if !strings.Contains(got, there) {
			t.Errorf("%s is missing:\n%s", there, got)
		}
	}
}

// TestClosedBatchIsGone: nothing of a batch outlives it, but for the count.
func TestClosedBatchIsGone(t *testing.T) {
	bench := newStand(shop(2))
	h := New(settings(), bench).Handler(quiet())
	if body, _ := scrape(t, h, ""); strings.Count(body, `batch="0612-2"`) != 10 {
		t.Errorf("want 10 series of the open batch:\n%s", body)
	}
	after := shop(1)
	after.Seq++ // a batch is closed by an event
	bench.now.Store(after)
	if body, _ := scrape(t, h, ""); strings.Contains(body, "0612-2") {
		t.Error("a closed batch still has series")
	}
}

// TestOddValuesCostOnlyThemselves: a figure that is no number, a label that is not
// UTF-8 and an id that occurs twice lose their own samples and nothing else.
func TestOddValuesCostOnlyThemselves(t *testing.T) {
	n := shop(3)
	n.Batches[0].Spent = ptr(math.NaN())
	n.Batches[0].Risk = ptr(math.Inf(1))
	n.Batches[1].ID = "\xff\xfe"
	n.Presses = append(n.Presses, n.Presses[0])
	var logged strings.Builder
	h := New(settings(), newStand(n)).Handler(slog.New(slog.NewTextHandler(&logged, nil)))
	body, _ := scrape(t, h, "")
	for _, there := range []string{`potlife_batch_spent_ratio{batch="0612-3"`, `potlife_batch_info{batch="0612-1"`, "potlife_press_remaining_seconds{"} {
		if !strings.Contains(body, there) {
			t.Errorf("%s… is missing", there)
		}
	}
	for _, absent := range []string{"NaN", `potlife_batch_dead_risk_ratio{batch="0612-1"`, "\xff"} {
		if strings.Contains(body, absent) {
			t.Errorf("%q is there", absent)
		}
	}
	if !strings.Contains(logged.String(), "UTF-8") {
		t.Errorf("the label that is not UTF-8 is not in the log: %s", &logged)
	}
}

func TestHistogramsAndProcess(t *testing.T) {
	m := New(settings(), newStand(shop(0)))
	m.ObserveReadingToPublish(3 * time.Millisecond)
	m.ObserveJournalWrite(40 * time.Millisecond)
	body, _ := scrape(t, m.Handler(quiet()), "")
	for _, there := range []string{
		`potlife_reading_to_publish_duration_seconds_bucket{bench="bench-1",le="0.0025"} 0`,
		`potlife_reading_to_publish_duration_seconds_bucket{bench="bench-1",le="0.005"} 1`,
		`potlife_journal_write_duration_seconds_bucket{bench="bench-1",le="0.05"} 1`,
		`potlife_journal_write_duration_seconds_count{bench="bench-1"} 1`,
		`process_start_time_seconds{bench="bench-1"}`,
	} {
		if !strings.Contains(body, there) {
			t.Errorf("%s is missing:\n%s", there, body)
		}
	}
}

func TestNegotiation(t *testing.T) {
	h := New(settings(), newStand(shop(1))).Handler(quiet())
	if _, ct := scrape(t, h, "text/html"); !strings.HasPrefix(ct, "text/plain; version=0.0.4") {
		t.Errorf("content type %q", ct)
	}
	body, ct := scrape(t, h, "application/openmetrics-text;version=1.0.0")
	if !strings.HasPrefix(ct, "application/openmetrics-text") || !strings.HasSuffix(body, "# EOF\n") {
		t.Errorf("content type %q, ends with %q", ct, body[max(0, len(body)-20):])
	}
}

// TestScrapesAtOnce: scrapes share nothing that changes, while the bench goes on.
func TestScrapesAtOnce(t *testing.T) {
	bench := newStand(shop(5))
	m := New(settings(), bench)
	h := m.Handler(quiet())
	var wg sync.WaitGroup
	for i := range 4 {
		wg.Go(func() {
			for range 20 {
				bench.now.Store(shop(5 + i))
				m.ObserveJournalWrite(time.Millisecond)
				w := httptest.NewRecorder()
				h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/metrics", nil))
				if w.Code != http.StatusOK {
					t.Errorf("status %d", w.Code)
				}
			}
		})
	}
	wg.Wait()
}

// BenchmarkScrape50 is a whole scrape with 50 open batches, text included. Budget on
// a Pi 4: 20 ms, once in 15 s.
func BenchmarkScrape50(b *testing.B) {
	h := New(settings(), newStand(shop(50))).Handler(quiet())
	b.ReportAllocs()
	for b.Loop() {
		r := httptest.NewRequest(http.MethodGet, "/metrics", nil)
		w := &discard{header: http.Header{}}
		h.ServeHTTP(w, r)
		if w.written == 0 {
			b.Fatal("nothing was written")
		}
	}
}

type discard struct {
	header  http.Header
	written int
}

func (d *discard) Header() http.Header { return d.header }
func (d *discard) WriteHeader(int)     {}
func (d *discard) Write(p []byte) (int, error) {
	d.written += len(p)
	return io.Discard.Write(p)
}

// TestAlarmStates: active while people are told of a cause, and unacknowledged until
// they have seen it, which may be later than that.
func TestAlarmStates(t *testing.T) {
	for state, want := range map[string][2]string{
		"unacknowledged": {"1", "1"}, "acknowledged": {"1", "0"}, "returned": {"0", "1"},
		"shelved": {"0", "0"}, "suppressed": {"0", "0"}, "out-of-service": {"0", "0"},
	} {
		n := shop(0)
		n.Alarms[0].State = state
		got := samples(t, newCollector(settings(), newStand(n), "go1.26"))
		for i, line := range []string{
			`potlife_alarm_active{alarm="sensor-stale",bench="bench-1",priority="medium",subject="floor-air"} `,
			`potlife_alarm_unacknowledged{alarm="sensor-stale",bench="bench-1",subject="floor-air"} `,
		} {
			if !strings.Contains(got, line+want[i]+"\n") {
				t.Errorf("%s: no sample %s%s", state, line, want[i])
			}
		}
	}
}
