package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/netip"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"potlifed/daemon/access"
	"potlifed/daemon/actor"
	"potlifed/daemon/request"
)

// caller is who asks for a change, once it is known that they may change something.
type caller struct {
	by      actor.Name    // as the journal will name them
	session string        // id of their session; empty when they have none
	token   *access.Token // the token that they sent; nil when they sent none
}

// may reports whether the caller has a right. Only a token is bounded: a paired device
// knew the shop's PIN, and may do what a person in the shop may.
func (c caller) may(r request.Right) bool { return c.token == nil || c.token.Allows(r) }

// account returns the name under which a caller's idempotency keys are kept. Two devices
// may have the same name, and the answer to one of them is not for the other.
func (c caller) account() string {
	switch {
	case c.token != nil:
		return "token " + c.token.Name
	case c.session != "":
		return "session " + c.session
	}
	return string(actor.Local)
}

// allowed returns an error when the visitor has no right to make the change.
func (s *Server) allowed(v visitor, verb string, right request.Right) error {
	if v.denied != nil {
		return v.denied.error()
	}
	if v.caller.may(right) {
		return nil
	}
	f := denial{
		http.StatusForbidden, "right",
		fmt.Sprintf("the token %s may not %s: that takes the right %s. Make a token that has it with: potlifed token --may %s", v.caller.by, verb, right, right),
		fmt.Sprintf(`%s, error="insufficient_scope", scope="%s"`, challenge, right),
	}
	return f.error()
}

// mayChange returns the security requirements of a change for the description of the API:
// a session, a token, or nothing on the bench's own computer while no PIN is set.
func mayChange() []map[string][]string {
	return []map[string][]string{{"session": {}}, {"token": {}}, {}}
}

// securitySchemes returns the security schemes that the requirements name.
func securitySchemes() map[string]*huma.SecurityScheme {
	return map[string]*huma.SecurityScheme{
		"session": {Type: "apiKey", In: "cookie", Name: cookieName, Description: "of a device that was paired"},
		"token":   {Type: "http", Scheme: "bearer", Description: "made with: potlifed token"},
	}
}

// visitor is what a request tells about its sender.
type visitor struct {
	caller caller
	denied *denial // why the sender may change nothing; nil when there is a caller
	place  string  // key under which guesses at the PIN are counted
	former string  // secret of the session that was sent; set only when it is valid
	tls    bool
}

type visitorKey struct{}

// visitorOf returns the sender of the request. A request that was not authenticated may
// change nothing.
func visitorOf(ctx context.Context) visitor {
	if v, ok := ctx.Value(visitorKey{}).(visitor); ok {
		return v
	}
	return visitor{denied: unpaired}
}

// denial is an answer to somebody who may change nothing.
type denial struct {
	status    int
	code      string // the problem's type
	detail    string
	challenge string // of a 401, RFC 9110 section 11.6.1; by RFC 6750
}

const challenge = `Bearer realm="potlifed"`

var (
	unpaired = &denial{
		http.StatusUnauthorized, "pin-needed",
		"a change needs a paired device or an access token; pair this device with the shop's PIN, or make a token with: potlifed token", challenge,
	}
	noPIN = &denial{
		http.StatusUnauthorized, "no-pin",
		"changes are taken from the bench's own computer only, as long as no PIN is set; set one there with: potlifed pin", challenge,
	}
	badToken = &denial{
		http.StatusUnauthorized, "token",
		"this access token is not valid; it was revoked, or never was one. Those there are: potlifed token list", challenge + `, error="invalid_token"`,
	}
)

func (f *denial) problem() *Problem {
	p := problem(f.status, "", f.detail)
	p.Type = problemType + f.code
	switch f.code {
	case "pin-needed":
		return p.Saying("device-not-allowed")
	case "no-pin":
		return p.Saying("no-pin")
	case "wrong-pin":
		return p.Saying("wrong-pin")
	case "access":
		return p.Saying("access-unread")
	}
	return p
}

