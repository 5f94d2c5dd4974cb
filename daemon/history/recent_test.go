package history

import (
	"database/sql"
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

func (s *stand) rows(table string) (n int) {
	s.t.Helper()
	if err := s.history.store.read.QueryRow(`SELECT count(*) FROM ` + table).Scan(&n); err != nil {
		s.t.Fatal(err)
	}
	return n
}

// TestAnHourIsOneRow: readings are on disk every five minutes, and become one row for each sensor when the
// hour is over, with a kill in between and without one.
func TestAnHourIsOneRow(t *testing.T) {
	s := newStand(t)
	for minute := range 57 {
		s.reads("hall-1", 60, rising)
		s.reads("hall-2", 1, rising)
		s.history.tick(t.Context())
		if minute == 31 {
			s.again(false)
		}
		if minute == 54 && (s.rows("raw") != 0 || s.recent() < 10) {
			t.Fatalf("%d rows, %d recent parts, before the hour is over", s.rows("raw"), s.recent())
		}
	}
	if s.rows("raw") != 2 || s.recent() != 0 {
		t.Errorf("%d rows, %d recent parts", s.rows("raw"), s.recent())
	}
	for name, change := range map[string]func(){"now": func() {}, "killed": func() { s.again(false) }} {
		change()
		var n int64
		for _, m := range s.minutes("hall-1") {
			n += m.Readings
		}
		if list := s.readings("hall-1"); n != int64(len(list)) || n < 52*12 {
			t.Errorf("%s: %d readings, %d in the minutes", name, len(list), n)
		}
	}
}

// recent returns how many readings of sensors the file for recent ones has.
func (s *stand) recent() int {
	s.t.Helper()
	found, _, err := readRecent(s.dir, s.history.store.recent.mark)
	if err != nil {
		s.t.Fatal(err)
	}
	return len(found)
}

// keeps does what is due every five minutes.
func (s *stand) keeps() {
	s.t.Helper()
	s.history.mu.Lock()
	defer s.history.mu.Unlock()
	if s.history.save(s.t.Context(), false); s.history.fault != nil {
		s.t.Fatal(s.history.fault)
	}
}

// TestLittleEveryFiveMinutes: what is written every five minutes is less than a page for all sensors, and nothing in
// SQLite's files. A card sees each changed page as a whole.
func TestLittleEveryFiveMinutes(t *testing.T) {
	s := newStand(t)
	before := SizeOf(filepath.Join(s.dir, FileName))
	for range 10 {
		for _, sensor := range []string{"hall-1", "hall-2", "hall-3"} {
			s.reads(sensor, 300, rising)
		}
		s.keeps()
	}
	info, err := os.Stat(filepath.Join(s.dir, recentName))
	if err != nil {
		t.Fatal(err)
	}
	if n := info.Size(); n == 0 || n > 10*2000 || SizeOf(filepath.Join(s.dir, FileName)) != before {
		t.Errorf("%d bytes for each of ten saves, and the history grows by %d", n/10, SizeOf(filepath.Join(s.dir, FileName))-before)
	}
}

// TestRecentReadings: after a kill every reading that was kept is there once: while it was written, when its row is
// committed and when the next hour has begun. What is torn ends there. Another program, a copy and a lost history see the
// same.
func TestRecentReadings(t *testing.T) {
	s := newStand(t)
	want := 0
	reads := func(seconds int) {
		s.reads("hall-1", seconds, rising)
		s.reads("hall-2", seconds, rising)
		want += seconds / 5
	}
	check := func(what string, n int) {
		t.Helper()
		if got, second := len(s.readings("hall-1")), len(s.readings("hall-2")); got != n || second != n {
			t.Errorf("%s: %d and %d readings, want %d", what, got, second, n)
		}
	}
	path := filepath.Join(s.dir, recentName)
	for hour := range 3 {
		reads(300)
		s.keeps()
		one, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		one = one[:s.history.store.recent.end]
		before := want
		reads(300)
		s.keeps()
		two, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		s.again(false)
		check("killed", want)
		if hour == 0 {
			for _, length := range []int{len(two) - 1, len(one) + 1, len(one)} {
				if err := s.history.Close(); err != nil {
					t.Fatal(err)
				}
				if err := os.WriteFile(path, two[:length], 0o640); err != nil {
					t.Fatal(err)
				}
				s.open()
				check("torn", before)
			}
			want = before
		}

		copied := t.TempDir()
		if err := CopyTo(t.Context(), s.dir, filepath.Join(copied, FileName)); err != nil {
			t.Fatal(err)
		}
		beside, err := OpenToRead(t.Context(), s.dir, s.journal)
		if err != nil {
			t.Fatal(err)
		}
		is, dir := s.history, s.dir
		s.history = beside
		check("beside", want)
		if err := beside.Close(); err != nil {
			t.Error(err)
		}
		s.dir = copied
		for range 2 { // its readings get rows, and are there once
			s.open()
			check("copied", want)
			s.save()
			if err := s.history.Close(); err != nil {
				t.Error(err)
			}
		}
		s.history, s.dir = is, dir

		s.save()
		if hour != 1 { // the next hour goes on in the same program, or in another
			s.again(false)
			check("stored", want)
		}
	}
	reads(300)
	s.keeps()
	if err := s.history.Close(); err != nil {
		t.Fatal(err)
	}
	for _, suffix := range []string{"", "-wal", "-shm"} {
		if err := os.Remove(filepath.Join(s.dir, FileName+suffix)); err != nil && !errors.Is(err, os.ErrNotExist) {
			t.Fatal(err)
		}
	}
	s.open()
	check("without a history", 0)
}

// FuzzRecent: what lies in the file is read up to what is none of it.
func FuzzRecent(f *testing.F) {
	mark := "12345678"
	part := &recentFile{mark: mark}
	file, err := os.Create(filepath.Join(f.TempDir(), recentName))
	if err != nil {
		f.Fatal(err)
	}
	defer file.Close()
	part.file = file
	for i := range 3 {
		if err := part.add([]*chunk{{sensor: "hall-1", readings: []Reading{{noon, rising(i)}}}, {sensor: "hall-2", readings: []Reading{{noon, rising(i)}}}}); err != nil {
			f.Fatal(err)
		}
	}
	data, err := os.ReadFile(file.Name())
	if err != nil {
		f.Fatal(err)
	}
	f.Add(data)
	f.Add(data[:len(data)-1])
	f.Fuzz(func(t *testing.T, data []byte) {
		found, end := recentIn(data, mark)
		if end < 0 || end > int64(len(data)) || end == 0 && len(found) > 0 {
			t.Fatalf("%d parts up to %d of %d", len(found), end, len(data))
		}
		if again, same := recentIn(data[:end], mark); same != end || len(again) != len(found) {
			t.Fatalf("%d parts up to %d, %d up to %d", len(found), end, len(again), same)
		}
	})
}

// TestTheSecondLayout: readings whose minutes were not stored yet when the program was replaced are
// neither lost nor counted twice.
func TestTheSecondLayout(t *testing.T) {
	s := newStand(t)
	if err := s.history.Close(); err != nil {
		t.Fatal(err)
	}
	s.dir = t.TempDir()
	db, err := sql.Open("sqlite", dsn(filepath.Join(s.dir, FileName), false))
	if err != nil {
		t.Fatal(err)
	}
	tx, err := db.Begin()
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range migrations[:2] {
		if _, err := tx.Exec(m.statements); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := tx.Exec(`DROP TABLE tally; PRAGMA user_version = 2; INSERT INTO series VALUES (1, 'bench', 'sensor', 'hall-1'); INSERT INTO meta VALUES ('rolled', '1')`); err != nil {
		t.Fatal(err)
	}
	minute := make([]Bucket, 60)
	for i := range 2 {
		at := noon.Add(time.Duration(i) * time.Minute)
		if _, err := tx.Exec(`INSERT INTO raw (series, starts, body) VALUES (1, ?, ?)`, at.UnixMilli(), encodeReadings([]Reading{{at, rising(i)}})); err != nil {
			t.Fatal(err)
		}
	}
	minute[0].Add(rising(0))
	row, _ := minutes.row(noon.UnixMilli())
	if err := minutes.merge(tx, 1, row, minute); err != nil {
		t.Fatal(err)
	}
	if err := tx.Commit(); err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	s.open()
	for _, when := range []string{"taken over", "saved"} {
		var n []int64
		for _, m := range s.minutes("hall-1") {
			n = append(n, m.Readings)
		}
		if d := cmp.Diff([]int64{1, 1}, n); d != "" || len(s.readings("hall-1")) != 2 {
			t.Errorf("%s: %s, %d readings", when, d, len(s.readings("hall-1")))
		}
		s.save()
	}
}
