package broker

import (
	"crypto/tls"
	"log/slog"
	"net"
	"sync"
	"time"

	"github.com/mochi-mqtt/server/v2/listeners"

	"potlifed/daemon/quota"
)

const (
	// handshakeTimeout is the time a connection has to send its CONNECT.
	handshakeTimeout = 10 * time.Second
	// writeTimeout is how long a client may fail to take a write before it is disconnected.
	writeTimeout = 2 * time.Second
	// maxConnections bounds the connections, including those that have sent no CONNECT yet.
	maxConnections = maxClients + 64
	// maxOfOne bounds the connections from one address. Many lamps may be behind one gateway.
	maxOfOne = 64
	// maxMute and maxMuteOfOne bound the connections that have sent no CONNECT yet.
	maxMute, maxMuteOfOne = 64, 8
	// acceptPause keeps a lasting failure to accept connections from becoming a busy loop.
	acceptPause = time.Second
)

// listener accepts the broker's connections. The library's own listeners know a connection
// only once it has sent its CONNECT, so that one that never does stays for ever and delays a
// stop; and they let a connection begin while a stop already waits for the last to end. Here
// every connection has a deadline until the library sets one, and Close returns when all
// connections have ended.
type listener struct {
	listener net.Listener
	log      *slog.Logger
	ready    chan struct{}  // closed when the library is ready
	serving  sync.WaitGroup // one for each connection
	closing  chan struct{}
	// disconnect ends the sessions of all clients that came in here. It replaces the
	// function that the library passes to Close, which takes a read lock twice: a client
	// that leaves between the two waits for the lock, and the stop waits for ever.
	disconnect func()

	all, mute *quota.Quota

	mu     sync.Mutex
	conns  map[net.Conn]struct{}
	closed bool
}

func newListener(l net.Listener, log *slog.Logger) *listener {
	return &listener{listener: l, log: log, disconnect: func() {}, ready: make(chan struct{}), all: quota.New(maxConnections, maxOfOne), mute: quota.New(maxMute, maxMuteOfOne), closing: make(chan struct{}), conns: map[net.Conn]struct{}{}}
}

var _ listeners.Listener = (*listener)(nil)

// Init does nothing: the socket is open already.
func (l *listener) Init(*slog.Logger) error { return nil }

// ID returns the name of the listener in the library.
func (l *listener) ID() string { return "listener" }

// Address returns HOST:PORT.
func (l *listener) Address() string { return l.listener.Addr().String() }

// Protocol returns the name of the network.
func (l *listener) Protocol() string { return l.listener.Addr().Network() }

// Serve accepts connections until Close.
func (l *listener) Serve(establish listeners.EstablishFn) {
	select {
	case <-l.ready:
	case <-l.closing:
		return
	}
	for {
		conn, err := l.listener.Accept()
		if err != nil {
			if !l.pause(err) {
				return
			}
			continue
		}
		give, within := l.all.Take(conn.RemoteAddr().String())
		heard, mute := l.mute.Take(conn.RemoteAddr().String())
		if !within || !mute {
			end(give, heard)
			_ = closeNow(conn)
			continue
		}
		if accepted, closed := l.register(conn); !accepted {
			end(give, heard)
			_ = closeNow(conn)
			if closed {
				return
			}
			continue
		}
		go func() {
			defer l.serving.Done()
			err := establish(l.ID(), deadlineConn{conn, heard})
			_ = closeNow(conn) // the library may have left it open
			end(give, heard)
			l.mu.Lock()
			delete(l.conns, conn)
			l.mu.Unlock()
			l.log.Debug("built-in broker: connection ended", "remote", conn.RemoteAddr(), "err", err)
		}()
	}
}

// end gives back parts of quotas; those that are nil were not taken.
func end(parts ...func()) {
	for _, give := range parts {
		if give != nil {
			give()
		}
	}
}

// register adds a connection, unless there are too many or the listener is closed.
func (l *listener) register(conn net.Conn) (accepted, closed bool) {
	_ = conn.SetDeadline(time.Now().Add(handshakeTimeout)) // a dead socket fails when it is read
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.closed {
		return false, true
	}
	l.conns[conn] = struct{}{}
	l.serving.Add(1)
	return true, false
}

// pause waits a little after a failure to accept a connection, such as too many open files,
// and reports whether to go on.
func (l *listener) pause(err error) bool {
	select {
	case <-l.closing:
		return false
	default:
	}
	l.log.Warn("built-in broker: connection not accepted", "err", err)
	timer := time.NewTimer(acceptPause)
	defer timer.Stop()
	select {
	case <-l.closing:
		return false
	case <-timer.C:
		return true
	}
}

// Close disconnects every client and returns when all connections have ended.
func (l *listener) Close(listeners.CloseFn) {
	l.mu.Lock()
	if l.closed {
		l.mu.Unlock()
		return
	}
	l.closed = true
	close(l.closing)
	conns := make([]net.Conn, 0, len(l.conns))
	for conn := range l.conns {
		conns = append(conns, conn)
	}
	l.mu.Unlock()
	_ = l.listener.Close()
	l.disconnect()
	for _, conn := range conns {
		_ = closeNow(conn)
	}
	l.serving.Wait()
}

// deadlineConn is a connection that is closed when the other side does not take a write in
// time. The library's own deadline is as long as the client's keep-alive, or none; it writes
// under a lock that everybody who publishes to the client waits for; and it goes on to the
// next message after a failure. One client that reads nothing would delay every light.
type deadlineConn struct {
	net.Conn
	heard func() // called at each write: the first one answers the client's CONNECT
}

func (c deadlineConn) Write(b []byte) (int, error) {
	err := c.SetWriteDeadline(time.Now().Add(writeTimeout))
	c.heard()
	n := 0
	if err == nil {
		n, err = c.Conn.Write(b)
	}
	if err != nil {
		_ = c.Close()
	}
	return n, err
}

// Close closes the connection at once.
func (c deadlineConn) Close() error { return closeNow(c.Conn) }

// closeNow closes a connection without TLS's closing message, for which Close would wait up
// to five seconds for a client that reads nothing, each time that it is called.
func closeNow(conn net.Conn) error {
	if over, ok := conn.(*tls.Conn); ok {
		return over.NetConn().Close()
	}
	return conn.Close()
}
