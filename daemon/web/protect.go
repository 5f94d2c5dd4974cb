package web

import (
	"context"
	"net"
	"net/http"
	"net/netip"
	"strings"

	"potlifed/daemon/web/page"
)

// protect handles every request first: it sets the security headers, bounds the time in
// which a body may arrive, and decides who may ask and who may change.
func (s *Server) protect(next http.Handler) http.Handler {
	protection := http.NewCrossOriginProtection()
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", page.ContentPolicy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("X-Frame-Options", "DENY")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(), geolocation=(), microphone=()")

		s.boundBody(w, r)

		// A page of another site can give its own name this machine's address, and would
		// then count as being of the same origin. Its name gives it away.
		if !s.answersTo(r) {
			s.refuse(w, problem(http.StatusMisdirectedRequest, "",
				"this is not a name that the bench answers to; use its address, or add the name to http.hosts").Saying("other-address"))
			return
		}
		if !isSafe(r.Method) {
			if err := protection.Check(r); err != nil {
				s.refuse(w, problem(http.StatusForbidden, "", "a change may not be sent by another site's page"))
				return
			}
		}
		if isSafe(r.Method) && r.URL.Path != sessionsPath { // which marks one's own
			next.ServeHTTP(w, r)
			return
		}
		v := s.visit(r)
		if v.denied != nil && !isSafe(r.Method) && r.URL.Path != sessionPath { // where one gets in
			s.deny(w, v.denied)
			return
		}
		next.ServeHTTP(w, r.WithContext(context.WithValue(r.Context(), visitorKey{}, v)))
	})
}

func isSafe(method string) bool {
	return method == http.MethodGet || method == http.MethodHead || method == http.MethodOptions
}

// isLocal says whether the request comes from a program on this computer. What a
// proxy passes on comes from somewhere else.
func isLocal(r *http.Request) bool {
	for name := range r.Header {
		if name == "Forwarded" || strings.HasPrefix(name, "X-Forwarded-") {
			return false
		}
	}
	remote, err := netip.ParseAddrPort(r.RemoteAddr)
	return err == nil && remote.Addr().Unmap().IsLoopback()
}

// answersTo says whether the Host of a request is loopback, the address that it came
// in on, the configured address or one of the configured names. The port does not
// matter: it is the name that tells an attacker's page from ours.
func (s *Server) answersTo(r *http.Request) bool {
	host := hostName(r.Host)
	if host == "localhost" {
		return true
	}
	if address, err := netip.ParseAddr(host); err == nil {
		address = address.Unmap().WithZone("")
		if address.IsLoopback() || address == localAddress(r) {
			return true
		}
		// Browsers take 0.0.0.0 for this computer, whichever page sends them there.
		if address.IsUnspecified() {
			return false
		}
	}
	if own, _, err := net.SplitHostPort(s.settings.Listen); err == nil && own != "" && host == hostName(own) {
		return true
	}
	for _, name := range s.settings.Hosts {
		if host != "" && host == hostName(name) {
			return true
		}
	}
	return false
}

// hostName is the host of a Host header, without port, brackets and final dot.
func hostName(host string) string {
	if h, _, err := net.SplitHostPort(host); err == nil {
		host = h
	}
	host = strings.TrimSuffix(strings.TrimPrefix(host, "["), "]")
	return strings.ToLower(strings.TrimSuffix(host, "."))
}

// localAddress is this end of the request's connection.
func localAddress(r *http.Request) netip.Addr {
	tcp, ok := r.Context().Value(http.LocalAddrContextKey).(*net.TCPAddr)
	if !ok {
		return netip.Addr{}
	}
	return tcp.AddrPort().Addr().Unmap().WithZone("")
}

// readOnly refuses what is neither GET nor HEAD.
func (s *Server) readOnly(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			s.refuseMethod(w, r, "GET, HEAD")
			return
		}
		next.ServeHTTP(w, r)
	})
}
