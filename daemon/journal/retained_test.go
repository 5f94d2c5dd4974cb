package journal

import (
	"maps"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestRetainedAreKept(t *testing.T) {
	dir := t.TempDir()
	want := map[string][]byte{"lamp/state": []byte("green"), "lamp/a": []byte{0, 1}}
	j := openAt(t, dir)
	if held, err := j.Retained(t.Context()); err != nil || len(held) > 0 {
		t.Fatalf("a new journal holds %v, %v", held, err)
	}
	all := maps.Clone(want)
	all["gone"] = []byte("x")
	for _, step := range []map[string][]byte{all, {"gone": nil, "lamp/state": []byte("red"), "never": nil}, {"lamp/state": []byte("green")}} {
		if err := j.KeepRetained(t.Context(), step); err != nil {
			t.Fatal(err)
		}
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	j = openAt(t, dir)
	held, err := j.Retained(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(want, held); d != "" {
		t.Error(d)
	}
}
