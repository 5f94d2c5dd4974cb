package journal

import (
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"potlifed/daemon/record"
)

// TestReadOnly opens journals in a folder that counts as one that takes nothing: as a service left
// them that was stopped, or was killed, of an earlier layout, damaged, and none. Each gives the
// state that is known, refuses writes, and leaves the folder as it is.
func TestReadOnly(t *testing.T) {
	killed, want := damagedShop(t)
	stopped := t.TempDir()
	copyDir(t, killed, stopped)
	folded(t, stopped)
	cut := t.TempDir()
	copyDir(t, stopped, cut)
	if err := os.Truncate(filepath.Join(cut, FileName), 0); err != nil {
		t.Fatal(err)
	}
	earlier, earlierState := layoutJournal(t, 3)
	for name, c := range map[string]struct {
		dir     string
		want    record.State
		rebuilt bool
	}{
		"stopped":           {stopped, want, false},
		"killed":            {killed, want, false},
		"cut":               {cut, record.State{}, true},
		"an earlier layout": {earlier, earlierState, false},
		"no journal as yet": {t.TempDir(), record.State{}, false},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			copyDir(t, c.dir, dir)
			before := content(t, dir)
			j, err := openReadOnly(dir, slog.New(slog.DiscardHandler), func(time.Duration) {}, syscall.EROFS)
			if err != nil {
				t.Fatal(err)
			}
			s := loaded(t, j)
			if c.rebuilt != (j.Rebuilt() != nil) {
				t.Errorf("rebuilt: %+v", j.Rebuilt())
			}
			if c.want.Journal != "" {
				same(t, s, c.want)
			}
			if n := len(events(t, j)); !c.rebuilt && n != int(s.Seq) {
				t.Errorf("%d events, the state has %d", n, s.Seq)
			}
			if err := os.WriteFile(filepath.Join(dir, "lock"), nil, 0o600); err != nil {
				t.Fatal(err)
			}
			if got := content(t, dir); got != before && strings.ReplaceAll(got, "lock 0\n", "") != strings.ReplaceAll(before, "lock 0\n", "") {
				t.Errorf("the folder was\n%sand is\n%s", before, got)
			}
			if err := j.SetCursor(t.Context(), "mqtt", 3); err == nil {
				t.Error("a cursor was written")
			}
			if err := j.KeepRetained(t.Context(), map[string][]byte{"a": []byte("b")}); err == nil {
				t.Error("a retained message was written")
			}
			copied := j.copied
			if err := j.Close(); err != nil {
				t.Fatal(err)
			}
			if copied != "" && there(copied) {
				t.Errorf("%s is left in memory", copied)
			}
		})
	}
}

// TestWritableAgain writes once the disk takes writes again, without a new start.
func TestWritableAgain(t *testing.T) {
	for _, how := range []string{"killed", "stopped"} {
		dir, want := damagedShop(t)
		if how == "stopped" {
			folded(t, dir)
		}
		j, err := openReadOnly(dir, slog.New(slog.DiscardHandler), func(time.Duration) {}, syscall.EROFS)
		if err != nil {
			t.Fatal(err)
		}
		// A folder in the place of the lock stands for a disk that takes nothing.
		lockPath := filepath.Join(dir, "lock")
		if err := errors.Join(os.RemoveAll(lockPath), os.Mkdir(lockPath, 0o700)); err != nil {
			t.Fatal(err)
		}
		next := record.Record{Seq: want.Seq + 1, Stamp: want.Last, By: "bench", Body: record.Stopped{}}
		if err := j.Write(Group{Records: []record.Record{next}}); err == nil || !errors.Is(err, fs.ErrInvalid) && !strings.Contains(err.Error(), "no writes") {
			t.Errorf("%s: a write to a disk that takes none: %v", how, err)
		}
		if err := os.Remove(lockPath); err != nil {
			t.Fatal(err)
		}
		if err := j.Write(Group{Records: []record.Record{next}}); err != nil {
			t.Fatalf("%s: the disk takes writes again: %v", how, err)
		}
		want = record.Apply(want, next)
		same(t, loaded(t, j), want)
		if err := j.Close(); err != nil {
			t.Fatal(err)
		}
		j = openAt(t, dir)
		if j.Rebuilt() != nil {
			t.Errorf("%s: rebuilt: %+v", how, j.Rebuilt())
		}
		same(t, loaded(t, j), want)
	}
}

