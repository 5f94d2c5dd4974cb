package clock

import (
	"testing"
	"time"
)

func TestSystemClockRuns(t *testing.T) {
	c, err := NewSystem(true)
	if err != nil {
		t.Fatal(err)
	}
	a := c.Now()
	b := c.Now()
	if a.Boot == "" || a.Boot != b.Boot {
		t.Errorf("boot ids %q and %q: want one, not empty", a.Boot, b.Boot)
	}
	if b.Mono < a.Mono || a.Mono <= 0 {
		t.Errorf("boot time went from %v to %v", a.Mono, b.Mono)
	}
	if !a.Synced {
		t.Error("an assumed clock does not count as set")
	}
	if d := time.Since(a.Wall); d < 0 || d > time.Minute {
		t.Errorf("wall clock is off by %v", d)
	}
}

func TestKernelIsAsked(t *testing.T) {
	c, err := NewSystem(false)
	if err != nil {
		t.Fatal(err)
	}
	if got, want := c.Now().Synced, kernelSynced(); got != want {
		t.Errorf("Synced = %v, the kernel says %v", got, want)
	}
}

// A clock that was never set, or whose seconds have overflown, does not count as set.
func TestClockBeforeThisProgramIsNotSet(t *testing.T) {
	const second2038 = 1<<31 - 1 // the last second that 32 bits hold
	overflown := int32(second2038)
	overflown++
	for wall, want := range map[time.Time]bool{
		time.Unix(0, 0):                             false,
		time.Unix(int64(overflown), 0):              false,
		earliest.Add(-1):                            false,
		earliest:                                    true,
		time.Unix(second2038, 0):                    true,
		time.Unix(second2038+1, 0):                  true,
		time.Date(2045, 1, 1, 0, 0, 0, 0, time.UTC): true,
	} {
		if got := possible(wall); got != want {
			t.Errorf("%v: %v, want %v", wall.UTC(), got, want)
		}
	}
}
