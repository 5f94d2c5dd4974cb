package broker

import (
	"bytes"
	"crypto/tls"
	"errors"
	"fmt"

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

// trustOnly returns a client's configuration that accepts one certificate (in DER) and no
// other. The daemon's own clients connect by loopback, a name that the certificate need not
// have. The server must own the certificate's key, as in any handshake.
func trustOnly(certificate []byte) *tls.Config {
	return &tls.Config{
		MinVersion:         tls.VersionTLS12,
		InsecureSkipVerify: true, // VerifyConnection is stricter
		VerifyConnection: func(s tls.ConnectionState) error {
			if len(s.PeerCertificates) == 0 || !bytes.Equal(s.PeerCertificates[0].Raw, certificate) {
				return errWrongCertificate
			}
			return nil
		},
	}
}
