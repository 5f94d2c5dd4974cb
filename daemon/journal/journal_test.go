package journal

import (
	"database/sql"
	"encoding/json"
	"fmt"
	"log/slog"
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/record"
	"potlifed/model/air"
	"potlifed/model/cure"
)

func openAt(t testing.TB, dir string) *Journal {
	t.Helper()
	j, err := Open(dir, slog.New(slog.DiscardHandler), func(time.Duration) {})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { j.Close() })
	return j
}

var began = time.Date(2026, 6, 12, 6, 0, 0, 0, time.UTC)

// alarms are n events that raise and clear an alarm.
func alarms(from, n int) []record.Record {
	var records []record.Record
	for i := from; i < from+n; i++ {
		r := record.Record{
			Seq: uint64(i), By: "bench",
			Stamp: record.Stamp{At: began.Add(time.Duration(i) * time.Second), Boot: "boot", Mono: time.Duration(i) * time.Second, Synced: true},
		}
		if i%2 == 1 {
			r.Body = record.AlarmRaised{Name: "sensor-stale", Subject: "bench-air", Priority: "medium", Text: "no reading"}
		} else {
			r.Body = record.AlarmCleared{Name: "sensor-stale", Subject: "bench-air"}
		}
		records = append(records, r)
	}
	return records
}

func applied(s record.State, records []record.Record) record.State {
	for _, r := range records {
		s = record.Apply(s, r)
	}
	return s
}

func same(t testing.TB, got, want record.State) {
	t.Helper()
	g, err := json.Marshal(got)
	if err != nil {
		t.Fatal(err)
	}
	w, err := json.Marshal(want)
	if err != nil {
		t.Fatal(err)
	}
	if string(g) != string(w) {
		t.Errorf("loaded\n%s\nwant\n%s", g, w)
	}
}

func TestEventsComeBackInOrder(t *testing.T) {
	j := openAt(t, t.TempDir())
	if err := j.Write(Group{Records: alarms(1, 7)}); err != nil {
		t.Fatal(err)
	}
	events, err := j.Events(t.Context(), 2, 3)
	if err != nil {
		t.Fatal(err)
	}
	if len(events) != 3 || events[0].Seq != 3 || events[2].Seq != 5 {
		t.Fatalf("events after 2, three at most: %+v", events)
	}
	var wire map[string]any
	if err := json.Unmarshal(events[0].JSON, &wire); err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]any{
		"seq": 3.0, "journal": j.ID(), "kind": "alarm-raised", "by": "bench", "alarm": "sensor-stale", "subject": "bench-air", "time": "2026-06-12T06:00:03Z",
	} {
		if wire[name] != want {
			t.Errorf("%s is %v, want %v", name, wire[name], want)
		}
	}
}

