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
		if n := open(); n != maxMute {
			t.Errorf("%d connections are open that have sent no CONNECT, want %d", n, maxMute)
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

// from is a connection from an address.
type from struct {
	net.Conn
	address string
}

func (c from) RemoteAddr() net.Addr {
	a, _ := net.ResolveTCPAddr("tcp", c.address)
	return a
}

// One address that opens connections and says nothing does not keep others out, and a client that
// was answered takes no place of those.
func TestMuteConnectionsOfOneAddress(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		in := newPipes()
		l := newListener(in, quietLog())
		close(l.ready)
		served := make(chan struct{})
		go func() {
			defer close(served)
			l.Serve(func(_ string, c net.Conn) error { // as the library: a CONNECT is answered
				for {
					if _, err := c.Read(make([]byte, 1)); err != nil {
						return err
					}
					if _, err := c.Write([]byte{0}); err != nil {
						return err
					}
				}
			})
		}()
		connect := func(address string) net.Conn {
			here, there := net.Pipe()
			t.Cleanup(func() { _ = there.Close() })
			in.conns <- from{here, address}
			synctest.Wait()
			return there
		}
		for range 320 {
			connect("192.0.2.1:1000")
		}
		if n := l.mute.Len(); n != maxMuteOfOne {
			t.Errorf("%d mute connections of one address, want %d", n, maxMuteOfOne)
		}
		for range 92 { // the lamps of a shop, one after another
			lamp := connect("192.0.2.2:1000")
			if _, err := lamp.Write([]byte{0}); err != nil {
				break // beyond maxOfOne
			}
			if _, err := lamp.Read(make([]byte, 1)); err != nil {
				t.Fatalf("an honest client is shut out: %v", err)
			}
		}
		if n := l.all.Len(); n != maxMuteOfOne+maxOfOne {
			t.Errorf("%d connections are open, want %d mute ones and %d of the gateway", n, maxMuteOfOne, maxOfOne)
		}
		l.Close(nil)
		<-served
		if l.all.Len() != 0 || l.mute.Len() != 0 {
			t.Errorf("%d and %d connections count after the end", l.all.Len(), l.mute.Len())
		}
	})
}
