package bench

import (
	"math"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/request"
	"potlifed/model/light"
)

// A failed test of a print whose age is known shortens the life of open batches of its ink, names the end that
// comes first, and is undone, corrected and read again like other records. A test of unknown age, and passed
// ones, change nothing.
func TestAFailedTestTellsOfTheAdhesionEnd(t *testing.T) {
	oneGoroutine(t)
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.pass(20*time.Second, both(mild))
	id := s.mixes()
	s.pass(3*time.Hour, both(mild))
	low := func() time.Duration { return s.batch(id).EndsAt.Low.Sub(*s.batch(id).MixedAt) }
	before := low()
	at := func(ago time.Duration) *time.Time { return new(s.clock.Now().Wall.Add(-ago)) }
	unchanged := func(what string) {
		t.Helper()
		if d := low() - before; d.Abs() > time.Minute || s.batch(id).FirstEnd != "" {
			t.Errorf("%s: low is %v later, first end %q", what, d, s.batch(id).FirstEnd)
		}
	}
	s.must(request.TestBatch{Batch: id, Kind: "adhesion", Result: "fail"})
	unchanged("a failed test of unknown age")
	s.must(request.TestBatch{Batch: id, Kind: "rub", Result: "pass", PrintedAt: at(time.Hour)})
	unchanged("a passed test")

	failed := s.must(request.TestBatch{Batch: id, Kind: "adhesion", Result: "fail", PrintedAt: at(30 * time.Minute)})
	if b := s.batch(id); low() > before-time.Hour || b.FirstEnd != "adhesion" {
		t.Errorf("after a failed test: low %v, was %v; first end %q, risk %v", low(), before, b.FirstEnd, *b.Risk)
	}
	tests := s.b.state.Batches[id].Tests
	last := tests[len(tests)-1]
	if spent := s.spent(id); len(tests) != 3 || last.Seq != failed.Seq || math.Abs(last.Spent-spent*2.5/3) > 0.01 {
		t.Errorf("tests %+v, spent %v", tests, spent)
	}
	s.must(request.Undo{Batch: id, Seq: failed.Seq})
	unchanged("undone")
	failed = s.must(request.TestBatch{Batch: id, Kind: "adhesion", Result: "fail", PrintedAt: at(30 * time.Minute)})
	s.must(request.TestBatch{Batch: id, Kind: "adhesion", Result: "pass", PrintedAt: at(30 * time.Minute), Corrects: failed.Seq})
	unchanged("corrected")
	if _, refusal := s.ask(request.TestBatch{Batch: id, Kind: "rub", Result: "pass", Corrects: failed.Seq}); refusal == nil || refusal.Kind != request.NotFound {
		t.Errorf("corrected twice: %v", refusal)
	}
	if _, refusal := s.ask(request.TestBatch{Batch: id, Kind: "rub", Result: "pass", PrintedAt: at(9 * time.Hour)}); refusal == nil || refusal.Kind != request.Invalid {
		t.Errorf("printed before it was mixed: %v", refusal)
	}
	// Two prints of the batch on a press failed: the light says why, since nobody sees it in the cup.
	s.must(request.LoadBatch{Batch: id, Press: "press-1"})
	for range 2 {
		s.must(request.TestBatch{Batch: id, Kind: "adhesion", Result: "fail", PrintedAt: at(10 * time.Minute)})
	}
	s.must(request.GoodBatch{Batch: id})
	if p := s.press("press-1"); p.Light != light.DoNotPrint || p.Cause != light.AdhesionDoubtful {
		t.Errorf("light %s, %s, risk %v", p.Light, p.Cause, *s.batch(id).Risk)
	}
}

// The result often comes when the batch is closed. It then tells of the ink, and the next batch knows it.
func TestATestOfAClosedBatchTellsOfItsInk(t *testing.T) {
	oneGoroutine(t)
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.pass(20*time.Second, both(mild))
	id := s.mixes()
	s.pass(3*time.Hour, both(mild))
	printed := s.clock.Now().Wall.Add(-time.Hour)
	s.must(request.CloseBatch{Batch: id, Outcome: "used-up"})
	s.pass(time.Hour, both(mild))
	test := request.TestBatch{Batch: id, Kind: "adhesion", Result: "fail", PrintedAt: &printed}
	without := test
	without.PrintedAt = nil
	if _, refusal := s.ask(without); refusal == nil {
		t.Error("a test of a closed batch without its age is taken")
	}
	v := s.must(test)
	closed, _ := s.b.state.Find(id)
	if n := len(closed.Tests); n != 1 || closed.Tests[0].Seq != v.Seq || !(math.Abs(closed.Tests[0].Spent-closed.Spent*2/3) < 0.01) {
		t.Errorf("tests %+v, spent %v at the end", closed.Tests, closed.Spent)
	}
	next := s.mixes()
	if !s.b.state.Batches[next].Ensemble.Adheres() || s.batch(next).FirstEnd == "" {
		t.Error("the next batch knows nothing of the adhesion end")
	}
}

// A print that fails at once stops its press until one passes, whatever was seen in the cup. That it failed is not
// from age, and shortens no life.
func TestAFailedTestStopsThePress(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.pass(20*time.Second, both(mild))
	id := s.mixes()
	s.pass(30*time.Minute, both(mild))
	s.must(request.LoadBatch{Batch: id, Press: "press-1"})
	low, was := s.batch(id).EndsAt.Low, s.press("press-1")
	if was.Light == light.DoNotPrint || was.Light == light.Unknown {
		t.Fatalf("before the test: %+v", was)
	}
	stands := func(what string, stopped bool) {
		t.Helper()
		p := s.press("press-1")
		if got := p.Light == light.DoNotPrint && p.Cause == light.AdhesionDoubtful && strings.HasPrefix(p.Reason, "The last test of a print failed"); got != stopped || !stopped && p.Light != was.Light {
			t.Errorf("%s: %s, %s, %q", what, p.Light, p.Cause, p.Reason)
		}
	}
	test := func(result string, corrects uint64) uint64 {
		t.Helper()
		return s.must(request.TestBatch{Batch: id, Kind: "adhesion", Result: result, PrintedAt: new(s.clock.Now().Wall), Corrects: corrects}).Seq
	}
	failed := test("fail", 0)
	stands("failed", true)
	if b := s.batch(id); b.FirstEnd != "" || b.EndsAt.Low.Sub(low).Abs() > time.Minute {
		t.Errorf("from a print at %.2f of the life: first end %q, low %v later", *b.Spent, b.FirstEnd, b.EndsAt.Low.Sub(low))
	}
	s.must(request.GoodBatch{Batch: id})
	stands("looked at", true)
	failed = test("fail", failed)
	stands("failed again", true)
	s.must(request.Undo{Batch: id, Seq: failed})
	stands("undone, the one before it stays", true)
	test("pass", 0)
	stands("passed", false)
	failed = test("fail", 0)
	stands("failed once more", true)
	test("pass", failed)
	stands("corrected", false)
	failed = test("fail", 0)
	s.must(request.Undo{Batch: id, Seq: failed})
	stands("undone", false)
	test("fail", 0)
	s.must(request.UnloadBatch{Batch: id})
	if p := s.press("press-1"); p.Light == light.DoNotPrint {
		t.Errorf("taken off: %s, %s", p.Light, p.Cause)
	}
}
