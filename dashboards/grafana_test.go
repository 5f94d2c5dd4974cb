package dashboards

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"testing"
)

var update = flag.Bool("update", false, "write the dashboards below grafana again")

// TestFilesAreFresh: the committed dashboards are what the Go code makes, and no other file
// is beside them.
func TestFilesAreFresh(t *testing.T) {
	files, err := Files()
	if err != nil {
		t.Fatal(err)
	}
	made := map[string]bool{}
	for _, f := range files {
		made[f.Name] = true
		path := filepath.Join("grafana", f.Name)
		if *update {
			if err := os.WriteFile(path, f.JSON, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		if committed, err := os.ReadFile(path); err != nil || !bytes.Equal(committed, f.JSON) {
			t.Errorf("%s is out of date (%v): go test ./dashboards -update", path, err)
		}
	}
	there, err := os.ReadDir("grafana")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range there {
		if !made[f.Name()] {
			t.Errorf("grafana/%s is made by no code", f.Name())
		}
	}
}
