package history

import (
	"errors"
	"io/fs"
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
