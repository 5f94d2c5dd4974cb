package journal

import (
	"encoding/json"
	"testing"
	"time"

	"potlifed/daemon/record"
)

// TestTimesAfter2038 writes events on both sides of the second at which a 32-bit count of seconds
// ends, and years later, and reads them in a new process. It also runs on 32-bit processors.
func TestTimesAfter2038(t *testing.T) {
	end := time.Date(2038, 1, 19, 3, 14, 7, 0, time.UTC)
	times := []time.Time{
		end.Add(-time.Second), end, end.Add(time.Second), end.AddDate(0, 0, 1),
		time.Date(2039, 6, 1, 8, 0, 0, 123456789, time.UTC), time.Date(2045, 12, 31, 23, 59, 59, 0, time.UTC),
	}
	dir := t.TempDir()
	j := openAt(t, dir)
	records := alarms(1, len(times))
	for i, at := range times {
		records[i].Stamp.At, records[i].Stamp.Mono = at, at.Sub(times[0])
	}
	s := applied(record.NewState(j.ID()), records[:3])
	if err := j.Write(Group{Records: records[:3], Checkpoint: &s}); err != nil {
		t.Fatal(err)
	}
	if err := j.Write(Group{Records: records[3:]}); err != nil {
		t.Fatal(err)
	}
	want := applied(record.NewState(j.ID()), records)
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	j = openAt(t, dir)
	if lost := j.Rebuilt(); lost != nil {
		t.Errorf("something is lost: %+v", lost)
	}
	got, err := j.Load(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	same(t, got, want)
	if !got.Last.At.Equal(times[len(times)-1]) {
		t.Errorf("the last record is of %v", got.Last.At)
	}
	events, err := j.Events(t.Context(), 0, 100)
	if err != nil || len(events) != len(times) {
		t.Fatalf("%d events, %v", len(events), err)
	}
	for i, e := range events {
		var wire struct{ Time time.Time }
		if err := json.Unmarshal(e.JSON, &wire); err != nil || !wire.Time.Equal(times[i]) {
			t.Errorf("event %d is of %v, want %v (%v)", i+1, wire.Time, times[i], err)
		}
	}
}
