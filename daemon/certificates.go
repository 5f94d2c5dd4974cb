package daemon

import (
	"context"
	"crypto/x509"
	"encoding/pem"
	"os"
	"sync/atomic"
	"time"

	"potlifed/daemon/bench"
	"potlifed/daemon/config"
)

// certificatesEvery is how often the files of certificates are looked at.
const certificatesEvery = time.Hour

// certificates knows which certificate of the configuration ends first. The pages' own, in the web
// configuration file, is not among them.
type certificates struct {
	files [][2]string // key of the configuration, path
	first atomic.Pointer[bench.CertificateEnd]
}

func newCertificates(shop config.Shop) *certificates {
	c := &certificates{}
	for _, file := range [][2]string{
		{"mqtt.ca_file", shop.MQTT.CAFile}, {"mqtt.cert_file", shop.MQTT.CertFile}, {"broker.cert_file", shop.Broker.CertFile},
		{"plant.ca_file", shop.Plant.CAFile}, {"plant.cert_file", shop.Plant.CertFile},
	} {
		if file[1] != "" {
			c.files = append(c.files, file)
		}
	}
	c.look()
	return c
}

// run looks at the files each hour until ctx is done.
func (c *certificates) run(ctx context.Context) error {
	tick := time.NewTicker(certificatesEvery)
	defer tick.Stop()
	for {
		select {
		case <-tick.C:
			c.look()
		case <-ctx.Done():
			return nil
		}
	}
}

// look reads the files. One that cannot be read is left out: the start and each connection say so.
func (c *certificates) look() {
	first := bench.CertificateEnd{}
	for _, file := range c.files {
		text, err := os.ReadFile(file[1])
		if err != nil {
			continue
		}
		for block, rest := pem.Decode(text); block != nil; block, rest = pem.Decode(rest) {
			cert, err := x509.ParseCertificate(block.Bytes)
			if err == nil && (first.At.IsZero() || cert.NotAfter.Before(first.At)) {
				first = bench.CertificateEnd{Key: file[0], File: file[1], At: cert.NotAfter}
			}
		}
	}
	c.first.Store(&first)
}

// next returns the certificate that ends first; its time is zero where there is none.
func (c *certificates) next() bench.CertificateEnd {
	if first := c.first.Load(); first != nil {
		return *first
	}
	return bench.CertificateEnd{}
}
