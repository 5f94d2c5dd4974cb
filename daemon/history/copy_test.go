package history

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
)

func TestACopyFollowsTheJournalWithTheNewID(t *testing.T) {
	dir := t.TempDir()
	copied := filepath.Join(t.TempDir(), FileName)
	if err := CopyTo(t.Context(), dir, copied); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a copy of no history: %v", err)
	}
	s, err := openStore(dir)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.write.Exec(`INSERT INTO meta VALUES ('journal', 'old'), ('place', '7')`); err != nil {
		t.Fatal(err)
	}
	if err := CopyTo(t.Context(), dir, copied); err != nil { // while it is open
		t.Fatal(err)
	}
	if err := s.close(); err != nil {
		t.Fatal(err)
	}
	if err := Follow(t.Context(), copied, "new"); err != nil {
		t.Fatal(err)
	}
	c, err := openStore(filepath.Dir(copied))
	if err != nil {
		t.Fatal(err)
	}
	defer c.close()
	got := map[string]string{}
	rows, err := c.read.Query(`SELECT name, value FROM meta`)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		var name, value string
		if err := rows.Scan(&name, &value); err != nil {
			t.Fatal(err)
		}
		got[name] = value
	}
	if got["journal"] != "new" || got["place"] != "7" {
		t.Errorf("the copy follows %v", got)
	}
}

// TestFilesAreNotForEverybody looks at the modes of what is in the folder; a file of an earlier
// version was open to everybody.
func TestFilesAreNotForEverybody(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, FileName), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(filepath.Join(dir, FileName), 0o644); err != nil {
		t.Fatal(err)
	}
	s, err := openStore(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.close()
	files, err := filepath.Glob(filepath.Join(dir, FileName+"*"))
	if err != nil || len(files) != 3 {
		t.Fatalf("%v %v", files, err)
	}
	for _, name := range files {
		info, err := os.Stat(name)
		if err != nil {
			t.Fatal(err)
		}
		if mode := info.Mode().Perm(); mode&0o137 != 0 {
			t.Errorf("%s has mode %o", name, mode)
		}
	}
}
