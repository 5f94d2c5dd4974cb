package mqtt

import (
	"crypto/tls"
	"log/slog"
	"net"
	"sync"
	"time"

	"github.com/mochi-mqtt/server/v2/listeners"
)

// handshakeTimeout is by when a connection must have introduced itself.
const handshakeTimeout = 10 * time.Second

// takeTimeout is how long a client may refuse to take a write before it is cut off.
const takeTimeout = 2 * time.Second

// maxVisitors bounds the connections, those included that have not introduced themselves.
const maxVisitors = maxClients + 64

// acceptPause keeps a lasting failure to take connections from becoming a busy loop.
const acceptPause = time.Second

// door is the built-in broker's listener. The library's own ones know a connection
// only once it has introduced itself, so that a visitor who never does stays for ever
// and keeps a stop waiting; and they let a connection begin while a stop already
// waits for the last to end. Here every connection has a deadline until the library
// sets one, and Close returns when all have ended.
type door struct {
	listener net.Listener
	log      *slog.Logger
	open     chan struct{}  // closed when the library is ready
	serving  sync.WaitGroup // one a connection
	closing  chan struct{}
	// disconnect ends the sessions of all clients that came in here. It stands in for what
	// the library hands to Close, which takes a read lock twice: a client that leaves
	// between the two waits for the lock, and the stop waits for ever.
	disconnect func()

	mu     sync.Mutex
	conns  map[net.Conn]struct{}
	closed bool
}

func newDoor(l net.Listener, log *slog.Logger) *door {
	return &door{listener: l, log: log, disconnect: func() {}, open: make(chan struct{}), closing: make(chan struct{}), conns: map[net.Conn]struct{}{}}
}

var _ listeners.Listener = (*door)(nil)

// Init has nothing to do: the socket is open already.
func (d *door) Init(*slog.Logger) error { return nil }

// ID names the door in the library.
func (d *door) ID() string { return "door" }

// Address is HOST:PORT.
func (d *door) Address() string { return d.listener.Addr().String() }

// Protocol is the network's name.
func (d *door) Protocol() string { return d.listener.Addr().Network() }

// Serve lets visitors in until Close.
func (d *door) Serve(establish listeners.EstablishFn) {
	select {
	case <-d.open:
	case <-d.closing:
		return
	}
	for {
		conn, err := d.listener.Accept()
		if err != nil {
			if !d.pause(err) {
				return
			}
			continue
		}
		if in, closed := d.enter(conn); !in {
			_ = hangUp(conn)
			if closed {
				return
			}
			continue
		}
		go func() {
			defer d.serving.Done()
			err := establish(d.ID(), impatient{conn})
			_ = hangUp(conn) // at the latest now
			d.mu.Lock()
			delete(d.conns, conn)
			d.mu.Unlock()
			d.log.Debug("built-in broker: connection ended", "remote", conn.RemoteAddr(), "err", err)
		}()
	}
}

// enter counts a visitor in, unless the house is full or the door is closed.
func (d *door) enter(conn net.Conn) (in, closed bool) {
	_ = conn.SetDeadline(time.Now().Add(handshakeTimeout)) // a dead socket says so when it is read
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.closed || len(d.conns) >= maxVisitors {
		return false, d.closed
	}
	d.conns[conn] = struct{}{}
	d.serving.Add(1)
	return true, false
}

// pause waits a little after a failure to take a connection, such as too many open
// files, and reports whether to go on.
func (d *door) pause(err error) bool {
	select {
	case <-d.closing:
		return false
	default:
	}
	d.log.Warn("built-in broker: connection not taken", "err", err)
	timer := time.NewTimer(acceptPause)
	defer timer.Stop()
	select {
	case <-d.closing:
		return false
	case <-timer.C:
		return true
	}
}

// Close shows everybody out and returns when they have left.
func (d *door) Close(listeners.CloseFn) {
	d.mu.Lock()
	if d.closed {
		d.mu.Unlock()
		return
	}
	d.closed = true
	close(d.closing)
	conns := make([]net.Conn, 0, len(d.conns))
	for conn := range d.conns {
		conns = append(conns, conn)
	}
	d.mu.Unlock()
	_ = d.listener.Close()
	d.disconnect()
	for _, conn := range conns {
		_ = hangUp(conn)
	}
	d.serving.Wait()
}

// impatient is a connection that is closed when the other side does not take a write
// in time. The library's own deadline is as long as the client's keep-alive, or none;
// it writes under a lock that whoever publishes to the client waits for; and it goes
// on to the next message after a failure. One deaf client so held up every light.
type impatient struct{ net.Conn }

func (c impatient) Write(b []byte) (int, error) {
	err := c.SetWriteDeadline(time.Now().Add(takeTimeout))
	n := 0
	if err == nil {
		n, err = c.Conn.Write(b)
	}
	if err != nil {
		_ = c.Close()
	}
	return n, err
}

// Close hangs up.
func (c impatient) Close() error { return hangUp(c.Conn) }

// hangUp closes a connection at once. A polite end of TLS waits up to five seconds for a
// deaf client to take it, each time that it is tried.
func hangUp(conn net.Conn) error {
	if over, ok := conn.(*tls.Conn); ok {
		return over.NetConn().Close()
	}
	return conn.Close()
}
