package broker

import (
	"sync"

	server "github.com/mochi-mqtt/server/v2"
)

// retainLock keeps the library from reading its index of retained messages while it writes
// it: version 2.7 looks up the messages of a new subscription without the lock under which
// it adds them, so that a subscription with a wildcard could read half of a topic's name. A
// broken string ends the process in Go, and with it the bench.
//
// Hooks that the library calls from the goroutine of one client lock and unlock it; a
// client holds it once at most. It is held for a bounded time: the listener gives every
// write a deadline.
type retainLock struct {
	index sync.RWMutex

	mu   sync.Mutex
	held map[*server.Client]func() // unlocks
}

func (l *retainLock) lockForWrite(cl *server.Client) { l.hold(cl, l.index.Lock, l.index.Unlock) }
func (l *retainLock) lockForRead(cl *server.Client)  { l.hold(cl, l.index.RLock, l.index.RUnlock) }

func (l *retainLock) hold(cl *server.Client, lock, unlock func()) {
	l.unlock(cl)
	lock()
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.held == nil {
		l.held = map[*server.Client]func(){}
	}
	l.held[cl] = unlock
}

// unlock releases the lock if the client holds it.
func (l *retainLock) unlock(cl *server.Client) {
	l.mu.Lock()
	unlock := l.held[cl]
	delete(l.held, cl)
	l.mu.Unlock()
	if unlock != nil {
		unlock()
	}
}
