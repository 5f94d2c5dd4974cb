package rehearsal

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"pgregory.net/rapid"

	"potlifed/daemon/clock"
)

// Whatever is done to the speed, and however long nobody looks: the clock never goes
// back, never leaps, moves wall and monotonic time together, and runs at its speed
// while it is looked at.
func TestPacedClockNeverGoesBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		fastest := rapid.Float64Range(1, 240).Draw(t, "fastest")
		var real time.Duration
		p := newPaced(fastest, time.Date(2026, 6, 12, 7, 0, 0, 0, time.UTC), func() time.Duration { return real })
		first := p.Now()
		was, speed, want := first, 1.0, time.Duration(0)
		for range rapid.IntRange(1, 60).Draw(t, "n") {
			if rapid.Bool().Draw(t, "change") {
				speed = rapid.Float64Range(0, fastest).Draw(t, "speed")
				p.SetSpeed(speed)
			}
			by := time.Duration(rapid.Int64Range(-int64(time.Second), int64(10*time.Second)).Draw(t, "by"))
			real += by
			want += min(max(time.Duration(float64(by)*speed), 0), stride)
			now := p.Now()
			if now.Mono < was.Mono || now.Wall.Before(was.Wall) || now.Mono-was.Mono > stride {
				t.Fatalf("from %v to %v", was, now)
			}
			if now.Wall.Sub(first.Wall) != now.Mono-first.Mono || now.Boot != first.Boot || !now.Synced {
				t.Fatalf("wall and monotonic time part: %+v, began %+v", now, first)
			}
			if off := now.Mono - first.Mono - want; off != 0 {
				t.Fatalf("off by %v from the time that went by at the speeds there were", off)
			}
			was = now
		}
	})
}

func TestPacedClockIsHowTheServiceWaits(t *testing.T) {
	p := NewPaced(60)
	if got := clock.Real(p, time.Minute); got != time.Second {
		t.Errorf("a minute is waited for %v at natural speed, which may end at sixty times", got)
	}
	p.SetSpeed(30)
	if got := clock.Took(p, time.Minute); got != 2*time.Second {
		t.Errorf("what took a minute at thirty times the speed took %v", got)
	}
	p.SetSpeed(1000)
	if got := clock.Took(p, time.Minute); got != time.Second {
		t.Errorf("a speed above the highest is the highest: took %v", got)
	}
}

func TestPacedWaitFollowsTheSpeed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := NewPaced(100)
		began := time.Now()
		time.AfterFunc(10*time.Second, func() { p.SetSpeed(100) })
		if err := p.Wait(t.Context(), 20*time.Second+10*time.Second); err != nil {
			t.Fatal(err)
		}
		// Ten seconds at natural speed, twenty at a hundred times; a nap may be slept over.
		if took := time.Since(began); took < 10200*time.Millisecond || took > 10200*time.Millisecond+nap {
			t.Errorf("waited %v", took)
		}
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		if err := p.Wait(ctx, time.Hour); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("a broken off wait ends with %v", err)
		}
	})
}
