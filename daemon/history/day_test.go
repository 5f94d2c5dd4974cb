package history

import (
	"database/sql"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// anyCounts draws the counts of a day.
func anyCounts(t *rapid.T, day int64, source Source) map[tallyKey]tally {
	counts := map[tallyKey]tally{}
	text := rapid.SampledFrom([]string{"", "press-1", "pinholes", "0612-1", "näßt"})
	for range rapid.IntRange(0, 12).Draw(t, "counts") {
		k := tallyKey{day*quartersADay + int64(rapid.IntRange(0, 95).Draw(t, "quarter")), text.Draw(t, "press"), text.Draw(t, "kind"), text.Draw(t, "batch"), source}
		c := tally{ink: text.Draw(t, "ink"), pieces: int64(rapid.IntRange(-5, 1000).Draw(t, "pieces"))}
		sum := rapid.Float64Range(-1e6, 1e6)
		if c.lived = int64(rapid.IntRange(0, 1000).Draw(t, "lived")); c.lived > 0 {
			c.spent, c.ageS = sum.Draw(t, "spent"), sum.Draw(t, "age")
		}
		if c.aired = int64(rapid.IntRange(0, 2).Draw(t, "aired")); c.aired > 0 {
			c.celsius, c.percent = sum.Draw(t, "celsius"), sum.Draw(t, "percent")
		}
		if c.mixed = int64(rapid.IntRange(0, 1).Draw(t, "mixed")); c.mixed > 0 {
			c.thinner, c.ratio = sum.Draw(t, "thinner"), sum.Draw(t, "ratio")
		}
		counts[k] = c
	}
	return counts
}

func TestCountsComeBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		day := int64(rapid.IntRange(-400, 40_000).Draw(t, "day"))
		var in []count
		for k, c := range anyCounts(t, day, Paper) {
			in = append(in, count{k, c})
		}
		out, err := decodeCounts(nil, day, Paper, encodeCounts(day, in))
		if err != nil || !cmp.Equal(in, out, cmp.AllowUnexported(count{}, tallyKey{}, tally{})) {
			t.Fatalf("%v\n%v\n%v", err, in, out)
		}
	})
}

func FuzzDecodeCounts(f *testing.F) {
	f.Add([]byte{})
	f.Add([]byte{layout, 200})
	f.Add([]byte{layout, 0, '0', 0}) // a row and no text
	f.Add(encodeCounts(20_000, []count{
		{tallyKey{20_000*quartersADay + 4, "press-1", "", "0612-1", Measured}, tally{ink: "dial-satin", pieces: 40, lived: 40, spent: 8, ageS: 100, aired: 39, celsius: 800, percent: 1600}},
		{tallyKey{20_000*quartersADay + 4, "press-1", "dust", "0612-1", Measured}, tally{pieces: -1}},
	}))
	f.Fuzz(func(t *testing.T, body []byte) {
		out, err := decodeCounts(nil, 20_000, Measured, body)
		if err != nil {
			return
		}
		for i, c := range out {
			if dayOf(c.quarter) != 20_000 || c.pieces > mostPieces || c.pieces < -mostPieces {
				t.Fatalf("count %d: %+v", i, c)
			}
		}
	})
}

// TestEachCountOnce: spans that meet inside a quarter-hour count it once.
func TestEachCountOnce(t *testing.T) {
	s := newStand(t)
	aDay(s)
	s.save()
	aDay(s) // waits
	s.fresh()
	whole, parts := int64(0), int64(0)
	add := func(to *int64) func(Count) error {
		return func(c Count) error { *to += c.Pieces; return nil }
	}
	from, to := noon.Add(-time.Hour), noon.Add(48*time.Hour)
	if err := s.history.EachCount(t.Context(), Search{From: from, To: to}, add(&whole)); err != nil {
		t.Fatal(err)
	}
	for at := from; at.Before(to); at = at.Add(7 * time.Minute) {
		if err := s.history.EachCount(t.Context(), Search{From: at, To: at.Add(7 * time.Minute)}, add(&parts)); err != nil {
			t.Fatal(err)
		}
	}
	if whole != 1600 || parts != whole {
		t.Errorf("%d in one span, %d in parts, want 1600", whole, parts)
	}
}

