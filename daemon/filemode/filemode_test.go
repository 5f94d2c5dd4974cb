package filemode

import (
	"os"
	"path/filepath"
	"testing"
)

// Files of an earlier version are open to everybody; files beside them are not touched.
func TestOthersLoseTheirRights(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "journal.sqlite")
	if err := ForGroup(path); err != nil {
		t.Fatal(err)
	}
	for name, was := range map[string]os.FileMode{"-wal": 0o644, "-shm": 0o664, ".other": 0o644} {
		if err := os.WriteFile(path+name, []byte("x"), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := os.Chmod(path+name, was); err != nil {
			t.Fatal(err)
		}
	}
	for range 2 {
		if err := ForGroup(path); err != nil {
			t.Fatal(err)
		}
		for name, want := range map[string]os.FileMode{"": 0o640, "-wal": 0o640, "-shm": 0o660, ".other": 0o644} {
			info, err := os.Stat(path + name)
			if err != nil {
				t.Fatal(err)
			}
			if got := info.Mode().Perm(); got&^want != 0 || name != "" && got != want {
				t.Errorf("%s%s has mode %o, want %o", path, name, got, want)
			}
		}
		if err := os.Chmod(path, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if err := ForGroup(filepath.Join(dir, "none", "x")); err == nil {
		t.Error("no error without a directory")
	}
}
