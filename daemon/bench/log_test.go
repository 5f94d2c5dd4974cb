package bench

import (
	"log/slog"
	"strings"
	"testing"

	"potlifed/daemon/request"
	"potlifed/model/lifecycle"
)

// TestTheLogHasALineForEachMixAndBatch: each line comes once, when the event is on disk.
func TestTheLogHasALineForEachMixAndBatch(t *testing.T) {
	var out strings.Builder
	s := openShop(t, t.TempDir(), newClock())
	s.b.log = slog.New(slog.NewTextHandler(&out, nil))
	id := s.mixes()
	s.must(request.LoadBatch{Batch: id, Press: "press-1"})
	s.must(request.CloseBatch{Batch: id, Outcome: lifecycle.UsedUp, StillGood: lifecycle.GoodYes})
	for _, want := range []string{"mix started", "pot life begins", "batch loaded", "batch closed"} {
		if n := strings.Count(out.String(), `msg="`+want+`" batch=`+id); n != 1 {
			t.Errorf("%d lines %q about %s, want 1, in\n%s", n, want, id, out.String())
		}
	}
	if n := strings.Count(out.String(), "\n"); n > 12 {
		t.Errorf("%d lines for one batch, want a few:\n%s", n, out.String())
	}
}
