package config

import (
	"net"
	"net/url"
	"slices"
	"strings"
)

// ListensOn reports whether a broker that listens on HOST:PORT, with TLS if secure, is the
// one that address names: mqtt://HOST:PORT or mqtts://HOST:PORT. A port that is left out is
// the usual one of the scheme. own are the addresses of this computer's network interfaces;
// they matter when the broker listens on all of them.
func ListensOn(listen string, secure bool, address string, own []net.IP) bool {
	u, err := url.Parse(address)
	return err == nil && u.Scheme == schemeOf(secure) && samePlace(listen, u, own)
}

func schemeOf(secure bool) string {
	if secure {
		return "mqtts"
	}
	return "mqtt"
}

// Serves reports whether address is that of b, as [ListensOn] does. A broker that is not
// configured serves no address.
func (b Broker) Serves(address string, own []net.IP) bool {
	return ListensOn(b.Listen, b.CertFile != "", address, own)
}

// OtherScheme returns the scheme that address should have, when it names the host and port of b
// with the wrong one: "mqtts" where address has mqtt:// and b has a certificate, "mqtt" in the
// reverse case. It returns "" for every other address. own is that of [ListensOn].
func (b Broker) OtherScheme(address string, own []net.IP) string {
	u, err := url.Parse(address)
	speaks := schemeOf(b.CertFile != "")
	if err != nil || u.Scheme == speaks || !samePlace(b.Listen, u, own) {
		return ""
	}
	return speaks
}

// samePlace compares host and port alone.
func samePlace(listen string, u *url.URL, own []net.IP) bool {
	host, port, err := net.SplitHostPort(listen)
	if err != nil {
		return false
	}
	there, err := url.Parse(withPort(u.String()))
	if err != nil || there.Port() != port {
		return false
	}
	named := there.Hostname()
	ip := net.ParseIP(named)
	listens := net.ParseIP(host)
	all := host == "" || listens != nil && listens.IsUnspecified()
	loopback := isLocalhost(host) || listens != nil && listens.IsLoopback()
	switch {
	case isLocalhost(named):
		return all || loopback
	case ip == nil:
		return strings.EqualFold(named, host)
	case ip.IsLoopback():
		return all || isLocalhost(host) || listens.Equal(ip)
	}
	return listens.Equal(ip) || all && slices.ContainsFunc(own, ip.Equal)
}

func isLocalhost(host string) bool { return strings.EqualFold(host, "localhost") }
