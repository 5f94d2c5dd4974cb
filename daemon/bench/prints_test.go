package bench

import (
	"encoding/json"
	"testing"
	"time"

	"potlifed/daemon/request"
	"potlifed/daemon/view"
	"potlifed/model/alarm"
)

func TestPrintsAreCounted(t *testing.T) {
	dir, c := t.TempDir(), newClock()
	s := openShop(t, dir, c)
	s.goes(20*time.Second, both(mild))
	n := func(n uint64) *uint64 { return &n }
	report := func(r request.CountPrints) uint64 {
		t.Helper()
		r.Press = "press-1"
		body, refusal := s.asks(r)
		var v view.Press
		if refusal != nil || json.Unmarshal(body, &v) != nil || v.PrintsTotal == nil {
			t.Fatalf("%s (%v)", body, refusal)
		}
		return *v.PrintsTotal
	}
	for i, step := range []struct {
		report request.CountPrints
		want   uint64
	}{
		{request.CountPrints{Total: n(5000)}, 0}, // its zero
		{request.CountPrints{Total: n(5010)}, 10},
		{request.CountPrints{Total: n(5010)}, 10},
		{request.CountPrints{Add: n(5)}, 15},
		{request.CountPrints{Total: n(3)}, 18}, // somebody has reset it
		{request.CountPrints{Total: n(10)}, 25},
	} {
		if got := report(step.report); got != step.want {
			t.Errorf("report %d: %d prints, want %d", i+1, got, step.want)
		}
	}
	seq := s.b.state.Seq
	report(request.CountPrints{Total: n(10)})
	if s.b.state.Seq != seq {
		t.Error("a report that says nothing new is an event")
	}
	for name, wrong := range map[string]request.CountPrints{
		"nothing": {Press: "press-1"}, "both": {Press: "press-1", Total: n(1), Add: n(1)}, "too many": {Press: "press-1", Add: n(1 << 60)},
		"no such press": {Press: "press-9", Add: n(1)},
	} {
		if body, refusal := s.asks(wrong); refusal == nil || refusal.Detail == "" {
			t.Errorf("%s: %s, want a refusal that says why", name, body)
		}
	}
	live := jsonOf(t, s.b.write.durable)
	s.crash()
	if got := loadState(t, dir); got != live {
		t.Errorf("the journal gives another state than was live:\n%s\n%s", live, got)
	}
}

func TestPrintingWithoutABatch(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.goes(20*time.Second, both(mild))
	ten := uint64(10)
	prints := request.CountPrints{Press: "press-1", Add: &ten}
	if _, refusal := s.asks(prints); refusal != nil {
		t.Fatal(refusal)
	}
	s.goes(time.Second, both(mild))
	s.is(alarm.Unacknowledged, "no-batch", "press-1")
	if l := s.light("light-1"); l.Meaning != "act" || !l.Flashing {
		t.Errorf("printing without a batch: light %s, flashing %v", l.Meaning, l.Flashing)
	}
	s.goes(3*time.Minute, both(mild)) // it has stopped
	s.overOnceSeen("no-batch", "press-1")
	if l := s.light("light-1"); l.Meaning != "empty" {
		t.Errorf("it has stopped: light %s", l.Meaning)
	}
	id := s.records("dial-satin", 60, 15, 7.5)
	s.must(request.LoadBatch{Batch: id, Press: "press-1"})
	if _, refusal := s.asks(prints); refusal != nil {
		t.Fatal(refusal)
	}
	s.goes(time.Second, both(mild))
	s.is(alarm.Normal, "no-batch", "press-1")
	if l := s.light("light-1"); l.Meaning != "in-order" {
		t.Errorf("printing with a batch: light %s", l.Meaning)
	}
}
