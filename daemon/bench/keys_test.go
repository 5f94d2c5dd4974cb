package bench

import (
	"fmt"
	"testing"
	"time"

	"potlifed/daemon/request"
)

// TestKeysAreBounded remembers more keys than there may be: the newest stay, none of more than a
// day ago does, and memory follows.
func TestKeysAreBounded(t *testing.T) {
	k := newKeys()
	at := time.Date(2026, 6, 12, 6, 0, 0, 0, time.UTC)
	for i := range 5 * mostKeys {
		k.add(fmt.Sprint(i), keyed{hash: "h", at: at, seq: uint64(i)})
	}
	if _, ok := k.find(fmt.Sprint(4*mostKeys), at); !ok || len(k.known) != mostKeys || cap(k.order) > 5*mostKeys {
		t.Errorf("%d keys are known (%v), room for %d", len(k.known), ok, cap(k.order))
	}
	if _, ok := k.find(fmt.Sprint(4*mostKeys-1), at); ok {
		t.Error("a key beyond the bound is known")
	}
	k.add("later", keyed{at: at.Add(keyFor + time.Second)})
	if len(k.known) != 1 || len(k.order) != 1 {
		t.Errorf("%d keys and %d in order a day later, want the new one", len(k.known), len(k.order))
	}
	if _, ok := k.find("later", at.Add(3*keyFor)); ok {
		t.Error("a key is found after its day")
	}
}

// TestAKeyOfWhatWasNotWritten: a change that the disk refused may be asked for again with its key,
// and one that was taken without the disk has its answer.
func TestAKeyOfWhatWasNotWritten(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	s.pass(20*time.Second, both(mild))
	id := s.mixes()
	s.must(request.LoadBatch{Batch: id, Press: "press-1"})
	s.journal.full = errFull
	good := request.Request{Change: request.GoodBatch{Batch: id}, By: "tester", Key: "http:good", Hash: "1"}
	if _, refusal := s.askAs(good); refusal == nil {
		t.Fatal("a change was taken by a full disk")
	}
	unload := request.Request{Change: request.UnloadBatch{Batch: id}, By: "tester", Key: "http:unload", Hash: "2"}
	if _, refusal := s.askAs(unload); refusal != nil {
		t.Fatal(refusal)
	}
	s.journal.full = nil
	s.pass(20*time.Second, both(mild))
	seq := s.b.state.Seq
	if again, refusal := s.askAs(unload); refusal != nil || again.ID != id || again.Press != nil {
		t.Errorf("the same key: %+v (%v)", again, refusal)
	}
	if s.b.state.Seq != seq {
		t.Error("it was made twice")
	}
	if _, refusal := s.askAs(good); refusal != nil || s.b.state.Seq != seq+1 {
		t.Errorf("asked for again: %v, event %d after %d", refusal, s.b.state.Seq, seq)
	}
}

// BenchmarkKeyedChange makes one change with a key while many are known: six presses that report
// once a minute make 8,640 a day. The cost is the same with none.
func BenchmarkKeyedChange(b *testing.B) {
	for _, n := range []int{0, 8000} {
		b.Run(fmt.Sprintf("known=%d", n), func(b *testing.B) {
			s := busyShop(b, 1)
			id := ""
			for id = range s.b.state.Batches {
			}
			ask := func(i int) {
				r := request.Request{Change: request.GoodBatch{Batch: id}, By: "tester", Key: fmt.Sprint("http:", i), Hash: "1"}
				w := &waiter{request: r, answer: make(chan answer, 1)}
				w.enter(s.b, s.b.clock.now())
			}
			for i := range n {
				ask(i)
				if i%500 == 0 {
					s.settle()
				}
			}
			s.settle()
			b.ReportAllocs()
			i := n
			for b.Loop() {
				ask(i)
				i++
				if i%500 == 0 {
					b.StopTimer()
					s.settle()
					b.StartTimer()
				}
			}
			b.StopTimer()
			s.settle()
		})
	}
}
