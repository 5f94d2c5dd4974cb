package mqtt

import (
	"sync"

	server "github.com/mochi-mqtt/server/v2"
)

// turns keeps the built-in broker's library from reading its index of retained
// messages while it writes it: version 2.7 looks a new subscription's messages up
// without the lock under which it enters them, so that a subscription with a wildcard
// could read half of a topic's name. A broken string is not a wrong answer in Go but
// the end of the process, and with it of the bench.
//
// A turn is begun and ended by hooks that the library calls from the goroutine of one
// client; a client has one turn at a time. What happens within a turn is bounded: the
// door gives every write a deadline.
type turns struct {
	index sync.RWMutex

	mu   sync.Mutex
	held map[*server.Client]func() // ends the turn
}

func (t *turns) write(cl *server.Client) { t.begin(cl, t.index.Lock, t.index.Unlock) }
func (t *turns) read(cl *server.Client)  { t.begin(cl, t.index.RLock, t.index.RUnlock) }

func (t *turns) begin(cl *server.Client, lock, unlock func()) {
	t.end(cl)
	lock()
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.held == nil {
		t.held = map[*server.Client]func(){}
	}
	t.held[cl] = unlock
}

// end ends a client's turn if it has one.
func (t *turns) end(cl *server.Client) {
	t.mu.Lock()
	unlock := t.held[cl]
	delete(t.held, cl)
	t.mu.Unlock()
	if unlock != nil {
		unlock()
	}
}
