package config

import (
	"net"
	"testing"
)

func TestBrokerServes(t *testing.T) {
	own := []net.IP{net.ParseIP("192.168.1.7"), net.ParseIP("fd00::7")}
	for _, c := range []struct {
		listen  string
		tls     bool
		address string
		want    bool
	}{
		{"127.0.0.1:1883", false, "mqtt://127.0.0.1:1883", true},
		{"127.0.0.1:1883", false, "mqtt://localhost:1883", true},
		{"127.0.0.1:1883", false, "mqtt://LOCALHOST", true}, // 1883 is the usual port
		{"127.0.0.1:1883", false, "mqtt://127.0.0.1", true},
		{"localhost:1883", false, "mqtt://127.0.0.1", true},
		{"localhost:1883", false, "mqtt://localhost", true},
		{"[::1]:1883", false, "mqtt://[::1]:1883", true},
		{"[::1]:1883", false, "mqtt://localhost:1883", true},
		{"[::1]:1883", false, "mqtt://127.0.0.1:1883", false},
		{"127.0.0.1:1883", false, "mqtt://[::1]:1883", false},
		{"127.0.0.1:1883", false, "mqtt://127.0.0.1:1884", false},
		{"127.0.0.1:1884", false, "mqtt://127.0.0.1", false},
		{"127.0.0.1:1883", false, "mqtt://192.168.1.7:1883", false},
		{"127.0.0.1:1883", false, "mqtts://127.0.0.1:1883", false},
		{"127.0.0.1:8883", true, "mqtts://127.0.0.1", true}, // 8883 is the usual port
		{"127.0.0.1:8883", true, "mqtts://localhost:8883", true},
		{"127.0.0.1:8883", true, "mqtt://127.0.0.1:8883", false},
		{"127.0.0.1:1883", true, "mqtts://127.0.0.1", false},
		{"0.0.0.0:1883", false, "mqtt://127.0.0.1", true},
		{"0.0.0.0:1883", false, "mqtt://localhost", true},
		{"0.0.0.0:1883", false, "mqtt://192.168.1.7", true},
		{"0.0.0.0:1883", false, "mqtt://192.168.1.8", false},
		{":1883", false, "mqtt://192.168.1.7", true},
		{"[::]:1883", false, "mqtt://[fd00::7]:1883", true},
		{"192.168.1.7:1883", false, "mqtt://192.168.1.7", true},
		{"192.168.1.7:1883", false, "mqtt://127.0.0.1", false},
		{"192.168.1.7:1883", false, "mqtt://localhost", false},
		{"bench-1.local:1883", false, "mqtt://Bench-1.local", true},
		{"bench-1.local:1883", false, "mqtt://broker.local", false},
		{"0.0.0.0:1883", false, "mqtt://broker.local", false},
		{"", false, "mqtt://127.0.0.1:1883", false},
		{"127.0.0.1:1883", false, "", false},
		{"127.0.0.1:1883", false, "://", false},
	} {
		b := Broker{Listen: c.listen}
		if c.tls {
			b.CertFile, b.KeyFile = "/cert", "/key"
		}
		if got := b.Serves(c.address, own); got != c.want {
			t.Errorf("broker on %q, TLS %v, serves %q: %v, want %v", c.listen, c.tls, c.address, got, c.want)
		}
	}
}

func TestBrokerOtherScheme(t *testing.T) {
	plain := Broker{Listen: "127.0.0.1:1883"}
	secure := Broker{Listen: "127.0.0.1:8883", CertFile: "/cert", KeyFile: "/key"}
	for address, want := range map[string]string{
		"mqtts://127.0.0.1:1883": "mqtt", "mqtts://localhost:1883": "mqtt", "mqtt://127.0.0.1:1883": "", "mqtts://127.0.0.1": "", "mqtts://broker.local:1883": "",
	} {
		if got := plain.OtherScheme(address, nil); got != want {
			t.Errorf("without TLS, %s: %q, want %q", address, got, want)
		}
	}
	for address, want := range map[string]string{"mqtt://localhost:8883": "mqtts", "mqtts://localhost:8883": "", "mqtt://localhost": ""} {
		if got := secure.OtherScheme(address, nil); got != want {
			t.Errorf("with TLS, %s: %q, want %q", address, got, want)
		}
	}
}
