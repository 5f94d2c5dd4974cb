package mqtt

import (
	"encoding/json"
	"sync"
	"time"
)

const (
	otherAliveFor = 3 * daemonEvery // without a sign
	takeoverSpan  = time.Minute
)

// others notices another instance of the daemon that speaks for the same bench.
//
// A live one is known by a message of another instance on the daemon's topic that was
// not retained. Two that share even their client ids never meet there: the broker ends
// one connection when the other comes. They show otherwise: each finds the other's
// message retained where it had put its own. Once may be a broker that was restarted
// from an old store; twice within a minute is a fight.
type others struct {
	mine string

	mu        sync.Mutex
	greeted   bool      // the broker has had our own message
	overwrote time.Time // when another's was last found in its place
	instance  string
	seen      time.Time
	answered  time.Time
}

// own remembers that the broker has taken our own message.
func (o *others) own() {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.greeted = true
}

// hear takes a message from the daemon's topic.
func (o *others) hear(payload []byte, retained bool, now time.Time) {
	var m daemonWire
	if json.Unmarshal(payload, &m) != nil || m.Instance == "" {
		return
	}
	o.mu.Lock()
	defer o.mu.Unlock()
	if m.Instance == o.mine {
		return
	}
	if retained {
		fight := o.greeted && !o.overwrote.IsZero() && now.Sub(o.overwrote) <= takeoverSpan
		if o.greeted {
			o.overwrote = now
		}
		if !fight {
			return
		}
	}
	o.instance, o.seen = m.Instance, now
}

// alive returns the other instance, empty when there is none.
func (o *others) alive(now time.Time) string {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.instance != "" && now.Sub(o.seen) > otherAliveFor {
		o.instance = ""
	}
	return o.instance
}

func (o *others) disputed() bool { return o.alive(time.Now()) != "" }

// answer reports, at most every few seconds, that another instance was heard and
// should hear from us without waiting for its turn.
func (o *others) answer(now time.Time) bool {
	o.mu.Lock()
	defer o.mu.Unlock()
	const pause = 5 * time.Second
	if o.instance == "" || !o.seen.After(o.answered) || now.Sub(o.answered) < pause {
		return false
	}
	o.answered = now
	return true
}