// TestEveryEarlierLayout opens a journal of each layout that was ever in use.
func TestEveryEarlierLayout(t *testing.T) {
	for layout := 1; layout < len(migrations); layout++ {
		dir, want := layoutJournal(t, layout)
		if lost := opensAgain(t, dir, want); lost != 0 {
			t.Errorf("layout %d: %d events are lost", layout, lost)
		}
		if left, err := filepath.Glob(filepath.Join(dir, asidePrefix+"*")); err != nil || len(left) != 0 {
			t.Errorf("layout %d counted as damaged: %v (%v)", layout, left, err)
		}
		j := openAt(t, dir)
		if size, err := j.number(t.Context(), `SELECT page_size FROM pragma_page_size`); err != nil || size != pageBytes {
			t.Errorf("layout %d: pages of %d bytes, want %d (%v)", layout, size, pageBytes, err)
		}
		if mode := journalMode(t, j); mode != "wal" {
			t.Errorf("layout %d: journal mode %s, want wal", layout, mode)
		}
		if err := j.Close(); err != nil {
			t.Fatal(err)
		}
	}
	if len(migrations) != layoutInMeta && len(migrations) < layoutInMeta {
		t.Fatal("no layout has hashes")
	}
}

// TestANewFileHasItsPages: a new file has pages of the right size from its first byte, so that nothing is
// written twice at the first start.
func TestANewFileHasItsPages(t *testing.T) {
	db, err := sql.Open("sqlite", dsn(filepath.Join(t.TempDir(), FileName), false))
	if err != nil {
		t.Fatal(err)
	}
	var size, patience int
	var mode string
	err = errors.Join(db.QueryRow(`PRAGMA page_size`).Scan(&size), db.QueryRow(`PRAGMA busy_timeout`).Scan(&patience),
		db.QueryRow(`PRAGMA journal_mode`).Scan(&mode), db.Close())
	if err != nil || size != pageBytes || patience != 5000 || mode != "wal" {
		t.Errorf("pages of %d bytes, a time-out of %d ms, mode %s (%v)", size, patience, mode, err)
	}
}

func journalMode(t testing.TB, j *Journal) (mode string) {
	t.Helper()
	if err := j.write.Load().QueryRow(`PRAGMA journal_mode`).Scan(&mode); err != nil {
		t.Fatal(err)
	}
	return mode
}

// layoutJournal makes a journal as the program of an earlier layout did.
func layoutJournal(t testing.TB, layout int) (dir string, want record.State) {
	t.Helper()
	dir = t.TempDir()
	earlier := strings.Replace(dsn(filepath.Join(dir, FileName), false), url.QueryEscape("page_size(1024)"), url.QueryEscape("page_size(4096)"), 1)
	db, err := sql.Open("sqlite", earlier)
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range migrations[:layout] {
		if _, err := db.Exec(m); err != nil {
			t.Fatal(err)
		}
	}
	const id = "0123456789abcdef"
	if _, err := db.Exec(fmt.Sprintf(`INSERT INTO meta (name, value) VALUES ('journal', '%s') ON CONFLICT DO NOTHING; PRAGMA user_version = %d`, id, layout)); err != nil {
		t.Fatal(err)
	}
	if layout >= layoutInMeta {
		if _, err := db.Exec(`INSERT INTO meta (name, value) VALUES ('layout', ?)`, strconv.Itoa(layout)); err != nil {
			t.Fatal(err)
		}
	}
	want = record.NewState(id)
	last := end{link: seed}
	for _, r := range alarms(1, 12) {
		row, err := rowOf(r)
		if err != nil {
			t.Fatal(err)
		}
		if layout >= layoutInMeta { // from here on with hashes
			last.add(&row)
			if _, err := db.Exec(insertRow, row.args()...); err != nil {
				t.Fatal(err)
			}
			want = record.Apply(want, r)
			continue
		}
		if _, err := db.Exec(`INSERT INTO record (seq, at, boot, mono, synced, kind, by_whom, body) VALUES (?, ?, ?, ?, ?, ?, ?, ?)`,
			row.seq, row.at, row.boot, row.mono, row.synced, row.kind, row.by, row.body); err != nil {
			t.Fatal(err)
		}
		want = record.Apply(want, r)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	return dir, want
}

func events(t testing.TB, j *Journal) []uint64 {
	t.Helper()
	var all []uint64
	if err := j.Each(t.Context(), func(r record.Record) error {
		if r.IsEvent() {
			all = append(all, r.Seq)
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	return all
}

// content lists the files of a folder with their sizes.
func content(t testing.TB, dir string) string {
	t.Helper()
	names, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var out strings.Builder
	for _, name := range names {
		info, err := name.Info()
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintln(&out, name.Name(), info.Size())
	}
	return out.String()
}
