package metrics

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/view"
	"potlifed/model/lifecycle"
	"potlifed/model/light"
)

// TestATypicalBenchHasFewSeries counts the samples of one scrape, everything included, of
// a bench with three presses, two sensors, a scale and ten open batches, all of them in
// use and with alarms about many of them. A thousand benches are meant to fit into one
// Prometheus: four hundred each is the budget.
func TestATypicalBenchHasFewSeries(t *testing.T) {
	const budget = 400
	n := shop(10)
	n.Presses, n.Lights, n.Alarms = nil, nil, nil
	for i := range 3 {
		id := fmt.Sprintf("press-%d", i+1)
		n.Presses = append(n.Presses, view.Press{
			ID: id, Batch: &n.Batches[i].ID, Light: light.Soon, RemainingS: &view.Span[float64]{Expected: 7200, Low: 3600, High: 10800}, Risk: ptr(0.01), PrintsTotal: ptr(uint64(1200)),
		})
		n.Batches[i].Press = ptr(id)
		n.Lights = append(n.Lights, view.Light{ID: id, Meaning: light.Soon})
	}
	air := n.Air[0]
	air.Zone = "hall"
	n.Air = append(n.Air, air)
	reads := map[string]uint64{"ok": 7, "error": 1, "rejected": 2}
	n.Sensors = []view.Sensor{
		{ID: "bench-air", Condition: "up", ReadAt: at, LastTook: 2 * time.Millisecond, Reads: reads},
		{ID: "hall-air", Condition: "up", ReadAt: at, LastTook: 2 * time.Millisecond, Reads: reads},
		{ID: "scale-1", Condition: "up", Scale: true},
	}
	n.Scales[0].Lines = map[string]uint64{"ok": 100, "torn": 2, "unknown": 1, "overlong": 1, "overload": 1}
	for _, outcome := range []lifecycle.Outcome{lifecycle.UsedUp, lifecycle.Discarded, lifecycle.WentOff, lifecycle.NotKnown} {
		for _, ink := range []string{"dial-satin", "dial-flat", "dial-bend"} {
			n.ClosedTotal = append(n.ClosedTotal, view.ClosedTotal{Ink: ink, Outcome: outcome, Count: 3})
		}
	}
	for _, b := range n.Batches[:5] {
		n.Alarms = append(n.Alarms, view.Alarm{Name: "batch-ending", Subject: b.ID, State: "unacknowledged", Priority: "medium"})
	}
	m := New(settings(), newStand(n))
	m.ObserveJournalWrite(time.Millisecond)
	m.ObserveReadingToPublish(time.Millisecond)
	body, _ := scrape(t, m.Handler(quiet()), "")
	families := map[string]int{}
	total := 0
	for line := range strings.Lines(body) {
		if line = strings.TrimSpace(line); line == "" || line[0] == '#' {
			continue
		}
		total++
		name, _, _ := strings.Cut(line, " ")
		name, _, _ = strings.Cut(name, "{")
		families[name]++
	}
	t.Logf("%d samples in a scrape", total)
	if total > budget {
		var most []string
		for name, count := range families {
			most = append(most, fmt.Sprintf("%4d %s", count, name))
		}
		slices.Sort(most)
		slices.Reverse(most)
		t.Errorf("%d samples, more than %d:\n%s", total, budget, strings.Join(most[:min(12, len(most))], "\n"))
	}
	if total < 150 {
		t.Errorf("%d samples: that is no bench in use", total)
	}
}

// TestABatchAddsFewSeries counts the series that exist at any time because of the next batch, from its
// first pour to its end, of an ink that needs no rest; a rest is one state more. A plant of a thousand benches makes 14,000 batches a day, and its store keeps
// an entry for each series.
func TestABatchAddsFewSeries(t *testing.T) {
	const most = 12
	s := newStand(shop(1))
	m := New(settings(), s)
	m.ObserveJournalWrite(time.Millisecond)
	m.ObserveReadingToPublish(time.Millisecond)
	seen := map[string]bool{}
	add := func(id string, change func(*view.Batch)) (added int) {
		n := shop(1)
		n.Batches[0].ID, n.Presses[0].Batch = id, &id
		change(&n.Batches[0])
		s.now.Store(n)
		body, _ := scrape(t, m.Handler(quiet()), "")
		for line := range strings.Lines(body) {
			if series, _, ok := strings.Cut(line, " "); ok && series != "#" && !seen[series] {
				seen[series] = true
				added++
			}
		}
		return added
	}
	asItIs := func(*view.Batch) {}
	unloaded := func(b *view.Batch) { b.Press = nil }
	add("0611-9", unloaded) // one of the same ink was mixed and was on the press before
	add("0611-9", asItIs)
	total := 0
	for _, change := range []func(*view.Batch){
		func(b *view.Batch) {
			b.State, b.Press, b.MixedAt, b.Spent, b.RemainingS, b.Risk, b.Components = lifecycle.Mixing, nil, nil, nil, nil, nil, b.Components[:1]
		},
		func(b *view.Batch) { b.State, b.Press = lifecycle.Mixing, nil },
		unloaded,
		asItIs,
	} {
		total += add("0612-1", change)
	}
	t.Logf("a batch adds %d series", total)
	if total > most {
		t.Errorf("a batch adds %d series from its first pour to its end, more than %d", total, most)
	}
	if total < 10 {
		t.Errorf("%d series: that is no whole batch", total)
	}
	if again := add("0611-9", asItIs); again > 0 {
		t.Errorf("its end adds %d series", again)
	}
}
