package bench

import (
	"slices"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/daemon/view"
)

func (s *shop) presses() { s.enter(keyPress{scale: "scale-1", at: s.clock.is.Mono}) }

func TestThePrintKeyConfirms(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.pass(6*time.Second, both(mild))
	id := s.must(request.StartMix{Ink: "dial-satin", Press: "press-1"}).ID
	step := func() string { return string(*s.batch(id).Step) }
	s.weighs(12, 2*time.Second)
	s.presses()
	if step() != "ink" {
		t.Fatalf("pressed with the cup on: at %s", step())
	}
	// A second press within half a second is the same one.
	s.presses()
	for range 3 {
		s.turn()
		s.presses()
	}
	if r := s.scaleView().KeyRefused; r != nil {
		t.Errorf("a bounce was taken for a press: %+v", r)
	}
	s.weighs(12, time.Second)
	s.presses()
	if r := s.scaleView().KeyRefused; step() != "ink" || r == nil || r.Code != "nothing-poured" {
		t.Fatalf("pressed with nothing poured: at %s, %+v", step(), r)
	}
	s.pours(12, 72, 6*time.Second)
	s.presses()
	if step() != "hardener" || s.scaleView().KeyRefused != nil {
		t.Fatalf("pressed with the ink in: at %s, %+v", step(), s.scaleView().KeyRefused)
	}
	events, err := s.journal.Events(s.ctx, 0, 1000)
	if err != nil {
		t.Fatal(err)
	}
	by := slices.ContainsFunc(events, func(e view.Event) bool {
		return record.Kind(e.Kind) == record.KindConfirmed && strings.Contains(string(e.JSON), `"by":"scale-1"`)
	})
	if !by {
		t.Error("the journal does not say that the scale confirmed")
	}
	// Out of tolerance the step stays and says what to add, as for any confirm.
	s.pours(72, 92, 3*time.Second)
	s.presses()
	if v := s.batch(id); step() != "hardener" || len(v.Corrections) == 0 {
		t.Errorf("5 g too much hardener: at %s with %v", step(), v.Corrections)
	}
}

func TestThePrintKeyAcknowledges(t *testing.T) {
	oneGoroutine(t)
	t.Parallel() // it waits for the disk
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.pass(20*time.Second, both(humid))
	id := s.mixes()
	s.must(request.LoadBatch{Batch: id, Press: "press-1"})
	for range 8 * 60 {
		s.pass(time.Minute, both(humid))
	}
	s.weighs(0, time.Second)
	if a, ok := s.alarm("batch-ending", id); !ok || a.State != "unacknowledged" {
		t.Fatalf("no alarm to acknowledge: %+v", a)
	}
	s.presses()
	for _, a := range s.b.Snapshot().Alarms {
		if a.State == "unacknowledged" {
			t.Errorf("%s/%s is not acknowledged", a.Name, a.Subject)
		}
	}
	if a, _ := s.alarm("batch-ending", id); a.By != "scale-1" {
		t.Errorf("acknowledged by %q", a.By)
	}
}

// With a journal that cannot write, the key says so like any other confirm.
func TestThePrintKeyWithoutADisk(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	s.pass(6*time.Second, both(mild))
	id := s.must(request.StartMix{Ink: "dial-satin", Press: "press-1"}).ID
	s.weighs(12, 2*time.Second)
	s.journal.full = errFull
	s.presses()
	if r := s.scaleView().KeyRefused; r == nil || *s.batch(id).Step != "cup" {
		t.Errorf("at %s, refused %+v", *s.batch(id).Step, r)
	}
}
