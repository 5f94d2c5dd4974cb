package simulate

import (
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
	if p.reader == nil {
		return nil
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
