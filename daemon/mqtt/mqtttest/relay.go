package mqtttest

import (
	"net"
	"sync"
	"testing"
)

// Relay passes connections on to a broker. It can be cut, like a cable, and held, like a
// broker that does not answer.
type Relay struct {
	listen  net.Listener
	to      string
	running sync.WaitGroup

	mu    sync.Mutex
	conns map[net.Conn]bool
	cut   bool
	held  chan struct{} // closed when what the broker sends may pass
}

// NewRelay starts a relay to the broker at HOST:PORT, and stops it with the test.
func NewRelay(t testing.TB, to string) *Relay {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	r := &Relay{listen: l, to: to, conns: map[net.Conn]bool{}, held: make(chan struct{})}
	close(r.held)
	r.running.Go(r.serve)
	t.Cleanup(func() {
		_ = l.Close()
		r.Release()
		r.Cut()
		r.running.Wait()
	})
	return r
}

// Addr returns HOST:PORT of the relay.
func (r *Relay) Addr() string { return r.listen.Addr().String() }

func (r *Relay) serve() {
	for {
		in, err := r.listen.Accept()
		if err != nil {
			return
		}
		out, err := net.Dial("tcp", r.to)
		r.mu.Lock()
		if err != nil || r.cut {
			r.mu.Unlock()
			_ = in.Close()
			if out != nil {
				_ = out.Close()
			}
			continue
		}
		r.conns[in], r.conns[out] = true, true
		r.mu.Unlock()
		r.running.Go(func() { pass(in, out, r.wait) })
		r.running.Go(func() { pass(out, in, func() {}) })
	}
}

// pass copies what comes from one connection to the other until either ends, and closes both.
func pass(to, from net.Conn, wait func()) {
	b := make([]byte, 32<<10)
	for {
		n, err := from.Read(b)
		wait()
		if n > 0 {
			if _, failed := to.Write(b[:n]); failed != nil {
				break
			}
		}
		if err != nil {
			break
		}
	}
	_ = to.Close()
	_ = from.Close()
}

func (r *Relay) wait() {
	r.mu.Lock()
	held := r.held
	r.mu.Unlock()
	<-held
}

// Hold keeps back what the broker sends until Release.
func (r *Relay) Hold() {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.held = make(chan struct{})
}

// Release ends Hold.
func (r *Relay) Release() {
	r.mu.Lock()
	defer r.mu.Unlock()
	select {
	case <-r.held:
	default:
		close(r.held)
	}
}

// Cut closes every connection and refuses new ones until Mend.
func (r *Relay) Cut() {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.cut = true
	for c := range r.conns {
		_ = c.Close()
	}
	clear(r.conns)
}

// Mend ends Cut.
func (r *Relay) Mend() {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.cut = false
}
