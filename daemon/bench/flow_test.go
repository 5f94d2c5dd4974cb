package bench

import (
	"strings"
	"testing"
	"time"

	"potlifed/daemon/request"
	"potlifed/daemon/words"
)

// A flow time of the fresh mix and one hours later, two runs each, narrow the band; the figures are kept, and a
// correction replaces the wrong ones. What was spent stays.
func TestAFlowTimeTellsHowOldTheBatchIs(t *testing.T) {
	oneGoroutine(t)
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.pass(20*time.Second, both(mild))
	id := s.mixes()
	width := func() time.Duration {
		e := s.batch(id).EndsAt
		return e.High.Sub(e.Low)
	}
	s.must(request.FlowTimeBatch{Batch: id, Cup: "ford-4", Seconds: 40, SecondRunS: new(40.5), InkTemperatureC: new(mild.TemperatureC)})
	s.pass(2*time.Hour, both(mild))
	before, spent := width(), s.spent(id)
	v := s.must(request.FlowTimeBatch{Batch: id, Cup: "ford-4", Seconds: 47, SecondRunS: new(47.5), InkTemperatureC: new(mild.TemperatureC)})
	right := width()
	if !(right < before*97/100) || s.spent(id) < spent || s.spent(id) > spent+1e-3 {
		t.Errorf("the band is %v, was %v; spent %v, was %v", right, before, s.spent(id), spent)
	}
	flows := s.b.state.Batches[id].Flows
	if len(flows) != 2 || flows[1].Seq != v.Seq || flows[1].RunsS[1] != 47.5 || !flows[1].Agree {
		t.Fatalf("flow times %+v", flows)
	}
	// The second one was misread: it is corrected, and its figures do not count any more.
	s.must(request.FlowTimeBatch{Batch: id, Cup: "ford-4", Seconds: 74, Corrects: v.Seq})
	if flows = s.b.state.Batches[id].Flows; len(flows) != 2 || flows[1].RunsS[0] != 74 || flows[1].Agree || len(s.b.state.Batches[id].Ensemble.Heard()) != 2 {
		t.Errorf("flow times %+v", flows)
	}
	if _, refusal := s.ask(request.FlowTimeBatch{Batch: id, Cup: "ford-4", Seconds: 47, Corrects: v.Seq}); refusal == nil || refusal.Kind != request.NotFound {
		t.Errorf("corrected twice: %v", refusal)
	}
}

// Outside the times of the cup, and before the mix is finished, a flow time is refused.
func TestAFlowTimeThatSaysNothingIsRefused(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.pass(20*time.Second, both(mild))
	id := s.mixes()
	for name, c := range map[string]request.FlowTimeBatch{
		"too fast": {Cup: "ford-4", Seconds: 12}, "too slow": {Cup: "iso-4", Seconds: 130}, "a cup that is not known": {Cup: "ford-9", Seconds: 50},
		"a second run too fast": {Cup: "ford-1", Seconds: 60, SecondRunS: new(50.0)}, "hotter than ink is": {Cup: "ford-4", Seconds: 50, InkTemperatureC: new(300.0)},
	} {
		c.Batch = id
		if _, refusal := s.ask(c); refusal == nil || refusal.Kind != request.Invalid {
			t.Errorf("%s: %v, want it refused as invalid", name, refusal)
		} else if words := (words.Locale{}).Refusal(refusal.Message); name == "too slow" && !strings.HasPrefix(words, "With this flow cup a flow time is 30 to 100 s.") {
			t.Errorf("%s: a person reads %q", name, words)
		}
	}
	if flows := s.b.state.Batches[id].Flows; len(flows) != 0 {
		t.Errorf("flow times %+v", flows)
	}
}

// The flow times of batches that ended are what the ink's curve is learned from; undoing the end takes them back.
func TestTheCurveIsLearnedFromBatchesThatEnded(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.pass(20*time.Second, both(mild))
	id := s.mixes()
	s.must(request.FlowTimeBatch{Batch: id, Cup: "ford-4", Seconds: 40, SecondRunS: new(40.5), InkTemperatureC: new(mild.TemperatureC)})
	ink := s.b.state.Batches[id].Ink
	closed := s.must(request.CloseBatch{Batch: id, Outcome: "went-off", Seen: "now"})
	if series := s.b.state.FlowSeries[ink]; len(series) != 1 || series[0].Batch != id || len(series[0].Points) != 1 || !(series[0].EndDose > 0) {
		t.Fatalf("series %+v", series)
	}
	s.must(request.Undo{Batch: id, Seq: closed.Seq})
	if series := s.b.state.FlowSeries[ink]; len(series) != 0 {
		t.Errorf("after the end was undone: %+v", series)
	}
}
