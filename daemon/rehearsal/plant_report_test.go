package rehearsal

import (
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"potlifed/model/light"
)

func TestPlantReport(t *testing.T) {
	r := PlantReport{Benches: 2, Latencies: []time.Duration{3 * time.Second, time.Second, 2 * time.Second}, WrongLights: []string{"light-1 of bench-2 shows in-order, by the table soon"}}
	began := time.Now()
	r.count(map[string]Traffic{"light": {10, 1000}, "air": {1, 50}}, map[string]Traffic{"light": {20, 2000}, "air": {1, 50}},
		usage{at: began, cpu: 1, memory: 1e6}, usage{at: began, cpu: time.Second}, usage{at: began.Add(10 * time.Second), cpu: 2 * time.Second, memory: 21e6})
	if r.Total() != (Traffic{10, 1000}) || len(r.Traffic) != 1 || r.CPUShare != 0.05 || r.MemoryBytes != 10e6 {
		t.Errorf("%+v", r)
	}
	if r.Quantile(0.5) != 2*time.Second || r.Quantile(0.99) != 3*time.Second || (&PlantReport{}).Quantile(0.5) != 0 {
		t.Errorf("median %v", r.Quantile(0.5))
	}
	var out strings.Builder
	if err := r.Write(&out); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"1.0 messages/s, 100 bytes/s", "1800 messages/h", "5.00 % of a core, 10.0 MB", "median 2s, 99 % 3s", "wrong: light-1 of bench-2"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("%q is missing in\n%s", want, &out)
		}
	}
}

// TestEventsAreCounted: what the subscriber says of gaps is not always nothing.
func TestEventsAreCounted(t *testing.T) {
	h := &subscriber{prefix: "p", counts: map[string]Traffic{}, lights: map[string]litLight{}, events: map[string]*EventsReceived{}, more: make(chan struct{})}
	for _, payload := range []string{`{"seq":1,"journal":"a"}`, `{"seq":2,"journal":"a"}`, `{"seq":2,"journal":"a"}`, `{"seq":5,"journal":"a"}`, `{"seq":4,"journal":"a"}`, `[`} {
		h.receive("p/bench-1/event", []byte(payload), false, time.Now())
	}
	if got := h.received("bench-1"); got != (EventsReceived{Last: 5, Gaps: 2, Repeated: 2, Journal: "a"}) {
		t.Errorf("%+v", got)
	}
}

// TestTableOf: what the plant's lights are judged by can tell right from wrong.
func TestTableOf(t *testing.T) {
	now, press, risk := time.Now(), "press-1", 0.3
	on := func(f func(*batch)) []batch {
		b := batch{ID: "0612-1", State: "open", Press: &press, Quality: "good", Risk: new(float64), EndsAt: &ends{Low: now.Add(3 * time.Hour)}}
		f(&b)
		return []batch{b}
	}
	for want, rows := range map[light.Meaning][]batch{
		light.Empty:      nil,
		light.InOrder:    on(func(*batch) {}),
		light.Soon:       on(func(b *batch) { b.EndsAt.Low = now.Add(40 * time.Minute) }),
		light.Unknown:    on(func(b *batch) { b.Quality = "bad" }),
		light.DoNotPrint: on(func(b *batch) { b.Risk = &risk }),
		light.Act:        on(func(b *batch) { b.Press, b.For, b.Step = nil, press, new("load") }),
	} {
		if got := tableOf(rows, press, now); got != want {
			t.Errorf("%+v: %s, want %s", rows, got, want)
		}
	}
}

// What the subscriber says of pauses, repeats, lights and its own return is not always nothing.
func TestReaderCountsWhatItMisses(t *testing.T) {
	h := &subscriber{prefix: "p", counts: map[string]Traffic{}, lights: map[string]litLight{}, events: map[string]*EventsReceived{}, more: make(chan struct{})}
	h.begin()
	at := h.began
	hear := func(after time.Duration, topic, payload string) {
		h.receive(topic, []byte(payload), false, at.Add(after))
	}
	event := func(seq int, made time.Duration) string {
		return fmt.Sprintf(`{"seq":%d,"journal":"a","time":%q}`, seq, at.Add(made).Format(time.RFC3339Nano))
	}
	hear(0, "p/bench-1/light/light-1", `{"meaning":"in-order"}`)
	hear(0, "p/bench-2/light/light-1", `{"meaning":"in-order"}`)
	hear(time.Second, "p/bench-1/event", event(1, 900*time.Millisecond))
	hear(time.Second, "p/bench-1/event", event(1, 900*time.Millisecond))
	hear(31*time.Second, "p/bench-1/event", event(3, 30*time.Second))
	h.lose()
	h.connected(at.Add(40 * time.Second))
	h.receive("p/bench-1/light/light-1", []byte(`{"meaning":"in-order"}`), true, at.Add(40*time.Second)) // retained: it says nothing of the bench
	hear(43*time.Second, "p/bench-1/light/light-1", `{"meaning":"in-order"}`)
	hear(44*time.Second, "p/bench-2/light/light-1", `{"meaning":"unknown"}`)
	hear(46*time.Second, "p/bench-2/light/light-1", `{"meaning":"in-order"}`)
	var r PlantReport
	h.report(&r)
	want := PlantReport{Pause: Pause{"bench-2", 44 * time.Second}, Gaps: 1, Repeated: 1, Lost: 1, Back: 6 * time.Second, DarkLights: 1,
		Delays: []time.Duration{100 * time.Millisecond, time.Second}}
	if !reflect.DeepEqual(r, want) {
		t.Errorf("%+v, want %+v", r, want)
	}
	both := PlantReport{Benches: 1, CPUShare: 0.2}
	r.Benches = 3
	both.Merge(r)
	if both.Benches != 4 || math.Abs(both.CPUShare-0.05) > 1e-12 || both.Pause != want.Pause || both.Gaps != 1 || both.Back != want.Back {
		t.Errorf("merged: %+v", both)
	}
	var out strings.Builder
	if err := both.Write(&out); err != nil {
		t.Fatal(err)
	}
	for _, text := range []string{"left out 1, received again 1; longest time without a message of a bench 44s (bench-2)", "lights without contact 1", "lost 1 times", "within 6s", "median 1s"} {
		if !strings.Contains(out.String(), text) {
			t.Errorf("%q is missing in\n%s", text, &out)
		}
	}
}
