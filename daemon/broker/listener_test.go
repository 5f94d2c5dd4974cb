package broker

import (
	"net"
	"sync"
	"testing"
	"testing/synctest"
	"time"
)

// pipes is a listener whose connections a test makes.
type pipes struct {
	conns  chan net.Conn
	closed chan struct{}
	once   sync.Once
}

func newPipes() *pipes { return &pipes{conns: make(chan net.Conn), closed: make(chan struct{})} }

func (p *pipes) Accept() (net.Conn, error) {
	select {
	case c := <-p.conns:
		return c, nil
	case <-p.closed:
		return nil, net.ErrClosed
	}
}

func (p *pipes) Close() error {
	p.once.Do(func() { close(p.closed) })
	return nil
}

func (p *pipes) Addr() net.Addr { return &net.TCPAddr{} }

// Connections that send no CONNECT are a bounded number, and are closed after
// handshakeTimeout; then there is room for others.
func TestConnectionsAreBounded(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		in := newPipes()
		l := newListener(in, quietLog())
		close(l.ready)
		served := make(chan struct{})
		go func() {
			defer close(served)
			l.Serve(func(_ string, c net.Conn) error { // as the library reads a CONNECT
				_, err := c.Read(make([]byte, 1))
				return err
			})
		}()
		connect := func(n int) {
			for range n {
				here, there := net.Pipe()
				t.Cleanup(func() { _ = there.Close() })
				in.conns <- here
			}
			synctest.Wait()
		}
		open := func() int {
			l.mu.Lock()
			defer l.mu.Unlock()
			return len(l.conns)
		}
		connect(maxConnections + 50)
		if n := open(); n != maxConnections {
			t.Errorf("%d connections are open, want %d", n, maxConnections)
		}
		time.Sleep(handshakeTimeout)
		synctest.Wait()
		if n := open(); n != 0 {
			t.Errorf("%d connections are open after %v without a CONNECT", n, handshakeTimeout)
		}
		connect(1)
		if n := open(); n != 1 {
			t.Errorf("%d connections are open, want the new one", n)
		}
		l.Close(nil)
		<-served
	})
}
