package broker

import (
	"bytes"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"sync"

	"potlifed/daemon/config"
)

// errWrongCertificate means that the server on the broker's port presented another
// certificate than the broker's.
var errWrongCertificate = errors.New("not the certificate of the built-in broker")

// LoadCertificate returns the broker's certificate with its key, nil where the configuration
// names none. The error names the files that cannot be read.
func LoadCertificate(b config.Broker) (*tls.Certificate, error) {
	if b.CertFile == "" {
		return nil, nil
	}
	pair, err := tls.LoadX509KeyPair(b.CertFile, b.KeyFile)
	if err != nil {
		return nil, fmt.Errorf("built-in broker: cert_file, key_file: %w", err)
	}
	return &pair, nil
}

// certificate is the broker's certificate, which is read again at each handshake. Its methods may be
// called from any goroutine.
type certificate struct {
	read func() (*tls.Certificate, error) // nil for one that stays
	log  *slog.Logger

	mu     sync.Mutex
	newest *tls.Certificate
	failed string // why the files could not be read last
}

// get reads the certificate. While its files cannot be read, the last one stays; that is logged once.
func (c *certificate) get(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.read == nil {
		return c.newest, nil
	}
	pair, err := c.read()
	switch {
	case err == nil && pair != nil:
		if !bytes.Equal(pair.Certificate[0], c.newest.Certificate[0]) {
			c.log.Info("the built-in broker uses another certificate from now on")
		}
		c.newest, c.failed = pair, ""
	case err != nil && err.Error() != c.failed:
		c.failed = err.Error()
		c.log.Warn("the certificate was not read again; the last one stays in use", "err", err)
	}
	return c.newest, nil
}

// der returns the certificate that was used last.
func (c *certificate) der() []byte {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.newest.Certificate[0]
}

// trustOnly returns a client's configuration that accepts the certificate (in DER) that is in use
// and no other. The daemon's own clients connect by loopback, a name that the certificate need not
// have. The server must own the certificate's key, as in any handshake.
func trustOnly(certificate func() []byte) *tls.Config {
	return &tls.Config{
		MinVersion:         tls.VersionTLS12,
		InsecureSkipVerify: true, // VerifyConnection is stricter
		VerifyConnection: func(s tls.ConnectionState) error {
			if len(s.PeerCertificates) == 0 || !bytes.Equal(s.PeerCertificates[0].Raw, certificate()) {
				return errWrongCertificate
			}
			return nil
		},
	}
}
