package access

import (
	"errors"
	"fmt"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestWrongPINsHaveToWait(t *testing.T) {
	s, _ := withPIN(t)
	guess := func(pin, from string, at time.Time) error {
		_, _, err := s.Pair(pin, "x", "", from, at)
		return err
	}
	for range guessesOfOne {
		if err := guess("000000", "10.0.0.1", noon); !errors.Is(err, ErrWrongPIN) {
			t.Fatalf("a wrong PIN: %v", err)
		}
	}
	var wait *TooOften
	if err := guess(goodPIN, "10.0.0.1", noon); !errors.As(err, &wait) || wait.Wait <= 0 || wait.Wait > time.Minute {
		t.Errorf("after %d wrong ones the right PIN at once: %v", guessesOfOne, err)
	}
	if err := guess(goodPIN, "10.0.0.2", noon); err != nil {
		t.Errorf("another place must wait for the guesser: %v", err)
	}
	if err := guess(goodPIN, "10.0.0.1", noon.Add(time.Minute)); err != nil {
		t.Errorf("a minute later: %v", err)
	}
	for range guessesOfOne {
		if err := guess("000000", "10.0.0.1", noon.Add(time.Minute)); !errors.Is(err, ErrWrongPIN) {
			t.Fatalf("the right PIN did not give the guesses back: %v", err)
		}
	}
}

// TestOneGuesserLocksOutOnlyHimself, however long he goes on.
func TestOneGuesserLocksOutOnlyHimself(t *testing.T) {
	g := newGuesses()
	looked := 0
	for second := range 6 * 3600 {
		now := noon.Add(time.Duration(second) * time.Second)
		if g.take("10.0.0.66", now) == 0 {
			looked++
		}
		if second%600 == 0 && g.take(fmt.Sprintf("10.0.1.%d", second%200), now) != 0 {
			t.Fatalf("after %d s another place must wait", second)
		}
	}
	if most := guessesOfOne + 6*60; looked > most {
		t.Errorf("%d guesses in six hours, want at most %d", looked, most)
	}
}

// TestACrowdOfGuessers is held to what all have together; the bench's own computer is
// not part of it, and memory stays bounded.
func TestACrowdOfGuessers(t *testing.T) {
	g := newGuesses()
	looked, most := 0, 0
	for i := range 50_000 {
		now := noon.Add(time.Duration(i) * 100 * time.Millisecond)
		if g.take(fmt.Sprintf("10.%d.%d.%d", i>>16, i>>8&255, i&255), now) == 0 {
			looked++
		}
		most = max(most, len(g.from))
	}
	if allowed := guessesOfAll + int(5_000/refillOfAll.Seconds()) + 1; looked > allowed {
		t.Errorf("%d guesses, want at most %d", looked, allowed)
	}
	if most > 2*guessesOfAll {
		t.Errorf("%d places are remembered", most)
	}
	if wait := g.take(Local, noon.Add(5_000*time.Second)); wait != 0 {
		t.Errorf("the bench's own computer must wait %v", wait)
	}
}

// TestGuessesAreBounded: whatever the clock does and wherever the guesses come from, no
// place ever has more than its burst within an instant, and no wait is negative or
// beyond a minute.
func TestGuessesAreBounded(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := newGuesses()
		now := noon
		var taken map[string]int
		for range rapid.IntRange(1, 300).Draw(t, "guesses") {
			step := rapid.SampledFrom([]time.Duration{0, 0, 0, 0, 0, 0, time.Second, time.Minute, -time.Hour, 1000 * time.Hour}).Draw(t, "step")
			if step != 0 || taken == nil {
				taken = map[string]int{}
			}
			now = now.Add(step)
			from := rapid.SampledFrom([]string{Local, "a", "b", "c", "d", "e", "f"}).Draw(t, "from")
			wait := g.take(from, now)
			if wait < 0 || wait > time.Minute {
				t.Fatalf("wait %v", wait)
			}
			if wait == 0 {
				if taken[from]++; taken[from] > guessesOfOne {
					t.Fatalf("%s guessed %d times at once", from, taken[from])
				}
			}
			if len(g.from) > 7 || g.all.left < 0 || g.all.left > guessesOfAll {
				t.Fatalf("%d places, %v left of all", len(g.from), g.all.left)
			}
		}
	})
}

// TestGuessersDoNotLockOutWhoPairedBefore: strangers use up the common limit. An address that has
// paired still can; another stranger waits; and the address's own limit holds.
func TestGuessersDoNotLockOutWhoPairedBefore(t *testing.T) {
	g := newGuesses()
	const home = "192.0.2.7"
	if wait := g.take(home, noon); wait != 0 {
		t.Fatal(wait)
	}
	g.giveBack(home, noon)
	now := noon
	for i := range 36 * guessesOfOne {
		now = now.Add(50 * time.Millisecond)
		g.take(fmt.Sprintf("10.0.0.%d", i%36), now)
	}
	if wait := g.take("192.0.2.8", now); wait == 0 {
		t.Error("a stranger gets in while the common limit is used up")
	}
	for range 72 {
		if wait := g.take(home, now); wait != 0 {
			t.Fatalf("who paired before waits %v", wait)
		}
		g.giveBack(home, now)
	}
	for range guessesOfOne {
		g.take(home, now)
	}
	if wait := g.take(home, now); wait == 0 {
		t.Error("an address that has paired may guess without end")
	}
	for i := range 3 * mostPaired {
		g.giveBack(fmt.Sprintf("10.1.%d.%d", i/250, i%250), now)
	}
	if len(g.paired) > mostPaired {
		t.Errorf("%d addresses are remembered", len(g.paired))
	}
}
