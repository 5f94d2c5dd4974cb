package config

import (
	"net"
	"net/url"
	"regexp"
	"strconv"
	"strings"
)

var hostShape = regexp.MustCompile(`^[A-Za-z0-9]([A-Za-z0-9-]{0,61}[A-Za-z0-9])?(\.[A-Za-z0-9]([A-Za-z0-9-]{0,61}[A-Za-z0-9])?)*\.?$`)

// hostRule is a host name or an IP address, without port.
var hostRule = textRule{"a host name or IP address without port", func(text string) string {
	if isHost(text) {
		return ""
	}
	return "a host name or IP address without port, such as bench-1.local"
}}

func isHost(text string) bool {
	return len(text) <= 253 && (hostShape.MatchString(text) || net.ParseIP(text) != nil)
}

// listenRule is an address to listen on. Port 0 is a free one, chosen at the start;
// no host is every address of the machine.
func listenRule(example string) textRule {
	want := "HOST:PORT, such as " + example
	return textRule{want, func(text string) string {
		host, port, err := net.SplitHostPort(text)
		if err != nil || host != "" && !isHost(host) || !isPort(port, 0) {
			return want
		}
		return ""
	}}
}

// isPort says that text is a port number of at least lowest, written plainly.
func isPort(text string, lowest int) bool {
	n, err := strconv.Atoi(text)
	return err == nil && strconv.Itoa(n) == text && lowest <= n && n <= 65535
}

func isHostPort(text string) bool {
	host, port, err := net.SplitHostPort(text)
	return err == nil && isHost(host) && isPort(port, 1)
}

var brokerURLRule = textRule{"mqtt://HOST:PORT or mqtts://HOST:PORT", func(text string) string {
	u, err := url.Parse(text)
	switch {
	case err != nil || u.Scheme != "mqtt" && u.Scheme != "mqtts" || !isHost(u.Hostname()) ||
		u.Port() != "" && !isPort(u.Port(), 1) || strings.HasSuffix(u.Host, ":"):
		return "mqtt://HOST:PORT or mqtts://HOST:PORT, such as mqtt://127.0.0.1:1883"
	case u.User != nil:
		return "the address without user and password; they go into username and password_file"
	case u.Path != "" && u.Path != "/" || u.RawQuery != "" || u.Fragment != "":
		return "nothing behind the port; the topics begin with topic_prefix"
	}
	return ""
}}

// withPort writes a checked broker address as scheme://host:port, with the port that
// belongs to the scheme when none is given.
func withPort(address string) string {
	u, err := url.Parse(address)
	if address == "" || err != nil {
		return address
	}
	port := u.Port()
	if port == "" {
		port = map[string]string{"mqtt": "1883", "mqtts": "8883"}[u.Scheme]
	}
	return u.Scheme + "://" + net.JoinHostPort(u.Hostname(), port)
}

func isTLS(address string) bool   { return strings.HasPrefix(address, "mqtts://") }
func isPlain(address string) bool { return !isTLS(address) }

var publicURLRule = textRule{`http://… or https://…, or ""`, func(text string) string {
	if text == "" {
		return ""
	}
	u, err := url.Parse(text)
	if err != nil || u.Scheme != "http" && u.Scheme != "https" || !isHost(u.Hostname()) ||
		u.User != nil || u.RawQuery != "" || u.Fragment != "" {
		return "http://HOST or https://HOST with at most a port and a path"
	}
	return ""
}}

// safetySheetRule takes what a page may lead to: an address of the web, or a path on the address of
// the pages themselves.
var safetySheetRule = textRule{`http://… or https://…, or a path such as /sheets/ink.pdf on the address of the pages, or ""`, func(text string) string {
	const want = "http://HOST/… or https://HOST/…, or a path that begins with one slash"
	u, err := url.Parse(text)
	switch {
	case text == "":
		return ""
	case err != nil || u.User != nil || strings.ContainsFunc(text, func(r rune) bool { return r <= ' ' || r == '\\' }):
		return want
	case u.Scheme == "http" || u.Scheme == "https":
		if !isHost(u.Hostname()) {
			return want
		}
	case u.Scheme != "" || u.Host != "" || !strings.HasPrefix(text, "/") || strings.HasPrefix(text, "//"):
		return want
	}
	return ""
}}
