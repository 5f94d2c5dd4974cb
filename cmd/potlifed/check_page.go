package main

import (
	"fmt"
	"net"

	"potlifed/daemon/config"
	"potlifed/daemon/web"
)

// port looks whether an address is free to listen on.
func (l *checklist) port(what, address string) {
	listener, err := net.Listen("tcp", address)
	if err != nil {
		l.fault(what, "%v; end the program that uses it, a running potlifed included, or choose another port", err)
		return
	}
	if err := listener.Close(); err != nil {
		l.fault(what, "%v", err)
		return
	}
	l.good(what, "%s is free", address)
}

// pageHasTLS reports whether a web configuration file asks for TLS.
func pageHasTLS(file string) bool {
	certificate, _ := web.TLSFiles(file)
	return certificate != ""
}

// addresses prints where the page can be reached.
func (l *checklist) addresses(shop config.Shop) {
	host, port, err := net.SplitHostPort(shop.HTTP.Listen)
	if err != nil { // the configuration was checked
		return
	}
	scheme := "http"
	if pageHasTLS(shop.HTTP.WebConfigFile) {
		scheme = "https"
	}
	show := func(host string) { fmt.Fprintf(l.out, "page   %s://%s/\n", scheme, net.JoinHostPort(host, port)) }
	if ip := net.ParseIP(host); ip != nil && !ip.IsUnspecified() || ip == nil && host != "" {
		show(host)
		return
	}
	show("127.0.0.1")
	addresses, err := net.InterfaceAddrs()
	if err != nil {
		return
	}
	for _, a := range addresses {
		if n, ok := a.(*net.IPNet); ok && n.IP.IsGlobalUnicast() {
			show(n.IP.String())
		}
	}
}
