package main

import (
	"os"
	"strings"
	"testing"

	"potlifed/daemon/neighbours"
	"potlifed/model/light"
)

// TestTwoBenchesOnOneBroker: two programs; the board of one shows the press of the other
// as the other says it, and as not known once that was killed.
func TestTwoBenchesOnOneBroker(t *testing.T) {
	t.Parallel()
	m, own, far := newMosquitto(t), newHardware(t), newHardware(t)
	other := far.configuration(t, m.configuration())
	text, err := os.ReadFile(other)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(other, []byte(strings.Replace(string(text), "bench: bench-1\n", "bench: bench-2\n", 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	p := start(t, own.configuration(t, m.configuration()+"others: [bench-2, bench-3]\n"))
	q := start(t, other)
	id := q.loads()
	bench := func() neighbours.Bench {
		var list struct{ Neighbours []neighbours.Bench }
		p.get("/api/v1/neighbours", &list)
		if len(list.Neighbours) != 2 || list.Neighbours[1].Contact != neighbours.Waiting {
			t.Fatalf("%+v", list)
		}
		return list.Neighbours[0]
	}
	p.eventually("the other's press", func() (bool, any) {
		b := bench()
		ok := b.Contact == neighbours.Online && len(b.Presses) == 1 && b.Presses[0].ID == "press-1" && b.Presses[0].Meaning == light.InOrder &&
			len(b.Batches) == 1 && b.Batches[0].ID == id && b.Batches[0].EndsAt != nil
		return ok, b
	})
	var mine struct{ Batches []any }
	if p.get("/api/v1/batches", &mine); len(mine.Batches) != 0 {
		t.Errorf("a batch of another bench became one of our own: %v", mine)
	}
	q.kill()
	p.eventually("not known", func() (bool, any) {
		b := bench()
		ok := b.Contact == neighbours.Offline && len(b.Presses) == 1 && b.Presses[0].Meaning == light.Unknown && b.Presses[0].Was == light.InOrder &&
			b.Presses[0].AsOf != nil && b.Batches[0].EndsAt == nil
		return ok, b
	})
	p.stop()
}
