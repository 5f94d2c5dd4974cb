package bench

import (
	"math"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/mqtt"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/model/mix"
)

// TestAMixOfAlmostNothingIsRefused records masses whose ratio is no finite figure. The
// request is refused, and the journal goes on writing for everybody.
func TestAMixOfAlmostNothingIsRefused(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	s.pass(20*time.Second, both(mild))
	for _, g := range []float64{1e-300, 5e-324, 1e-9, 0, -1, math.NaN(), math.Inf(1)} {
		for _, part := range []mix.Part{mix.Ink, mix.Hardener, mix.Thinner} {
			components := []mix.Component{{Part: mix.Ink, G: 70}, {Part: mix.Hardener, G: 14}, {Part: mix.Thinner, G: 8}}
			for i := range components {
				if components[i].Part == part {
					components[i].G = g
				}
			}
			_, refused := s.ask(request.RecordMix{Ink: "dial-satin", MixedAt: s.clock.is.Wall, Components: components})
			if refused == nil || refused.Kind != request.Invalid {
				t.Errorf("%v g of %s: %v, want it refused as invalid", g, part, refused)
			}
		}
	}
	id := s.mixes()
	for name, c := range map[string]request.Change{
		"split":   request.SplitBatch{Batch: id, Grams: 1e-300, To: request.Where{Zone: "hall"}},
		"thin":    request.ThinBatch{Batch: id, Grams: 1e-300},
		"reweigh": request.ReweighBatch{Batch: id, ContentG: math.Inf(1)},
		"close":   request.CloseBatch{Batch: id, Outcome: "discarded", LeftG: new(math.NaN())},
		"start":   request.StartMix{Ink: "dial-satin", InkG: new(1e-300)},
	} {
		if _, refused := s.ask(c); refused == nil || refused.Kind != request.Invalid {
			t.Errorf("%s: %v, want it refused as invalid", name, refused)
		}
	}
	s.must(request.LoadBatch{Batch: id, Press: "press-1"})
	if snap := s.b.Snapshot(); snap.JournalError != "" {
		t.Errorf("the journal cannot write: %s", snap.JournalError)
	}
}

// TestWhatCannotBeWrittenIsNotApplied decides an event with a figure that JSON does not
// have. It leaves no trace, and what is decided beside it is written.
func TestWhatCannotBeWrittenIsNotApplied(t *testing.T) {
	dir := t.TempDir()
	s := openShop(t, dir, newClock())
	s.pass(20*time.Second, both(mild))
	id := s.mixes()
	seq, queued, before := s.b.state.Seq, len(s.b.write.queue.records), s.b.state

	s.b.decide(s.b.clock.now(), "anna", record.Good{Batch: id})
	s.b.decide(s.b.clock.now(), "anna", record.Reweighed{Batch: id, LossG: math.NaN()})
	if s.b.write.unencodable == nil || s.b.state.Seq != seq+1 {
		t.Fatalf("unencodable %v, event number %d, want %d", s.b.write.unencodable, s.b.state.Seq, seq+1)
	}
	s.b.takeBack(before, queued)
	if s.b.state.Seq != seq || len(s.b.write.queue.records) != queued {
		t.Errorf("after taking back: event number %d, want %d; %d records queued, want %d", s.b.state.Seq, seq, len(s.b.write.queue.records), queued)
	}
	s.must(request.GoodBatch{Batch: id})
	if snap := s.b.Snapshot(); snap.JournalError != "" || snap.Seq != seq+1 {
		t.Errorf("journal error %q, event number %d, want %d", snap.JournalError, snap.Seq, seq+1)
	}
}

// TestLimitsHoldForCommands asks as an MQTT command does, which does not pass the checks
// of HTTP.
func TestLimitsHoldForCommands(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	s.pass(20*time.Second, both(mild))
	long := strings.Repeat("x", 50_000)
	id := s.mixes()
	for name, c := range map[string]request.Change{
		"note of a check":       request.VerifySensor{Sensor: "bench-air", HumidityPct: new(50.0), Note: long},
		"reason of a shelf":     request.ShelveAlarm{Alarm: "no-batch", Subject: "press-1", Until: s.clock.is.Wall.Add(time.Hour), Reason: long},
		"reason of maintenance": request.TakeOutOfService{Sensor: "bench-air", Until: s.clock.is.Wall.Add(time.Hour), Reason: long},
		"override of thinner":   request.ThinBatch{Batch: id, Grams: 1, Override: long},
		"lot of a can":          request.MakeCan{Ink: "dial-satin", Lot: strings.Repeat("x", 199)},
		"kind of a test":        request.TestBatch{Batch: id, Kind: "taste", Result: "pass"},
		"reason for thinner":    request.StartMix{Ink: "dial-satin", ThinnerReason: long},
	} {
		if _, refused := s.asks(c); refused == nil || refused.Kind != request.Invalid {
			t.Errorf("%s: %v, want it refused as invalid", name, refused)
		} else if len(refused.Error()) > 1000 {
			t.Errorf("%s: an answer of %d bytes", name, len(refused.Error()))
		}
	}

	payload := `{"ref":"r1","at":"2026-06-12T12:00:00Z","sensor":"bench-air","humidity_pct":50,"note":"` + long + `"}`
	command, err := mqtt.ParseCommand("verifications", []byte(payload))
	if err != nil {
		t.Fatal(err)
	}
	if _, refused := s.asks(command.Change); refused == nil || refused.Kind != request.Invalid || !strings.Contains(refused.Detail, "note") {
		t.Errorf("the payload of a command with a note of 50,000 bytes: %v, want it refused as invalid", refused)
	}
}
