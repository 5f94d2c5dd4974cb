package bench

import "sync"

// watchers are those who want to know of new snapshots. The mutex guards the set; it
// is held only while signals that cannot block are sent.
type watchers struct {
	mu  sync.Mutex
	set map[chan struct{}]struct{}
}

func (w *watchers) add() (<-chan struct{}, func()) {
	c := make(chan struct{}, 1)
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.set == nil {
		w.set = map[chan struct{}]struct{}{}
	}
	w.set[c] = struct{}{}
	return c, func() {
		w.mu.Lock()
		defer w.mu.Unlock()
		delete(w.set, c)
	}
}

// signal tells them of a new snapshot.
func (w *watchers) signal() {
	w.mu.Lock()
	defer w.mu.Unlock()
	for c := range w.set {
		select {
		case c <- struct{}{}:
		default:
		}
	}
}
