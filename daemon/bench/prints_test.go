package bench

import (
	"encoding/json"
	"testing"
	"time"

	"potlifed/daemon/request"
	"potlifed/daemon/view"
	"potlifed/model/alarm"
	"potlifed/model/lifecycle"
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

// A press that reports its counter once a minute reports the last prints of a batch when that is
// off the press. They belong to the batch; only prints after that report are without a batch.
func TestLastPrintsOfABatchAreReportedAfterIt(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.goes(20*time.Second, both(mild))
	ten := uint64(10)
	prints := func(at *time.Time) {
		t.Helper()
		s.counts(request.CountPrints{Press: "press-1", Add: &ten, At: at})
	}
	id := s.records("dial-satin", 60, 15, 7.5)
	s.must(request.LoadBatch{Batch: id, Press: "press-1"})
	s.goes(61*time.Second, both(mild))
	prints(nil)
	s.goes(30*time.Second, both(mild))
	printed := s.b.clock.now()
	s.must(request.CloseBatch{Batch: id, Outcome: lifecycle.UsedUp})
	s.goes(30*time.Second, both(mild))
	prints(nil)
	s.goes(time.Second, both(mild))
	if a, stands := s.alarm(alarm.NoBatch, "press-1"); stands {
		t.Errorf("the report of the minute in which the cup was taken off: %s", a.Text)
	}
	one := int64(1)
	s.counts(request.CountDefects{Press: "press-1", Kind: "dust", Add: &one})
	s.counts(request.CountDefects{Press: "press-1", Kind: "dust", Add: &one})
	prints(&printed) // it says the time, which was before
	s.goes(time.Second, both(mild))
	if a, stands := s.alarm(alarm.NoBatch, "press-1"); stands {
		t.Errorf("prints of a time at which the cup was on the press: %s", a.Text)
	}
	closed, _ := s.b.state.Find(id)
	if closed.Prints != 30 || closed.Defects["dust"] != 2 {
		t.Errorf("the batch: %d prints, %d rejects; want 30 and 2", closed.Prints, closed.Defects["dust"])
	}
	if m := s.minutes("press-1", ""); m[len(m)-1].Ink != "dial-satin" || m[len(m)-1].Spent == nil {
		t.Errorf("the event does not know the ink that was printed with: %+v", m[len(m)-1])
	}
	prints(nil)
	s.goes(time.Second, both(mild))
	s.is(alarm.Unacknowledged, "no-batch", "press-1")
}

// A report later than the press reports, or of a press that reports each print, is no report of the
// batch that was taken off.
func TestPrintsWellAfterABatchAreWithoutIt(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.goes(20*time.Second, both(mild))
	ten := uint64(10)
	id := s.records("dial-satin", 60, 15, 7.5)
	s.must(request.LoadBatch{Batch: id, Press: "press-1"})
	s.goes(time.Minute, both(mild))
	s.must(request.UnloadBatch{Batch: id})
	s.goes(90*time.Second, both(mild))
	s.counts(request.CountPrints{Press: "press-1", Add: &ten})
	s.goes(time.Second, both(mild))
	s.is(alarm.Unacknowledged, "no-batch", "press-1")
	if b := s.batch(id); b.Prints != 0 {
		t.Errorf("the batch: %d prints", b.Prints)
	}
}
