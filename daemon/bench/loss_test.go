package bench

import (
	"database/sql"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/journal"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
	"potlifed/model/alarm"
	"potlifed/model/light"
)

// TestAnEmptiedJournalIsNotANewShop empties the journal below a loaded press. It is not known
// what is there, and the light says so until a person does.
func TestAnEmptiedJournalIsNotANewShop(t *testing.T) {
	for name, damage := range map[string]func(dir string) error{
		"emptied": func(dir string) error { return os.Truncate(filepath.Join(dir, journal.FileName), 0) },
		"removed": func(dir string) error { return os.Remove(filepath.Join(dir, journal.FileName)) },
	} {
		t.Run(name, func(t *testing.T) {
			dir, clock := t.TempDir(), newClock()
			s := openShop(t, dir, clock)
			s.pass(20*time.Second, both(mild))
			id := s.mixes()
			s.must(request.LoadBatch{Batch: id, Press: "press-1"})
			s.must(request.LoadBatch{Batch: s.mixes(), Press: "press-2"})
			before := s.b.state
			s.crash()
			if err := damage(dir); err != nil {
				t.Fatal(err)
			}
			clock.turn(time.Minute)

			s = openShop(t, dir, clock)
			s.pass(20*time.Second, both(mild))
			for _, press := range []string{"press-1", "press-2"} {
				if l := s.press(press); l.Light != light.Unknown || l.Cause != light.ContentUnknown {
					t.Errorf("%s: %s (%s), want unknown: nobody knows what is there", press, l.Light, l.Cause)
				}
			}
			a, ok := s.alarm(alarm.JournalFailing, "bench-1")
			if !ok || !strings.Contains(a.Text, "lost") {
				t.Errorf("the alarm: %v %+v", ok, a)
			}
			if s.b.state.Seq <= before.Seq || s.b.state.Journal == before.Journal {
				t.Errorf("event %d of journal %s, before were %d of %s: numbers go on in a new journal", s.b.state.Seq, s.b.state.Journal, before.Seq, before.Journal)
			}
			// A new mix never gets the number of a lost one.
			next := s.mixes()
			if _, used := before.Find(next); used {
				t.Errorf("batch %s has the number of a lost one", next)
			}
			s.must(request.LoadBatch{Batch: next, Press: "press-1"})
			if l := s.press("press-1"); l.Light == light.Unknown {
				t.Errorf("press-1 after a load: %s (%s)", l.Light, l.Cause)
			}
			if l := s.press("press-2"); l.Cause != light.ContentUnknown {
				t.Errorf("press-2: %s (%s), nobody has said anything of it", l.Light, l.Cause)
			}
			// Nothing of it is forgotten by a restart.
			s.crash()
			s = openShop(t, dir, clock)
			s.pass(20*time.Second, both(mild))
			if l := s.press("press-2"); l.Cause != light.ContentUnknown {
				t.Errorf("press-2 after a restart: %s (%s)", l.Light, l.Cause)
			}
			if n := rebuiltEvents(s); n != 1 {
				t.Errorf("%d events say that the journal was rebuilt, want one", n)
			}
			s.acknowledge(alarm.JournalFailing, "bench-1")
			s.pass(20*time.Second, both(mild))
			if l := s.press("press-2"); l.Light != light.Empty {
				t.Errorf("press-2 after the alarm was acknowledged: %s (%s), want empty", l.Light, l.Cause)
			}
			if a, ok := s.alarm(alarm.JournalFailing, "bench-1"); ok {
				t.Errorf("the alarm stays: %+v", a)
			}
		})
	}
}

// TestLostHistoryAlone damages an old event that a checkpoint holds. Batches and lights are as
// before; the alarm names what is lost.
func TestLostHistoryAlone(t *testing.T) {
	oneGoroutine(t)
	dir, clock := t.TempDir(), newClock()
	s := openShop(t, dir, clock)
	s.pass(20*time.Second, both(mild))
	id := s.mixes()
	s.must(request.LoadBatch{Batch: id, Press: "press-1"})
	s.pass(checkpointEvery+time.Minute, both(mild)) // a checkpoint
	spent := s.spent(id)
	s.crash()
	remove(t, dir, 3)
	if err := os.WriteFile(filepath.Join(dir, "journal.damaged"), []byte("the sweep found it"), 0o600); err != nil {
		t.Fatal(err)
	}
	clock.turn(time.Minute)

	s = openShop(t, dir, clock)
	s.pass(20*time.Second, both(mild))
	if got := s.spent(id); got < spent {
		t.Errorf("spent %v, before %v", got, spent)
	}
	if l := s.press("press-1"); l.Light == light.Unknown {
		t.Errorf("press-1: %s (%s), its batch is known", l.Light, l.Cause)
	}
	if a, ok := s.alarm(alarm.JournalFailing, "bench-1"); !ok || !strings.Contains(a.Text, "1 old entries") {
		t.Errorf("the alarm: %v %+v", ok, a)
	}
}

// TestAnAgeAfterALossIsALeastAge loses the events after a checkpoint. The batch that it holds is
// older than the checkpoint says, and nobody knows by what.
func TestAnAgeAfterALossIsALeastAge(t *testing.T) {
	oneGoroutine(t)
	dir, clock := t.TempDir(), newClock()
	s := openShop(t, dir, clock)
	s.pass(20*time.Second, both(mild))
	id := s.mixes()
	s.must(request.LoadBatch{Batch: id, Press: "press-1"})
	s.pass(checkpointEvery+time.Minute, both(mild)) // a checkpoint
	s.must(request.GoodBatch{Batch: id})
	last := s.b.state.Seq
	s.crash()
	remove(t, dir, last)
	clock.turn(time.Minute)

	s = openShop(t, dir, clock)
	s.pass(20*time.Second, both(mild))
	if b := s.b.state.Batches[id]; b == nil || !b.AtLeast {
		t.Errorf("the batch: %+v, want an age that is at least so much", b)
	}
	if l := s.press("press-1"); l.Light != light.Unknown {
		t.Errorf("press-1: %s (%s)", l.Light, l.Cause)
	}
}

// remove removes an event from a journal that is closed.
func remove(t *testing.T, dir string, seq uint64) {
	t.Helper()
	db, err := sql.Open("sqlite", filepath.Join(dir, journal.FileName))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Exec(`DELETE FROM record WHERE seq = ?`, int64(seq)); err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
}

func rebuiltEvents(s *shop) (n int) {
	s.t.Helper()
	if err := s.journal.Each(s.ctx, func(r record.Record) error {
		if r.Body.Kind() == record.KindJournalRebuilt {
			n++
		}
		return nil
	}); err != nil {
		s.t.Fatal(err)
	}
	return n
}
