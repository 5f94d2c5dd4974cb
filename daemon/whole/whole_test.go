package whole

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
)

func TestAFileIsWholeOrAsBefore(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "report.html")
	text := func(text string, err error) func(io.Writer) error {
		return func(w io.Writer) error {
			_, failed := io.WriteString(w, text)
			return errors.Join(failed, err)
		}
	}
	broken := errors.New("broken")
	if err := Write(path, Public, text("half", broken)); !errors.Is(err, broken) {
		t.Error(err)
	}
	if err := Write(path, Public, text("first", nil)); err != nil {
		t.Error(err)
	}
	if err := Write(path, Public, text("half", broken)); !errors.Is(err, broken) {
		t.Error(err)
	}
	got, err := os.ReadFile(path)
	if err != nil || string(got) != "first" {
		t.Errorf("%q %v", got, err)
	}
	list, err := os.ReadDir(dir)
	if err != nil || len(list) != 1 {
		t.Errorf("%v %v", list, err)
	}
	if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o644 {
		t.Errorf("%v %v", info, err)
	}
	if err := Write(filepath.Join(dir, "none", "report.html"), Public, text("", nil)); !errors.Is(err, os.ErrNotExist) {
		t.Error(err)
	}
}

// A private file takes the place of one that others may read.
func TestAFileHasItsModeAndIsPrivateBefore(t *testing.T) {
	for _, mode := range []fs.FileMode{Private, Public} {
		dir := t.TempDir()
		path := filepath.Join(dir, "access.json")
		if err := os.WriteFile(path, nil, 0o640); err != nil {
			t.Fatal(err)
		}
		f, err := Create(path, mode)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := io.WriteString(f, "whole"); err != nil {
			t.Error(err)
		}
		names, err := filepath.Glob(filepath.Join(dir, Temporary("access.json")))
		if err != nil || len(names) != 1 {
			t.Fatalf("%q %v", names, err)
		}
		if info, err := os.Stat(names[0]); err != nil || info.Mode().Perm() != Private {
			t.Errorf("before: %v %v", info, err)
		}
		if got, err := io.ReadAll(io.NewSectionReader(f, 0, 5)); err != nil || string(got) != "whole" {
			t.Errorf("%q %v", got, err)
		}
		if err := errors.Join(f.Complete(), f.Discard()); err != nil {
			t.Error(err)
		}
		if info, err := os.Stat(path); err != nil || info.Mode().Perm() != mode {
			t.Errorf("%v %v", info, err)
		}
		if list, err := os.ReadDir(dir); err != nil || len(list) != 1 {
			t.Errorf("%v %v", list, err)
		}
	}
}
