package access

import (
	"fmt"
	"sync"
	"time"
)

// TooOften means that a PIN attempt was refused after too many wrong ones.
type TooOften struct{ Wait time.Duration }

// Error returns how long to wait.
func (e *TooOften) Error() string {
	return fmt.Sprintf("too many wrong PINs; wait %v", e.Wait.Round(time.Second))
}

// PIN attempts are rate-limited. Each origin may fail a few times, and then once a minute. All
// origins together may fail only a little more often, so that many addresses gain little. One
// origin alone cannot use up the common limit, so a guesser only locks themselves out. The
// bench's own computer is counted separately, so that it can still be used while many addresses
// guess. So are the addresses that have paired since the start: strangers who use up the common
// limit do not keep them from pairing again. At three attempts a minute, half of the six-digit PINs
// take four months.
const (
	mostPaired                = 256 // addresses that have paired; beyond it, any one is forgotten
	guessesOfOne, refillOfOne = 5, time.Minute
	guessesOfAll, refillOfAll = 20, 20 * time.Second
)

// allowance is a number of attempts that is refilled with time.
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

// wait returns how long it takes until there is a whole attempt.
func (a allowance) wait(refill time.Duration) time.Duration {
	if a.left >= 1 {
		return 0
	}
	return time.Duration((1 - a.left) * float64(refill))
}

// guesses counts PIN attempts. Its size is limited by the common limit of all origins.
type guesses struct {
	mu     sync.Mutex // guards the fields below
	all    allowance  // of strangers
	known  allowance  // of addresses that have paired
	from   map[string]allowance
	paired map[string]bool

	hashing chan struct{} // one PIN is hashed at a time: hashing takes memory
}

func newGuesses() guesses {
	whole := allowance{left: guessesOfAll}
	return guesses{all: whole, known: whole, from: map[string]allowance{}, paired: map[string]bool{}, hashing: make(chan struct{}, 1)}
}

// take takes one attempt of an origin, or returns how long it must wait.
func (g *guesses) take(from string, now time.Time) (wait time.Duration) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.forget(now)
	common := &g.all
	if g.paired[from] {
		common = &g.known
	}
	all := common.by(now, guessesOfAll, refillOfAll)
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
	*common, g.from[from] = all, own
	return 0
}

// giveBack returns an attempt that was right.
func (g *guesses) giveBack(from string, now time.Time) {
	g.mu.Lock()
	defer g.mu.Unlock()
	delete(g.from, from)
	if from == Local {
		return
	}
	common := &g.all
	if g.paired[from] {
		common = &g.known
	}
	*common = common.by(now, guessesOfAll, refillOfAll)
	common.left = min(guessesOfAll, common.left+1)
	for other := range g.paired {
		if len(g.paired) < mostPaired {
			break
		}
		delete(g.paired, other)
	}
	g.paired[from] = true
}

// forget removes the origins that have all their attempts again.
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
