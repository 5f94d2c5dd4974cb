package mqtt

import (
	"bytes"
	"crypto/tls"
	"errors"
	"fmt"

	"potlifed/daemon/config"
)

// errStranger is said to who answers on the built-in broker's port and is not it.
var errStranger = errors.New("not the certificate of the built-in broker")

// BrokerCertificate reads the built-in broker's certificate and key, nil where none is
// configured.
func BrokerCertificate(b config.Broker) (*tls.Certificate, error) {
	if b.CertFile == "" {
		return nil, nil
	}
	pair, err := tls.LoadX509KeyPair(b.CertFile, b.KeyFile)
	if err != nil {
		return nil, fmt.Errorf("mqtt: built-in broker: cert_file, key_file: %w", err)
	}
	return &pair, nil
}

// trustsOnly is for the daemon's own clients, who come to the broker by loopback, a name
// that its certificate need not have: they know the very certificate. Whoever shows it
// must have its key, as in any handshake.
func trustsOnly(certificate []byte) *tls.Config {
	return &tls.Config{
		MinVersion:         tls.VersionTLS12,
		InsecureSkipVerify: true, // VerifyConnection is stricter
		VerifyConnection: func(s tls.ConnectionState) error {
			if len(s.PeerCertificates) == 0 || !bytes.Equal(s.PeerCertificates[0].Raw, certificate) {
				return errStranger
			}
			return nil
		},
	}
}