func TestLoadFromACheckpointEqualsLoadFromTheBeginning(t *testing.T) {
	dir := t.TempDir()
	j := openAt(t, dir)
	first, second := alarms(1, 4), alarms(5, 3)
	s := applied(record.NewState(j.ID()), first)
	if err := j.Write(Group{Records: first, Checkpoint: &s}); err != nil {
		t.Fatal(err)
	}
	if err := j.Write(Group{Records: second}); err != nil {
		t.Fatal(err)
	}
	want := applied(record.NewState(j.ID()), append(first, second...))
	got, err := j.Load(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	same(t, got, want)

	// A checkpoint that cannot be read costs time and nothing else.
	if _, err := j.write.Load().Exec(`UPDATE checkpoint SET state = CAST('{"seq":"torn' AS BLOB)`); err != nil {
		t.Fatal(err)
	}
	if got, err = j.Load(t.Context()); err != nil {
		t.Fatal(err)
	}
	same(t, got, want)
}

func TestAGroupIsWrittenWholeOrNotAtAll(t *testing.T) {
	j := openAt(t, t.TempDir())
	bad := alarms(1, 3)
	bad[2].Seq = 2 // a number twice
	if err := j.Write(Group{Records: bad}); err == nil {
		t.Fatal("a group with one number twice was written")
	}
	if events, err := j.Events(t.Context(), 0, 10); err != nil || len(events) != 0 {
		t.Errorf("of a group that failed %d events are there (%v)", len(events), err)
	}
}

// TestFullDisk fills the file up to its last page and goes on when there is room.
func TestFullDisk(t *testing.T) {
	j := openAt(t, t.TempDir())
	if _, err := j.write.Load().Exec(`PRAGMA max_page_count = 20`); err != nil {
		t.Fatal(err)
	}
	written := 0
	var full error
	for range 200 {
		if full = j.Write(Group{Records: alarms(written+1, 20)}); full != nil {
			break
		}
		written += 20
	}
	if full == nil || !strings.Contains(full.Error(), "full") {
		t.Fatalf("20 pages took %d events; the error is %v", written, full)
	}
	if _, err := j.write.Load().Exec(`PRAGMA max_page_count = 100000`); err != nil {
		t.Fatal(err)
	}
	if err := j.Write(Group{Records: alarms(written+1, 20)}); err != nil {
		t.Errorf("there is room again: %v", err)
	}
	s, err := j.Load(t.Context())
	if err != nil || s.Seq != uint64(written+20) {
		t.Errorf("loaded up to event %d (%v), written were %d", s.Seq, err, written+20)
	}
}

func TestAGapInTheNumbersIsNoticed(t *testing.T) {
	j := openAt(t, t.TempDir())
	if err := j.Write(Group{Records: alarms(1, 5)}); err != nil {
		t.Fatal(err)
	}
	if _, err := j.write.Load().Exec(`DELETE FROM record WHERE seq = 3`); err != nil {
		t.Fatal(err)
	}
	if _, err := j.Load(t.Context()); err == nil || !strings.Contains(err.Error(), "backup") {
		t.Errorf("a missing event: %v, want an error that says what to do", err)
	}
}

func TestNewerLayoutIsLeftAlone(t *testing.T) {
	dir := t.TempDir()
	openAt(t, dir).Close()
	db, err := sql.Open("sqlite", filepath.Join(dir, FileName))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Exec(`PRAGMA user_version = 99; UPDATE meta SET value = '99' WHERE name = 'layout'`); err != nil {
		t.Fatal(err)
	}
	db.Close()
	if j, err := Open(dir, slog.New(slog.DiscardHandler), func(time.Duration) {}); err == nil {
		j.Close()
		t.Error("a journal of a newer program was opened")
	} else if !strings.Contains(err.Error(), "newer") {
		t.Errorf("a journal of a newer program: %v", err)
	}
}

func TestOneDaemonADirectory(t *testing.T) {
	dir := t.TempDir()
	openAt(t, dir)
	if j, err := Open(dir, slog.New(slog.DiscardHandler), func(time.Duration) {}); err == nil {
		j.Close()
		t.Error("one directory was opened twice")
	}
}

func TestReadBesideTheWriter(t *testing.T) {
	dir := t.TempDir()
	if _, err := OpenToRead(t.Context(), dir); err == nil {
		t.Error("a journal that is not there was opened")
	}
	j := openAt(t, dir)
	if err := j.Write(Group{Records: alarms(1, 5)}); err != nil {
		t.Fatal(err)
	}
	r, err := OpenToRead(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	if err := j.Write(Group{Records: alarms(6, 2)}); err != nil {
		t.Fatal(err)
	}
	n := 0
	if err := r.Each(t.Context(), func(record.Record) error { n++; return nil }); err != nil || n != 7 || r.ID() != j.ID() {
		t.Errorf("read %d records (%v) of journal %s, written were 7 of %s", n, err, r.ID(), j.ID())
	}
}

func TestCursorAndHistory(t *testing.T) {
	j := openAt(t, t.TempDir())
	if n, err := j.Cursor(t.Context(), "mqtt"); n != 0 || err != nil {
		t.Errorf("a new cursor is %d (%v)", n, err)
	}
	for _, n := range []uint64{3, 9} {
		if err := j.SetCursor(t.Context(), "mqtt", n); err != nil {
			t.Fatal(err)
		}
	}
	if n, err := j.Cursor(t.Context(), "mqtt"); n != 9 || err != nil {
		t.Errorf("cursor %d (%v), want 9", n, err)
	}
	var steps []record.Record
	for i := range 5 {
		at := began.Add(time.Duration(i+1) * time.Minute)
		steps = append(steps, record.Record{Stamp: record.Stamp{At: at}, Body: record.AirStep{
			Zone: "bench", Start: at.Add(-time.Minute),
			Step: cure.Step{Duration: time.Minute, Kind: cure.Measured, From: air.State{TemperatureC: 20, HumidityPct: 50}, To: air.State{TemperatureC: 20, HumidityPct: 50 + float64(i)}},
		}})
	}
	if err := j.Write(Group{Records: steps}); err != nil {
		t.Fatal(err)
	}
	got, err := j.History(t.Context(), "bench", began.Add(2*time.Minute), began.Add(4*time.Minute))
	if err != nil || len(got) != 2 || got[1].Step.To.HumidityPct != 52 || !got[0].Start.Equal(began.Add(time.Minute)) {
		t.Errorf("history %+v (%v)", got, err)
	}
}

// BenchmarkStart loads a journal of 10,000 events, without a checkpoint and with the
// usual one of a quarter of an hour ago.
func BenchmarkStart(b *testing.B) {
	for _, after := range []int{10000, 200} {
		b.Run(fmt.Sprintf("events=10000/after-checkpoint=%d", after), func(b *testing.B) {
			j := openAt(b, b.TempDir())
			records := alarms(1, 10000)
			if n := 10000 - after; n > 0 {
				s := applied(record.NewState(j.ID()), records[:n])
				if err := j.Write(Group{Records: records[:n], Checkpoint: &s}); err != nil {
					b.Fatal(err)
				}
				records = records[n:]
			}
			if err := j.Write(Group{Records: records}); err != nil {
				b.Fatal(err)
			}
			for b.Loop() {
				if _, err := j.Load(b.Context()); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkWrite commits groups of different size, each brought to the disk.
func BenchmarkWrite(b *testing.B) {
	for _, n := range []int{1, 60} {
		b.Run(fmt.Sprintf("records=%d", n), func(b *testing.B) {
			j := openAt(b, b.TempDir())
			next := 1
			for b.Loop() {
				if err := j.Write(Group{Records: alarms(next, n)}); err != nil {
					b.Fatal(err)
				}
				next += n
			}
		})
	}
}

// TestThinning: old air becomes minutes and then quarter-hours, with the same mean and
// the same length, and what is young stays as it was.
func TestThinning(t *testing.T) {
	j := openAt(t, t.TempDir())
	var steps []record.Record
	at := began
	sum := 0.0
	for i := range 720 { // an hour of steps of five seconds
		rh := 50 + float64(i%40)
		sum += rh
		at = at.Add(5 * time.Second)
		a := air.State{TemperatureC: 20, HumidityPct: rh}
		steps = append(steps, record.Record{Stamp: record.Stamp{At: at}, Body: record.AirStep{
			Zone: "bench", Start: at.Add(-5 * time.Second), Step: cure.Step{Duration: 5 * time.Second, Kind: cure.Measured, From: a, To: a}, After: a,
		}})
	}
	all := append(alarms(1, 2), steps...)
	if err := j.Write(Group{Records: all}); err != nil {
		t.Fatal(err)
	}
	check := func(what string, want int, thinned Thinning) {
		t.Helper()
		if err := j.Write(Group{Thin: &thinned}); err != nil {
			t.Fatal(err)
		}
		got, err := j.History(t.Context(), "bench", began, at.Add(time.Second))
		if err != nil {
			t.Fatal(err)
		}
		var length time.Duration
		mean := 0.0
		for _, s := range got {
			length += s.Step.Duration
			mean += s.Step.Duration.Seconds() * (s.Step.From.HumidityPct + s.Step.To.HumidityPct) / 2
		}
		if len(got) != want || length != time.Hour || math.Abs(mean/3600-sum/720) > 1e-9 {
			t.Errorf("%s: %d steps over %v with a mean of %v, want %d over an hour with %v", what, len(got), length, mean/3600, want, sum/720)
		}
	}
	check("nothing is old", 720, Thinning{RawBefore: began, MinutesBefore: began})
	check("half is old", 30+360, Thinning{RawBefore: began.Add(30*time.Minute + time.Second), MinutesBefore: began})
	check("all is old", 60, Thinning{RawBefore: at.Add(time.Second), MinutesBefore: began})
	check("all is very old", 4, Thinning{RawBefore: at.Add(time.Second), MinutesBefore: at.Add(time.Second)})
	if events, err := j.Events(t.Context(), 0, 10); err != nil || len(events) != 2 {
		t.Errorf("%d events are left (%v): thinning must not touch them", len(events), err)
	}
	s, err := j.Load(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if got := s.Zones["bench"].Until.Sub(s.Zones["bench"].Recent[0].Start); got != time.Hour {
		t.Errorf("after thinning the zone's path is %v long", got)
	}
}
