package mqtt

import (
	"sync"
	"time"

	"potlifed/daemon/actor"
)

// turns is a queue of commands in which users take turns: however many commands one of them sends,
// the next command of another waits for one of theirs. A user's commands stay in order. On an
// outside broker, which does not say who published a message, all are one user.
type turns struct {
	ready chan struct{} // capacity 1: there is a command

	mu    sync.Mutex // guards what follows
	of    map[actor.Name][]Given
	users []actor.Name // that have commands, the next one first
	n     int
}

const (
	commandQueue    = 32               // commands of one user
	allCommandQueue = 4 * commandQueue // of all users
)

func newTurns() *turns { return &turns{ready: make(chan struct{}, 1), of: map[actor.Name][]Given{}} }

// put queues a command, and reports false where the user, or all of them, have too many.
func (t *turns) put(in Given) bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	waiting := t.of[in.By]
	if len(waiting) >= commandQueue || t.n >= allCommandQueue {
		return false
	}
	if len(waiting) == 0 {
		t.users = append(t.users, in.By)
	}
	t.of[in.By] = append(waiting, in)
	t.n++
	t.signal()
	return true
}

// next returns the next command, and false where none waits.
func (t *turns) next() (Given, bool) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.n == 0 {
		return Given{}, false
	}
	user := t.users[0]
	waiting := t.of[user]
	in := waiting[0]
	t.users = t.users[1:]
	if len(waiting) == 1 {
		delete(t.of, user)
	} else {
		t.of[user] = waiting[1:]
		t.users = append(t.users, user)
	}
	if t.n--; t.n > 0 {
		t.signal()
	}
	return in, true
}

func (t *turns) signal() {
	select {
	case t.ready <- struct{}{}:
	default:
	}
}

// sparse lets one line through at once and then one a minute, with the count of those between.
type sparse struct {
	mu    sync.Mutex // guards what follows
	last  time.Time
	count int
}

const sparseEvery = time.Minute

// line counts a line. due reports whether it is to be written; count is how many it stands for.
func (s *sparse) line(now time.Time) (count int, due bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.count++
	if !s.last.IsZero() && now.Sub(s.last) < sparseEvery {
		return 0, false
	}
	count, s.count, s.last = s.count, 0, now
	return count, true
}
