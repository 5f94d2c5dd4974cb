package daemon

import (
	"os"
	"testing"
	"time"

	"potlifed/daemon/bench"
	"potlifed/daemon/config"
	"potlifed/daemon/mqtt/mqtttest"
)

// The certificate that ends first is known, and known anew after it was renewed.
func TestCertificateThatEndsFirst(t *testing.T) {
	if got := newCertificates(config.Shop{}).next(); got != (bench.CertificateEnd{}) {
		t.Errorf("without certificates: %+v", got)
	}
	cert, _ := mqtttest.SelfSigned(t, t.TempDir()) // for an hour
	var shop config.Shop
	shop.MQTT.CAFile, shop.Broker.CertFile = cert+".missing", cert
	c := newCertificates(shop)
	got := c.next()
	if left := time.Until(got.At); got.Key != "broker.cert_file" || got.File != cert || left < 50*time.Minute || left > time.Hour {
		t.Errorf("%+v, want the broker's, which ends in an hour", got)
	}
	if err := os.Remove(cert); err != nil {
		t.Fatal(err)
	}
	if c.look(); !c.next().At.IsZero() {
		t.Errorf("%+v after the file was removed", c.next())
	}
}
