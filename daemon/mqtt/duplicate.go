package mqtt

import (
	"encoding/json"
	"sync"
	"time"
)

const (
	duplicateAliveFor = 3 * daemonEvery // after its last message
	takeoverSpan      = time.Minute
	answerEvery       = 5 * time.Second // at most, to a duplicate instance
)

// duplicateInstance detects another instance of the daemon that publishes for the same bench.
//
// A message of another instance on the daemon's topic that was not retained proves that it
// is alive. Two instances with the same client ids never receive such a message: the broker
// closes one connection when the other opens. Instead, each finds the other's message
// retained where it had put its own. Once may be a broker that was restarted with an old
// store; twice within takeoverSpan means that both are alive.
type duplicateInstance struct {
	own string // our own instance

	mu        sync.Mutex
	published bool      // the broker has had our own message
	replaced  time.Time // when another's was last found retained in its place
	instance  string
	seen      time.Time
	answered  time.Time
}

// publishedOwn records that the broker has acknowledged our own message.
func (d *duplicateInstance) publishedOwn() {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.published = true
}

// received takes a message from the daemon's topic.
func (d *duplicateInstance) received(payload []byte, retained bool, now time.Time) {
	var m DaemonPayload
	if json.Unmarshal(payload, &m) != nil || m.Instance == "" {
		return
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if m.Instance == d.own {
		return
	}
	if retained {
		again := d.published && !d.replaced.IsZero() && now.Sub(d.replaced) <= takeoverSpan
		if d.published {
			d.replaced = now
		}
		if !again {
			return
		}
	}
	d.instance, d.seen = m.Instance, now
}

// alive returns the name of the other instance, empty where there is none.
func (d *duplicateInstance) alive(now time.Time) string {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.instance != "" && now.Sub(d.seen) > duplicateAliveFor {
		d.instance = ""
	}
	return d.instance
}

func (d *duplicateInstance) present() bool { return d.alive(time.Now()) != "" }

// answerDue reports whether the other instance has published since the last answer, at most once
// in answerEvery. Our own message is then published at once, so that the other one detects us.
func (d *duplicateInstance) answerDue(now time.Time) bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.instance == "" || !d.seen.After(d.answered) || now.Sub(d.answered) < answerEvery {
		return false
	}
	d.answered = now
	return true
}
