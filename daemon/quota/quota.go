// Package quota bounds how many things are there at once, such as connections: in all, and from
// each remote address, so that one address cannot shut out the others.
package quota

import (
	"net"
	"net/netip"
	"sync"
)

// Quota bounds a number of things. It may be used by any goroutine.
type Quota struct {
	most, mostOfOne int

	mu sync.Mutex // guards what follows
	n  int
	by map[netip.Prefix]int // only of addresses that have one
}

// New returns a quota of most things, and of mostOfOne from one address. Programs on this computer,
// a proxy among them, share one address for many people: they are bounded by most alone.
func New(most, mostOfOne int) *Quota {
	return &Quota{most: most, mostOfOne: mostOfOne, by: map[netip.Prefix]int{}}
}

// Take takes one for a remote address, given as HOST:PORT. ok is false when there is none left.
// Otherwise give ends it; it may be called more than once, by any goroutine.
func (q *Quota) Take(remote string) (give func(), ok bool) {
	from, limited := origin(remote)
	q.mu.Lock()
	defer q.mu.Unlock()
	if q.n >= q.most || limited && q.by[from] >= q.mostOfOne {
		return nil, false
	}
	q.n++
	if limited {
		q.by[from]++
	}
	return sync.OnceFunc(func() { q.give(from, limited) }), true
}

func (q *Quota) give(from netip.Prefix, limited bool) {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.n--
	if !limited {
		return
	}
	if q.by[from]--; q.by[from] == 0 {
		delete(q.by, from)
	}
}

// Len returns how many are there.
func (q *Quota) Len() int {
	q.mu.Lock()
	defer q.mu.Unlock()
	return q.n
}

// origin returns what an address counts as: an IPv4 address, or the network of 64 bits in which a
// device may give itself any IPv6 address. limited is false for this computer and for what is no
// address, such as the other end of a socket of a test.
func origin(remote string) (from netip.Prefix, limited bool) {
	host, _, err := net.SplitHostPort(remote)
	if err != nil {
		return netip.Prefix{}, false
	}
	a, err := netip.ParseAddr(host)
	if err != nil {
		return netip.Prefix{}, false
	}
	a = a.Unmap().WithZone("")
	if a.IsLoopback() {
		return netip.Prefix{}, false
	}
	bits := 32
	if a.Is6() {
		bits = 64
	}
	from, err = a.Prefix(bits)
	return from, err == nil
}

// Listen returns a listener that closes connections beyond the quota at once. It accepts the others.
func (q *Quota) Listen(l net.Listener) net.Listener { return &listener{l, q} }

type listener struct {
	net.Listener
	quota *Quota
}

// Accept returns the next connection within the quota. The error is that of the listener.
func (l *listener) Accept() (net.Conn, error) {
	for {
		c, err := l.Listener.Accept()
		if err != nil {
			return nil, err
		}
		give, ok := l.quota.Take(c.RemoteAddr().String())
		if !ok {
			_ = c.Close() // of a connection that nobody has used
			continue
		}
		return &counted{c, give}, nil
	}
}

// counted is a connection that ends its part of the quota when it is closed.
type counted struct {
	net.Conn
	give func()
}

// Close closes the connection. The error is that of the connection.
func (c *counted) Close() error {
	defer c.give()
	return c.Conn.Close()
}
