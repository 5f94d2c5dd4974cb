package bench

import (
	"context"
	"errors"
	"log/slog"
	"testing"
	"time"

	"potlifed/daemon/config"
	"potlifed/daemon/journal"
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
