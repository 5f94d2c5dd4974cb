package request

import "testing"

// Each kind has a status of its own: a page finds the kind by it.
func TestEachKindHasAStatus(t *testing.T) {
	seen := map[int]RefusalKind{0: "no kind"}
	for _, kind := range RefusalKinds() {
		if other, used := seen[kind.Status()]; used {
			t.Errorf("%s has the status %d, as %s", kind, kind.Status(), other)
		}
		seen[kind.Status()] = kind
	}
}
