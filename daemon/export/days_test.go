package export

import (
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// tree returns the files of a folder by their paths in it.
func tree(t *testing.T, dir string) map[string]string {
	t.Helper()
	files := map[string]string{}
	err := fs.WalkDir(os.DirFS(dir), ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := os.ReadFile(filepath.Join(dir, path))
		files[path] = string(b)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return files
}

func dates(days []Day) string {
	var all []string
	for _, d := range days {
		all = append(all, d.Date)
	}
	return strings.Join(all, " ")
}

// TestDays: whole days of the shop's calendar, the same bytes again, and later only those that are new.
func TestDays(t *testing.T) {
	zone := time.FixedZone("", 13*3600) // the mixes of noon UTC are of the next day
	s := newShop(t)
	for day, id := range []string{"0612-1", "0613-1", "0614-1"} {
		s.at = noon.AddDate(0, 0, day)
		s.until = s.at
		s.mixes(id, 100)
	}
	set := s.settings(t.TempDir())
	set.From, set.To, set.Zone = time.Time{}, time.Now().AddDate(9, 0, 0), zone
	over := time.Date(2026, 6, 15, 0, 9, 0, 0, zone) // that of the 14th is not settled
	done, err := WriteDays(t.Context(), set, over)
	if err != nil || dates(done) != "2026-06-13" {
		t.Fatal(done, err)
	}
	done, err = WriteDays(t.Context(), set, over.Add(time.Minute))
	if err != nil || dates(done) != "2026-06-14" {
		t.Fatal(done, err)
	}
	if err := os.MkdirAll(filepath.Join(set.Dir, "bench=bench-1", ".date=2026-06-15.partial", "left"), 0o755); err != nil {
		t.Fatal(err)
	}
	if done, err = WriteDays(t.Context(), set, over.Add(25*time.Hour)); err != nil || dates(done) != "2026-06-15" {
		t.Fatal(done, err)
	}
	first := tree(t, set.Dir)
	if want := 1 + 3*len(Tables()); len(first) != want || first["schema.md"] == "" {
		t.Errorf("%d files, want %d: %v", len(first), want, slices.Sorted(maps.Keys(first)))
	}
	set.From = time.Date(2026, 6, 13, 0, 0, 0, 1, zone) // the 13th is not whole
	if done, err = WriteDays(t.Context(), set, over.AddDate(0, 0, 3)); err != nil || len(done) != 3 || done[0].Date != "2026-06-14" || done[0].Rows == 0 || done[2].Rows != 0 {
		t.Fatal(done, err)
	}
	for path, bytes := range tree(t, set.Dir) {
		if old, is := first[path]; is && old != bytes {
			t.Errorf("%s has other bytes", path)
		}
	}
	other := set
	other.Dir, other.From = t.TempDir(), time.Time{}
	if _, err = WriteDays(t.Context(), other, over.Add(25*time.Hour)); err != nil || !maps.Equal(tree(t, other.Dir), first) {
		t.Errorf("all at once gives other bytes than day by day: %v", err)
	}
}

// TestNoHalfDay: a day that could not be written is not there.
func TestNoHalfDay(t *testing.T) {
	s := newShop(t)
	s.mixes("0612-1", 100)
	set := s.settings(t.TempDir())
	set.From, set.To, set.Zone = noon.AddDate(0, 0, -1), noon.AddDate(0, 0, 3), time.UTC
	if err := set.History.Close(); err != nil {
		t.Fatal(err)
	}
	s.j.Close()
	if _, err := WriteDays(t.Context(), set, noon.AddDate(0, 1, 0)); err == nil {
		t.Fatal("no error from a closed journal")
	}
	if left, err := os.ReadDir(filepath.Join(set.Dir, "bench=bench-1")); err != nil || len(left) != 0 {
		t.Errorf("%v %v", left, err)
	}
}
