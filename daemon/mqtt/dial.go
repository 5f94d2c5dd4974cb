package mqtt

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"net/url"
	"sync"
	"time"
)

// leastDialTime is what each of several addresses gets of an attempt's time at least.
const leastDialTime = 2 * time.Second

// place is one address to dial.
type place struct {
	url  *url.URL
	addr string // IP:PORT
}

// addresses are those of a broker, or of the nodes of a cluster. Each attempt begins after the
// address that the previous one reached: a node that accepts connections and says nothing, and one
// that has just failed, must not be tried again while others wait.
type addresses struct {
	urls   []string
	tls    func() (*tls.Config, error)
	lookup func(ctx context.Context, host string) ([]string, error)

	mu    sync.Mutex
	last  string // the addr that was reached last
	count int    // addresses at the last attempt
}

// several reports whether there is another address than the one that was reached.
func (a *addresses) several() bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.count > 1
}

func newAddresses(s Settings) *addresses {
	read := s.ReadTLS
	if read == nil {
		read = func() (*tls.Config, error) { return s.TLS.Clone(), nil }
	}
	return &addresses{urls: s.URLs, tls: read, lookup: net.DefaultResolver.LookupHost}
}

// parseAddress reads mqtt://HOST:PORT or mqtts://HOST:PORT.
func parseAddress(text string) (*url.URL, error) {
	u, err := url.Parse(text)
	if err != nil || u.Host == "" || u.Port() == "" {
		return nil, fmt.Errorf("address %q: want mqtt://HOST:PORT", text)
	}
	return u, nil
}

// resolve returns every address, in the order of the configuration and of the name's answer. The
// error joins what was wrong with those that are left out.
func (a *addresses) resolve(ctx context.Context) ([]place, error) {
	var all []place
	var errs []error
	for _, text := range a.urls {
		u, err := parseAddress(text)
		if err != nil {
			errs = append(errs, err)
			continue
		}
		ips := []string{u.Hostname()}
		if net.ParseIP(u.Hostname()) == nil {
			if ips, err = a.lookup(ctx, u.Hostname()); err != nil {
				errs = append(errs, err)
				continue
			}
		}
		for _, ip := range ips {
			all = append(all, place{u, net.JoinHostPort(ip, u.Port())})
		}
	}
	return all, errors.Join(errs...)
}

// dial opens a socket to the first address that accepts one, beginning after the one that was
// reached last. It, and the handshakes after it, end with the context. The error joins the causes
// of all addresses.
func (a *addresses) dial(ctx context.Context) (net.Conn, error) {
	places, err := a.resolve(ctx)
	a.mu.Lock()
	a.count = len(places)
	first := 0
	for i, p := range places {
		if p.addr == a.last {
			first = i + 1
		}
	}
	a.mu.Unlock()
	errs := []error{err}
	for i := range places {
		p := places[(first+i)%len(places)]
		conn, err := a.dialOne(ctx, p, len(places)-i)
		if err == nil {
			a.mu.Lock()
			a.last = p.addr
			a.mu.Unlock()
			return &abortableConn{Conn: conn, release: context.AfterFunc(ctx, func() { _ = conn.Close() })}, nil
		}
		errs = append(errs, err)
		if ctx.Err() != nil {
			break
		}
	}
	return nil, joinedOrOne(errs)
}

// joinedOrOne returns the only error as it is, so that its cause can be told plainly.
func joinedOrOne(errs []error) error {
	var one error
	n := 0
	for _, err := range errs {
		if err != nil {
			one = err
			n++
		}
	}
	if n == 1 {
		return one
	}
	return errors.Join(errs...)
}

// dialOne dials one of the addresses that are left, with its share of the time that is left.
func (a *addresses) dialOne(ctx context.Context, p place, left int) (net.Conn, error) {
	if end, ok := ctx.Deadline(); ok {
		share, cancel := context.WithTimeout(ctx, max(time.Until(end)/time.Duration(left), leastDialTime))
		defer cancel()
		ctx = share
	}
	if p.url.Scheme != "mqtts" {
		var dialer net.Dialer
		return dialer.DialContext(ctx, "tcp", p.addr)
	}
	config, err := a.tls()
	if err != nil {
		return nil, err
	}
	if config == nil {
		config = &tls.Config{MinVersion: tls.VersionTLS12}
	}
	if config.ServerName == "" {
		config.ServerName = p.url.Hostname()
	}
	dialer := tls.Dialer{Config: config}
	return dialer.DialContext(ctx, "tcp", p.addr)
}

// reached returns the address of the last socket, empty where there was none.
func (a *addresses) reached() string {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.last
}

// abortableConn is a socket that a stop closes until the handshake is over: the library's
// handshake has no context. It is over when the library first removes a deadline.
type abortableConn struct {
	net.Conn
	release func() bool
}

func (c *abortableConn) SetDeadline(t time.Time) error {
	if t.IsZero() {
		c.release()
	}
	return c.Conn.SetDeadline(t)
}