// TestTheFirstLayout: a file with a row for each count becomes one with a row for each day, and answers as
// before.
func TestTheFirstLayout(t *testing.T) {
	s := newStand(t)
	if err := s.history.Close(); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), FileName)
	db, err := sql.Open("sqlite", dsn(path, false))
	if err != nil {
		t.Fatal(err)
	}
	at := quarterOf(noon)
	for _, statement := range []string{
		migrations[0].statements, `PRAGMA user_version = 1`,
		`INSERT INTO import VALUES (3, 5, 'prints', 'prints.csv', 'aa', 7), (4, 6, 'batches', 'batches.csv', 'bb', 1)`,
		`INSERT INTO series VALUES (1, 'paper', 'zone', 'hall')`, `INSERT INTO paper_air VALUES (1, 1000, 20, 40)`,
	} {
		if _, err := db.Exec(statement); err != nil {
			t.Fatal(err)
		}
	}
	for i, row := range []tallyKey{
		{at, "press-1", "", "0612-1", Measured}, {at, "press-1", "dust", "0612-1", Measured}, {at + 1, "press-1", "", "0612-1", Measured}, {at + 100, "press-1", "", "0613-1", Measured},
		{at - 100, "press-1", "", "0611-1", Paper}, {at + 2, "press-2", "", "0612-2", Paper},
	} {
		if _, err := db.Exec(`INSERT INTO tally VALUES (?, ?, ?, ?, ?, 'dial-satin', ?, ?, 2.5, 60, 0, 0, 0, 0, 0, 0)`,
			row.quarter, row.press, row.kind, row.batch, string(row.source), 10+i, 10+i); err != nil {
			t.Fatal(err)
		}
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	s.dir = filepath.Dir(path)
	s.open()
	got := []string{}
	if err := s.history.EachCount(t.Context(), Search{From: noon.AddDate(0, 0, -3), To: noon.AddDate(0, 0, 3)}, func(c Count) error {
		if c.Ink != "dial-satin" || c.Spent == 0 || c.AgeS == 0 {
			t.Errorf("%+v", c)
		}
		got = append(got, c.Time.Format("02 15:04 ")+c.Press+" "+c.Kind+" "+c.Batch+" "+string(c.Source))
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	want := []string{
		"11 11:00 press-1  0611-1 paper", "12 12:00 press-1  0612-1 bench", "12 12:00 press-1 dust 0612-1 bench", "12 12:15 press-1  0612-1 bench",
		"12 12:30 press-2  0612-2 paper", "13 13:00 press-1  0613-1 bench",
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
	list, err := Imports(t.Context(), s.dir)
	if err != nil || len(list) != 2 || list[0].ID != 3 || list[0].File != "prints.csv" || list[1].Rows != 1 {
		t.Fatalf("%+v %v", list, err)
	}
	if _, err := UndoImports(t.Context(), s.dir, []int64{3}, noon); err == nil || err.Error() != "import 3: "+ErrEarlierImport.Error() {
		t.Error(err)
	}
	if _, err := UndoImports(t.Context(), s.dir, []int64{4}, noon); err != nil {
		t.Error(err)
	}
}

// TestMergeIsAStableSort: parts in order give all counts in order, those of an earlier part first.
func TestMergeIsAStableSort(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var all []count
		var places []int
		for part := range rapid.IntRange(1, 4).Draw(t, "parts") {
			own := make([]count, rapid.IntRange(0, 6).Draw(t, "counts"))
			for i := range own {
				own[i] = count{tallyKey{quarter: int64(rapid.IntRange(0, 4).Draw(t, "quarter")), press: "press-1"}, tally{pieces: int64(part)}}
			}
			slices.SortStableFunc(own, func(a, b count) int { return compareKeys(a.tallyKey, b.tallyKey) })
			places = append(places, len(all))
			all = append(all, own...)
		}
		merged := merge(nil, all, places)
		slices.SortStableFunc(all, func(a, b count) int { return compareKeys(a.tallyKey, b.tallyKey) })
		if !slices.Equal(merged, all) {
			t.Fatalf("%v, want %v", merged, all)
		}
	})
}
