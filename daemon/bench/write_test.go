package bench

import (
	"testing"
	"time"

	"potlifed/daemon/record"
	"potlifed/daemon/request"
)

func TestFullDiskLosesNothingAndStopsNoClock(t *testing.T) {
	dir := t.TempDir()
	s := openShop(t, dir, newClock())
	s.pass(20*time.Second, both(mild))
	id := s.mixes()
	s.must(request.LoadBatch{Batch: id, Press: "press-1"})
	s.pass(time.Minute, both(mild))
	spent, seq := s.spent(id), s.b.state.Seq

	s.journal.full = errFull
	if _, refusal := s.ask(request.GoodBatch{Batch: id}); refusal == nil || refusal.Kind != request.Unavailable {
		t.Fatalf("a change that could not be written: %v, want it refused as unavailable", refusal)
	}
	if got := s.b.state.Batches[id].GoodAt; !got.Equal(s.b.state.Batches[id].MixedAt) {
		t.Errorf("good_at %v: the refused change left a trace", got)
	}
	s.pass(10*time.Minute, both(humid))
	if _, ok := s.alarm("journal", "bench-1"); !ok {
		t.Error("no alarm journal")
	}
	if now := s.spent(id); now <= spent {
		t.Errorf("spent %v, before %v: the clock stands still", now, spent)
	}
	if _, refusal := s.ask(request.StartMix{Ink: "dial-satin"}); refusal == nil || refusal.Kind != request.Unavailable {
		t.Errorf("a new mix: %v, want it refused as unavailable", refusal)
	}
	answered, refusal := s.ask(request.CloseBatch{Batch: id, Outcome: "discarded"})
	if refusal != nil {
		t.Fatalf("close must be taken without a disk: %v", refusal)
	}
	if answered.OnDisk == nil || *answered.OnDisk {
		t.Error("the answer does not say that it is not on disk")
	}
	if n := s.b.Snapshot().NotOnDisk; n == 0 {
		t.Error("the snapshot counts no event that is not on disk")
	}

	s.journal.full = nil
	s.pass(time.Minute, both(mild))
	if snap := s.b.Snapshot(); snap.JournalError != "" || snap.NotOnDisk != 0 {
		t.Errorf("the disk is back: error %q, %d not on disk", snap.JournalError, snap.NotOnDisk)
	}
	s.overOnceSeen("journal", "bench-1")
	events, err := s.journal.Events(s.ctx, 0, 1000)
	if err != nil {
		t.Fatal(err)
	}
	for i, e := range events {
		if e.Seq != uint64(i+1) {
			t.Fatalf("event %d has number %d: the numbers have a gap", i+1, e.Seq)
		}
	}
	kinds := map[record.Kind]int{}
	for _, e := range events {
		if e.Seq > seq {
			kinds[record.Kind(e.Kind)]++
		}
	}
	if kinds[record.KindClosed] != 1 || kinds[record.KindGood] != 0 || kinds[record.KindAlarmRaised] == 0 {
		t.Errorf("after the disk was back the journal holds %v: want the close and the alarm, not the refused good", kinds)
	}
	live := jsonOf(t, s.b.state)
	s.crash()
	s = openShop(t, dir, s.clock)
	defer s.crash()
	if _, open := s.b.state.Batches[id]; open {
		t.Errorf("the closed batch is open again after a restart; live was %s", live)
	}
}

func TestSameKeySameAnswerAcrossARestart(t *testing.T) {
	dir, c := t.TempDir(), newClock()
	s := openShop(t, dir, c)
	s.pass(20*time.Second, both(mild))
	ask := request.Request{Change: request.StartMix{Ink: "dial-satin"}, By: "tester", Key: "http:abc", Hash: "1"}
	first, refusal := s.askAs(ask)
	if refusal != nil {
		t.Fatal(refusal)
	}
	seq := s.b.state.Seq
	s.crash()
	c.turn(time.Minute)
	s = openShop(t, dir, c)
	defer s.crash()
	again, refusal := s.askAs(ask)
	if refusal != nil || again.ID != first.ID || !again.Time.Equal(first.Time) {
		t.Errorf("the same key: %+v (%v), want the first answer again", again, refusal)
	}
	if got := s.b.state.Seq; got > seq+3 { // the restart itself is an event
		t.Errorf("events went from %d to %d: the change was made twice", seq, got)
	}
	if len(s.b.state.Batches) != 1 {
		t.Errorf("%d batches, want 1", len(s.b.state.Batches))
	}
	ask.Hash = "2"
	if _, refusal := s.askAs(ask); refusal == nil || refusal.Kind != request.Invalid {
		t.Errorf("the same key for something else: %v, want it refused as invalid", refusal)
	}
	c.turn(25 * time.Hour)
	s.pass(time.Second, both(mild))
	s.must(request.AbandonMix{Batch: first.ID})
	if _, refusal := s.askAs(request.Request{Change: request.StartMix{Ink: "dial-satin"}, By: "tester", Key: "http:def", Hash: "3"}); refusal != nil {
		t.Fatal(refusal)
	}
	if _, kept := s.b.keys.known["http:abc"]; kept {
		t.Error("a key is remembered for more than a day")
	}
}
