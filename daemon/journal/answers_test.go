package journal

import (
	"errors"
	"log/slog"
	"testing"
	"time"

	"potlifed/daemon/record"
)

// TestADamagedAnswerIsRebuilt: a start checks what follows the newest checkpoint, and then reads the
// answers of a day. What is damaged in them asks for a rebuild, and does not stop every start.
func TestADamagedAnswerIsRebuilt(t *testing.T) {
	dir, _ := damagedShop(t)
	folded(t, dir)
	alter(t, dir, `UPDATE record SET answer = CAST('{' AS BLOB) WHERE seq = 5`)
	read := func() error {
		j, err := Open(dir, slog.New(slog.DiscardHandler), func(time.Duration) {})
		if err != nil {
			t.Fatal(err)
		}
		defer j.Close()
		return j.Answers(t.Context(), time.Time{}, 100, func(uint64, record.Answer) {})
	}
	if err := read(); !errors.Is(err, ErrDamaged) {
		t.Errorf("the first start: %v, want ErrDamaged", err)
	}
	if err := read(); err != nil {
		t.Errorf("the start after it: %v", err)
	}
}
