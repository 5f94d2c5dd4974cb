package whole

import (
	"errors"
	"io"
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
	if err := Write(path, text("half", broken)); !errors.Is(err, broken) {
		t.Error(err)
	}
	if err := Write(path, text("first", nil)); err != nil {
		t.Error(err)
	}
	if err := Write(path, text("half", broken)); !errors.Is(err, broken) {
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
	if err := Write(filepath.Join(dir, "none", "report.html"), text("", nil)); !errors.Is(err, os.ErrNotExist) {
		t.Error(err)
	}
}
