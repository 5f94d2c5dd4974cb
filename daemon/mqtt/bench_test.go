package mqtt

import (
	"fmt"
	"testing"
	"time"

	"potlifed/daemon/mqtt/mqtttest"
	"potlifed/daemon/topics"
	"potlifed/daemon/view"
)

func fifty(at time.Time) *view.Snapshot {
	snap := *newFixture().bench.Snapshot()
	snap.At, snap.Batches = at, nil
	for i := range 50 {
		snap.Batches = append(snap.Batches, view.Batch{BatchState: batchState(fmt.Sprintf("0612-%d", i+1), at)})
	}
	return &snap
}

// Budget on a Raspberry Pi: deciding is done once a second or more often, so well
// below a millisecond; encoding happens for all batches together at most every few
// seconds, so a few milliseconds.
func BenchmarkDecide50Batches(b *testing.B) {
	at := time.Now()
	s, snap := newStates(topics.New("potlife", "bench-1")), fifty(at)
	for _, c := range s.round(snap, time.Hour, nil) {
		c.acknowledged()
	}
	b.ReportAllocs()
	for b.Loop() {
		if due := s.round(snap, time.Hour+time.Second, nil); len(due) > 0 {
			b.Fatal("something is due")
		}
	}
}

func BenchmarkDecideAndEncode50Batches(b *testing.B) {
	at := time.Now()
	s, snap := newStates(topics.New("potlife", "bench-1")), fifty(at)
	b.ReportAllocs()
	for b.Loop() {
		s.resend()
		n := 0
		for _, c := range s.round(snap, time.Hour, nil) {
			m, err := c.message()
			if err != nil || len(m.payload) == 0 {
				b.Fatal(err)
			}
			c.acknowledged()
			n++
		}
		if n != 55 {
			b.Fatalf("%d due", n)
		}
	}
}

// A backlog of a thousand events through outbox, client and built-in broker on
// loopback, each portion acknowledged and the cursor stored, without the pause that
// spares slow subscribers.
func BenchmarkOutbox1000Events(b *testing.B) {
	broker := newBuiltIn(b)
	r := newFixture()
	p, _ := runPublisher(b, r, broker.settings(), func(p *Publisher) { p.pause = 0 })
	mqtttest.Until(b, "the connection", p.Connected)
	const events = 1000
	for b.Loop() {
		var last uint64
		for range events {
			last = r.journal.add("0612-1")
		}
		r.bench.change(func(s *view.Snapshot) { s.Seq = last })
		for {
			seq, err := r.journal.Cursor(b.Context(), hallCursor)
			if err != nil {
				b.Fatal(err)
			}
			if seq == last {
				break
			}
			time.Sleep(100 * time.Microsecond)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*events), "ns/event")
}
