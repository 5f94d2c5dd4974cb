package access

import (
	"fmt"
	"sync"
	"time"
)

// TooOften is the refusal to look at a PIN after too many wrong ones.
type TooOften struct{ Wait time.Duration }

func (e *TooOften) Error() string {
	return fmt.Sprintf("too many wrong PINs; wait %v", e.Wait.Round(time.Second))
}

// Each place may be wrong a few times and then once a minute, and all of them together
// not much more often, so that many addresses gain little. One place alone cannot use
// up what all have together: whoever guesses locks himself out and nobody else. The
// bench's own computer is counted for itself, so that even a crowd of guessers leaves a
// way in. At three guesses a minute, half of the six-digit PINs take four months.
const (
	guessesOfOne, refillOfOne = 5, time.Minute
	guessesOfAll, refillOfAll = 20, 20 * time.Second
)

// allowance is what is left of a number of guesses that comes back with time.
type allowance struct {
	left float64
	at   time.Time
}

func (a allowance) by(now time.Time, most float64, refill time.Duration) allowance {
	if gone := now.Sub(a.at); gone > 0 {
		a.left = min(most, a.left+gone.Seconds()/refill.Seconds())
	}
	a.at = now // a clock that was set back costs nobody more than the time since
	return a
}

// wait is how long until there is a whole guess.
func (a allowance) wait(refill time.Duration) time.Duration {
	if a.left >= 1 {
		return 0
	}
	return time.Duration((1 - a.left) * float64(refill))
}

// guesses counts guesses at the PIN. Its size is bounded by what all places together
// may do before each has all of its own back.
type guesses struct {
	mu   sync.Mutex // guards what follows
	all  allowance
	from map[string]allowance

	hashing chan struct{} // one PIN at a time is hashed: it takes memory
}

func newGuesses() guesses {
	return guesses{all: allowance{left: guessesOfAll}, from: map[string]allowance{}, hashing: make(chan struct{}, 1)}
}

// take takes one guess of a place, or says how long it must wait.
func (g *guesses) take(from string, now time.Time) (wait time.Duration) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.forget(now)
	all := g.all.by(now, guessesOfAll, refillOfAll)
	own, known := g.from[from]
	if !known {
		own = allowance{left: guessesOfOne, at: now}
	}
	own = own.by(now, guessesOfOne, refillOfOne)
	wait = own.wait(refillOfOne)
	if from != Local {
		wait = max(wait, all.wait(refillOfAll))
	}
	if wait > 0 {
		return wait
	}
	if from != Local {
		all.left--
	}
	own.left--
	g.all, g.from[from] = all, own
	return 0
}

// giveBack makes up for a guess that was right.
func (g *guesses) giveBack(from string, now time.Time) {
	g.mu.Lock()
	defer g.mu.Unlock()
	delete(g.from, from)
	if from != Local {
		g.all = g.all.by(now, guessesOfAll, refillOfAll)
		g.all.left = min(guessesOfAll, g.all.left+1)
	}
}

// forget drops the places that have all their guesses back.
func (g *guesses) forget(now time.Time) {
	for place, a := range g.from {
		if a.by(now, guessesOfOne, refillOfOne).left >= guessesOfOne {
			delete(g.from, place)
		}
	}
}

func (g *guesses) one(look func() bool) bool {
	g.hashing <- struct{}{}
	defer func() { <-g.hashing }()
	return look()
}
