package simulate

import (
	"bytes"
	"errors"
	"net"
	"time"
)

// tcpPort is a loopback listener for one reader at a time, as serial-to-network adapters are. A
// newer reader replaces the older one.
type tcpPort struct {
	address  string
	listener *net.TCPListener
	reader   net.Conn
	requests requests
}

func newTCPPort() (*tcpPort, error) {
	p := &tcpPort{address: "127.0.0.1:0"}
	if err := p.replug(); err != nil {
		return nil, err
	}
	p.address = p.listener.Addr().String()
	return p, nil
}

func (p *tcpPort) path() string { return "tcp://" + p.address }

func (p *tcpPort) write(b []byte) error {
	if err := p.accept(); err != nil || p.reader == nil {
		return err
	}
	err := p.reader.SetWriteDeadline(time.Now().Add(50 * time.Millisecond))
	if err == nil {
		_, err = p.reader.Write(b)
	}
	if err != nil {
		// The reader has closed or does not read, which is not a fault of this side.
		p.reader.Close()
		p.reader = nil
	}
	return nil
}

func (p *tcpPort) requested(request string) (times int, err error) {
	if err := p.accept(); err != nil || p.reader == nil {
		return 0, err
	}
	if err := p.reader.SetReadDeadline(time.Now().Add(time.Millisecond)); err != nil {
		return 0, nil // it has closed, which the next write notices
	}
	buf := make([]byte, 4096)
	n, _ := p.reader.Read(buf)
	return p.requests.count(buf[:n], request), nil
}

// accept takes a reader that has come.
func (p *tcpPort) accept() error {
	// New readers are accepted here and not in a goroutine: a reader that comes between two
	// lines waits for the next one anyway.
	if err := p.listener.SetDeadline(time.Now().Add(time.Millisecond)); err != nil {
		return err
	}
	if conn, err := p.listener.Accept(); err == nil {
		if p.reader != nil {
			p.reader.Close()
		}
		p.reader = conn
	}
	return nil
}

func (p *tcpPort) unplug() error {
	err := p.listener.Close()
	if p.reader != nil {
		err = errors.Join(err, p.reader.Close())
		p.reader = nil
	}
	return err
}

func (p *tcpPort) replug() error {
	l, err := net.Listen("tcp", p.address)
	if err != nil {
		return err
	}
	p.listener = l.(*net.TCPListener)
	return nil
}

// requests counts requests in what a reader sends.
type requests struct{ rest []byte }

func (r *requests) count(p []byte, request string) int {
	r.rest = append(r.rest, p...)
	times := bytes.Count(r.rest, []byte(request))
	// What may be the beginning of another one stays.
	if i := bytes.LastIndex(r.rest, []byte(request)); i >= 0 {
		r.rest = r.rest[i+len(request):]
	}
	r.rest = r.rest[max(0, len(r.rest)-len(request)):]
	return times
}
