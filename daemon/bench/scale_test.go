package bench

import (
	"encoding/json"
	"testing"
	"time"
)

// A scale that was never heard has no time of a reading; one that was heard has.
func TestNeverHeardScaleHasNoTime(t *testing.T) {
	s := openShop(t, t.TempDir(), newClock())
	defer s.crash()
	row := func() (fields map[string]any) {
		t.Helper()
		text, err := json.Marshal(s.b.scaleViews(s.b.state, s.clock.is.Wall)[0])
		if err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal(text, &fields); err != nil {
			t.Fatal(err)
		}
		return fields
	}
	if at, has := row()["time"]; has {
		t.Errorf("never heard, and yet of %v", at)
	}
	s.weighs(12, time.Second)
	if _, has := row()["time"]; !has {
		t.Error("heard, and no time says when")
	}
}
