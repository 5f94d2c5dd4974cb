package bench

import (
	"context"
	"errors"
	"log/slog"
	"math"
	"testing"
	"time"

	"potlifed/daemon/config"
	"potlifed/daemon/journal"
	"potlifed/daemon/request"
)

// TestAJournalThatEndedDoesNotHoldUpTheStop: a bench whose journal has ended ends with an
// error, and does not wait for an answer that nobody will give.
func TestAJournalThatEndedDoesNotHoldUpTheStop(t *testing.T) {
	shop, err := config.Parse("shop.yaml", []byte(testShop))
	if err != nil {
		t.Fatal(err)
	}
	log := slog.New(slog.DiscardHandler)
	j, err := journal.Open(t.TempDir(), log, func(time.Duration) {})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	over, end := context.WithCancel(t.Context())
	end()
	if err := j.Run(over); err != nil {
		t.Fatal(err)
	}
	b, err := New(t.Context(), Settings{Shop: shop, Version: "test", Clock: newClock(), Journal: j, Log: log})
	if err != nil {
		t.Fatal(err)
	}
	if err := b.Run(t.Context()); !errors.Is(err, errJournalEnded) {
		t.Errorf("the bench ends with %v", err)
	}
}

// How far batches were at their end is told by outcome, also after a pulled plug.
func TestEndsAreCounted(t *testing.T) {
	oneGoroutine(t)
	dir, c := t.TempDir(), newClock()
	s := openShop(t, dir, c)
	s.goes(20*time.Second, both(mild))
	id := s.records("dial-satin", 60, 15, 7.5)
	s.goes(65*time.Minute, both(mild))
	spent := s.spent(id)
	s.must(request.CloseBatch{Batch: id, Outcome: "used-up"})
	given := s.must(request.StartMix{Ink: "dial-satin", Press: "press-1"}).ID
	s.must(request.AbandonMix{Batch: given}) // nothing was in it
	for range 2 {
		ends := s.b.Snapshot().Ends
		if len(ends) != 1 {
			t.Fatalf("ends %+v, want one outcome", ends)
		}
		e := ends[0]
		if e.Outcome != "used-up" || e.Count != 1 || math.Abs(e.SpentSum-spent) > 1e-3 || e.Spent[0.1] != 0 || e.Spent[0.25] != 1 || e.Spent[2] != 1 {
			t.Errorf("spent %v: %+v", spent, e)
		}
		if e.AgeSumS < 3900 || e.AgeSumS > 4000 || e.AgeS[3600] != 0 || e.AgeS[7200] != 1 {
			t.Errorf("an age of 65 minutes: %+v", e)
		}
		s.crash()
		s = openShop(t, dir, c)
	}
	s.crash()
}
