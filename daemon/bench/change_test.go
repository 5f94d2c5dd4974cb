package bench

import (
	"testing"

	"potlifed/daemon/request"
)

// TestEveryChangeIsDecided asks for every change of the table. An empty one is refused
// for what it lacks, but never as a change that the bench does not know.
func TestEveryChangeIsDecided(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	for _, row := range request.Table() {
		if row.Verb == (request.ReloadConfiguration{}).Verb() {
			continue // Do reads the file before the loop decides; the tests of reload ask Do
		}
		_, change := row.New()
		if _, refused := s.asks(change()); refused != nil && refused.Title == titleUnknownChange {
			t.Errorf("%s: %v", row.Verb, refused)
		}
	}
}
