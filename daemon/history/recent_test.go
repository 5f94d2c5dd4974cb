package history

import (
	"database/sql"
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
		if minute == 54 && (s.rows("raw") != 0 || s.rows("recent") < 10) {
			t.Fatalf("%d rows, %d recent ones, before the hour is over", s.rows("raw"), s.rows("recent"))
		}
	}
	if s.rows("raw") != 2 || s.rows("recent") != 0 {
		t.Errorf("%d rows, %d recent ones", s.rows("raw"), s.rows("recent"))
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

// TestFewPagesEveryFiveMinutes: what is written every five minutes is a page or two for all sensors. A card
// sees each changed page as a whole.
func TestFewPagesEveryFiveMinutes(t *testing.T) {
	s := newStand(t)
	save := func() int64 {
		for _, sensor := range []string{"hall-1", "hall-2", "hall-3"} {
			s.reads(sensor, 300, rising)
		}
		before := SizeOf(filepath.Join(s.dir, FileName))
		s.history.mu.Lock()
		s.history.save(t.Context(), false)
		s.history.mu.Unlock()
		return SizeOf(filepath.Join(s.dir, FileName)) - before
	}
	save()
	var sum int64
	for range 10 {
		sum += save()
	}
	if sum == 0 || sum > 10*2*4120 {
		t.Errorf("%d bytes for each of ten saves", sum/10)
	}
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
