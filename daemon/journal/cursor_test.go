package journal

import (
	"context"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// TestCursorsRideAlong: a cursor makes no commit of its own. It is on disk after the end of Run, and
// after a group, but not with each.
func TestCursorsRideAlong(t *testing.T) {
	dir := t.TempDir()
	j := openAt(t, dir)
	onDisk := func() (seq int64) {
		t.Helper()
		if err := j.db().QueryRow(`SELECT coalesce(max(seq), 0) FROM cursor`).Scan(&seq); err != nil {
			t.Fatal(err)
		}
		return seq
	}
	set := func(n uint64) {
		t.Helper()
		if err := j.SetCursor(t.Context(), "mqtt", n); err != nil {
			t.Fatal(err)
		}
	}
	set(1)
	if n := onDisk(); n != 0 {
		t.Errorf("a cursor was stored by itself: %d", n)
	}
	if err := j.Write(Group{Records: alarms(1, 2)}); err != nil {
		t.Fatal(err)
	}
	if n := onDisk(); n != 1 {
		t.Errorf("stored is %d, want 1, with the group", n)
	}
	set(2)
	if err := j.Write(Group{Records: alarms(3, 1)}); err != nil {
		t.Fatal(err)
	}
	if n := onDisk(); n != 1 {
		t.Errorf("stored is %d, want 1: it was stored less than a minute ago", n)
	}
	j.cursors.stored = j.cursors.stored.Add(-time.Minute)
	if err := j.Write(Group{Records: alarms(4, 1)}); err != nil {
		t.Fatal(err)
	}
	if n := onDisk(); n != 2 {
		t.Errorf("stored is %d, want 2 after a minute", n)
	}
	set(4)
	ctx, stop := context.WithCancel(t.Context())
	stop()
	if err := j.Run(ctx); err != nil {
		t.Fatal(err)
	}
	if n := onDisk(); n != 4 {
		t.Errorf("stored is %d, want 4 at the end of Run", n)
	}
}

// TestCursorsWait: a kill does not repeat the events of an hour of counts, whose cursor is in no commit.
func TestCursorsWait(t *testing.T) {
	dir := t.TempDir()
	j := openAt(t, dir)
	if err := j.Write(Group{Records: alarms(1, 1)}); err != nil {
		t.Fatal(err)
	}
	names := []string{"mqtt", "a=b c\n%", ""}
	last := uint64(1)
	for minute := 1; minute < 5; minute++ {
		for _, group := range minuteOfCounts(minute, last) {
			for _, r := range group {
				last = max(last, r.Seq)
			}
			if err := j.Write(Group{Records: group}); err != nil {
				t.Fatal(err)
			}
		}
		for i, name := range names {
			if err := j.SetCursor(t.Context(), name, last+uint64(i)); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := j.Write(Group{Records: airAt(6, "hall")}); err != nil {
		t.Fatal(err)
	}
	killed, copied := t.TempDir(), t.TempDir()
	copyDir(t, dir, killed)
	if err := j.CopyTo(t.Context(), filepath.Join(copied, FileName)); err != nil {
		t.Fatal(err)
	}
	for _, dir := range []string{killed, copied} {
		again := openAt(t, dir)
		for i, name := range names {
			if n, err := again.Cursor(t.Context(), name); err != nil || n != last+uint64(i) {
				t.Errorf("the cursor of %q is at %d, want %d (%v)", name, n, last+uint64(i), err)
			}
		}
	}
}

// TestDamagedJournalOfLargePages rebuilds a journal of an earlier version, whose pages are larger, of
// which the head of the file is lost: nothing says how large they are.
func TestDamagedJournalOfLargePages(t *testing.T) {
	dir, _ := layoutJournal(t, 7)
	path := filepath.Join(dir, FileName)
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	clear(data[:100])
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	j := openAt(t, dir)
	if r := j.Rebuilt(); r == nil || len(r.Lost) != 0 {
		t.Errorf("rebuilt %+v, want all events", r)
	}
	if n := len(events(t, j)); n != 12 {
		t.Errorf("%d events, want 12", n)
	}
}
