package daemon

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"potlifed/daemon/bench"
	"potlifed/daemon/config"
	"potlifed/daemon/mqtt/mqtttest"
)

// The certificate that ends first is known, and known again after it was renewed.
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

// The pages' own certificate counts too, and a bundle of authorities lasts as long as its last one.
func TestCertificatesOfPagesAndBundles(t *testing.T) {
	dir := t.TempDir()
	old, _ := mqtttest.SelfSigned(t, t.TempDir()) // for an hour
	fresh := mqtttest.Lasting(t, t.TempDir(), 365*24*time.Hour)
	bundle := filepath.Join(dir, "bundle.pem")
	join := func(files ...string) {
		var text []byte
		for _, file := range files {
			b, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			text = append(text, b...)
		}
		if err := os.WriteFile(bundle, text, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for _, order := range [][]string{{old, fresh}, {fresh, old}} {
		join(order...)
		var shop config.Shop
		shop.MQTT.CAFile = bundle
		if got := newCertificates(shop).next(); time.Until(got.At) < 300*24*time.Hour {
			t.Errorf("a bundle with a valid authority ends at %v", got.At)
		}
		shop.MQTT.CertFile = bundle // a chain
		if got := newCertificates(shop).next(); got.Key != "mqtt.cert_file" || time.Until(got.At) > time.Hour {
			t.Errorf("a chain with an old certificate: %+v", got)
		}
	}
	var shop config.Shop
	shop.HTTP.WebConfigFile = filepath.Join(dir, "web.yml")
	c := newCertificates(shop)
	if err := os.WriteFile(shop.HTTP.WebConfigFile, []byte("tls_server_config: {cert_file: bundle.pem, key_file: key.pem}\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if c.look(); c.next().Key != "http.web_config_file" || c.next().File != bundle || time.Until(c.next().At) > time.Hour {
		t.Errorf("the pages' certificate: %+v", c.next())
	}
	join(fresh)
	if c.look(); time.Until(c.next().At) < 300*24*time.Hour {
		t.Errorf("after it was renewed: %+v", c.next())
	}
}