// header returns the headers of the answer.
func (f *denial) header() http.Header {
	if f.challenge == "" {
		return http.Header{}
	}
	return http.Header{"Www-Authenticate": {f.challenge}}
}

func (s *Server) deny(w http.ResponseWriter, f *denial) {
	for name, values := range f.header() {
		w.Header()[name] = values
	}
	s.refuse(w, f.problem())
}

func (f *denial) error() error { return huma.ErrorWithHeaders(f.problem(), f.header()) }

// cookieName is the session's cookie.
const cookieName = "potlifed"

// visit authenticates a request. A token that was sent decides, also on the bench's own
// computer, so that a client with a revoked token notices it.
func (s *Server) visit(r *http.Request) visitor {
	v := visitor{place: place(r), tls: r.TLS != nil}
	secret, given := bearer(r.Header.Values("Authorization"))
	if given {
		token, err := s.settings.Access.Bearer(secret)
		v.caller, v.denied = caller{by: actor.Name(token.Name), token: &token}, s.denialFor(err, badToken)
		return v
	}
	const tried = 4 // another program on this host may have set one of the same name
	cookies := r.CookiesNamed(cookieName)
	for _, c := range cookies[:min(tried, len(cookies))] {
		p, err := s.settings.Access.Paired(c.Value, s.now())
		if v.denied = s.denialFor(err, unpaired); v.denied == nil {
			v.caller, v.former = caller{by: actor.Name(p.Device), session: p.ID}, c.Value
			return v
		}
	}
	pin, err := s.settings.Access.HasPIN()
	switch {
	case err != nil:
		v.denied = s.denialFor(err, nil)
	case pin:
		v.denied = unpaired
	case isLocal(r):
		v.caller, v.denied = caller{by: actor.Local}, nil
	default:
		v.denied = noPIN
	}
	return v
}

// denialFor turns an error of the access store into a denial: unknown when the token or
// session is not known, and 503 when the store's file cannot be read. It returns nil
// without an error.
func (s *Server) denialFor(err error, unknown *denial) *denial {
	if err == nil || errors.Is(err, access.ErrUnknown) {
		if s.shut.CompareAndSwap(true, false) {
			s.log.Info("the file of who may change something can be read again")
		}
		if err == nil {
			return nil
		}
		return unknown
	}
	if s.shut.CompareAndSwap(false, true) {
		s.log.Error("nobody can change anything", "err", err)
	}
	return &denial{http.StatusServiceUnavailable, "access", "nobody can change anything: " + err.Error(), ""}
}

// bearer returns the secret of a bearer token (RFC 6750, section 2.1) and whether one was
// sent. Other schemes, such as a password for reading, are ignored. Of two tokens neither
// counts.
func bearer(headers []string) (secret string, given bool) {
	for _, header := range headers {
		scheme, rest, _ := strings.Cut(strings.TrimSpace(header), " ")
		if !strings.EqualFold(scheme, "Bearer") {
			continue
		}
		if given {
			return "", true
		}
		secret, given = strings.TrimSpace(rest), true
	}
	const longest = 200 // ours have 43 characters
	if len(secret) > longest || strings.Trim(secret, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-._~+/=") != "" {
		secret = ""
	}
	return secret, given
}

// place returns the key under which guesses at the PIN are counted: this computer, or the
// remote address. For IPv6 it is the /64 network, since one machine may use any address of
// it. All requests of a proxy count together.
func place(r *http.Request) string {
	if isLocal(r) {
		return access.Local
	}
	remote, err := netip.ParseAddrPort(r.RemoteAddr)
	if err != nil {
		return "unknown"
	}
	address := remote.Addr().Unmap().WithZone("")
	if address.Is4() {
		return address.String()
	}
	network, err := address.Prefix(64)
	if err != nil { // an address has more than 64 bits
		return "unknown"
	}
	return network.String()
}
