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
	"potlifed/daemon/web"
)

// certificatesEvery is how often the files of certificates are looked at.
const certificatesEvery = time.Hour

// certificates knows which certificate of the configuration ends first.
type certificates struct {
	shop  config.Shop
	first atomic.Pointer[bench.CertificateEnd]
}

// certificateFile is a file with certificates.
type certificateFile struct {
	key, path string
	// authorities: the file is a bundle of which one is enough, so it lasts as long as its last one. An old
	// authority is kept in it while its successor is already in use. A chain lasts as long as its first to end.
	authorities bool
}

func newCertificates(shop config.Shop) *certificates {
	c := &certificates{shop: shop}
	c.look()
	return c
}

// certificateFiles returns the files with certificates. Those of the pages are named by a file that may change.
func certificateFiles(shop config.Shop) []certificateFile {
	page, clients := web.TLSFiles(shop.HTTP.WebConfigFile)
	return []certificateFile{
		{"mqtt.ca_file", shop.MQTT.CAFile, true}, {"mqtt.cert_file", shop.MQTT.CertFile, false}, {"broker.cert_file", shop.Broker.CertFile, false},
		{"plant.ca_file", shop.Plant.CAFile, true}, {"plant.cert_file", shop.Plant.CertFile, false},
		{"http.web_config_file", page, false}, {"http.web_config_file", clients, true},
	}
}

// CertificateEnds returns when each certificate file of a configuration is of no use any more, in the order of the
// configuration's sections. A file that cannot be read, or has no certificate, is left out.
func CertificateEnds(shop config.Shop) (ends []bench.CertificateEnd) {
	for _, file := range certificateFiles(shop) {
		if end := file.end(); !end.IsZero() {
			ends = append(ends, bench.CertificateEnd{Key: file.key, File: file.path, At: end})
		}
	}
	return ends
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
	for _, end := range CertificateEnds(c.shop) {
		if first.At.IsZero() || end.At.Before(first.At) {
			first = end
		}
	}
	c.first.Store(&first)
}

// end returns when the file's certificates are of no use any more; zero where it has none.
func (f certificateFile) end() (end time.Time) {
	text, err := os.ReadFile(f.path)
	if err != nil {
		return end
	}
	for block, rest := pem.Decode(text); block != nil; block, rest = pem.Decode(rest) {
		cert, err := x509.ParseCertificate(block.Bytes)
		if err == nil && (end.IsZero() || cert.NotAfter.After(end) == f.authorities) {
			end = cert.NotAfter
		}
	}
	return end
}

// next returns the certificate that ends first; its time is zero where there is none.
func (c *certificates) next() bench.CertificateEnd {
	if first := c.first.Load(); first != nil {
		return *first
	}
	return bench.CertificateEnd{}
}
