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

// caller is who asks for a change, once it is known that he may change something.
type caller struct {
	by      actor.Name    // as the journal will name them
	session string        // the id of his own session, where he has one
	token   *access.Token // by which he came in, nil where he did not need one
}

// may reports whether the caller has a right. Only a token is bounded: a paired device
// knew the shop's PIN, and may do what a person in the shop may.
func (c caller) may(r request.Right) bool { return c.token == nil || c.token.Allows(r) }

// account is under what a caller's keys of repeated requests are kept: two devices may be called
// alike, and what one of them was answered is not for the other.
func (c caller) account() string {
	switch {
	case c.token != nil:
		return "token " + c.token.Name
	case c.session != "":
		return "session " + c.session
	}
	return string(actor.Local)
}

// allowed refuses a change to whoever has not the right for it.
func (s *Server) allowed(v visitor, verb string, right request.Right) error {
	if v.refused != nil {
		return v.refused.error()
	}
	if v.caller.may(right) {
		return nil
	}
	f := refusal{
		http.StatusForbidden, "right",
		fmt.Sprintf("the token %s may not %s: that takes the right %s. Make a token that has it with: potlifed token --may %s", v.caller.by, verb, right, right),
		fmt.Sprintf(`%s, error="insufficient_scope", scope="%s"`, challenge, right),
	}
	return f.error()
}

// mayChange describes what a change needs: a session, a token, or nothing on the
// bench's own computer while no PIN is set.
func mayChange() []map[string][]string {
	return []map[string][]string{{"session": {}}, {"token": {}}, {}}
}

// securitySchemes describes them.
func securitySchemes() map[string]*huma.SecurityScheme {
	return map[string]*huma.SecurityScheme{
		"session": {Type: "apiKey", In: "cookie", Name: cookieName, Description: "of a device that was paired"},
		"token":   {Type: "http", Scheme: "bearer", Description: "made with: potlifed token"},
	}
}

// visitor is what a request tells of who sent it.
type visitor struct {
	caller  caller
	refused *refusal // why there is no caller, nil when there is one
	place   string   // where guesses at the PIN are counted
	former  string   // the secret of the session it came with; of no worth unless caller has it
	tls     bool
}

type visitorKey struct{}

// visitorOf is who sent the request; one that nobody looked at may change nothing.
func visitorOf(ctx context.Context) visitor {
	if v, ok := ctx.Value(visitorKey{}).(visitor); ok {
		return v
	}
	return visitor{refused: unpaired}
}

// refusal is an answer to somebody who may change nothing.
type refusal struct {
	status    int
	code      string // the problem's type
	detail    string
	challenge string // of a 401, RFC 9110 section 11.6.1; by RFC 6750
}

const challenge = `Bearer realm="potlifed"`

var (
	unpaired = &refusal{
		http.StatusUnauthorized, "pin-needed",
		"a change needs a paired device or an access token; pair this device with the shop's PIN, or make a token with: potlifed token", challenge,
	}
	noPIN = &refusal{
		http.StatusUnauthorized, "no-pin",
		"changes are taken from the bench's own computer only, as long as no PIN is set; set one there with: potlifed pin", challenge,
	}
	badToken = &refusal{
		http.StatusUnauthorized, "token",
		"this access token is not valid; it was revoked, or never was one. Those there are: potlifed token list", challenge + `, error="invalid_token"`,
	}
)

func (f *refusal) problem() *huma.ErrorModel {
	p := problem(f.status, "", f.detail)
	p.Type = problemType + f.code
	return p
}

// header is what belongs to the refusal beside its body.
func (f *refusal) header() http.Header {
	if f.challenge == "" {
		return http.Header{}
	}
	return http.Header{"Www-Authenticate": {f.challenge}}
}

func (f *refusal) write(w http.ResponseWriter) {
	for name, values := range f.header() {
		w.Header()[name] = values
	}
	writeModel(w, f.problem())
}

func (f *refusal) error() error { return huma.ErrorWithHeaders(f.problem(), f.header()) }

// cookieName is the session's cookie.
const cookieName = "potlifed"

// visit finds out who sent a request. A token that was sent decides, also on the
// bench's own computer: whoever sends one that was revoked is to notice.
func (s *Server) visit(r *http.Request) visitor {
	v := visitor{place: place(r), tls: r.TLS != nil}
	secret, given := bearer(r.Header.Values("Authorization"))
	if given {
		token, err := s.settings.Access.Bearer(secret)
		v.caller, v.refused = caller{by: actor.Name(token.Name), token: &token}, s.toRefusal(err, badToken)
		return v
	}
	const tried = 4 // another program on this host may have set one of the same name
	cookies := r.CookiesNamed(cookieName)
	for _, c := range cookies[:min(tried, len(cookies))] {
		p, err := s.settings.Access.Paired(c.Value, s.now())
		if v.refused = s.toRefusal(err, unpaired); v.refused == nil {
			v.caller, v.former = caller{by: actor.Name(p.Device), session: p.ID}, c.Value
			return v
		}
	}
	pin, err := s.settings.Access.HasPIN()
	switch {
	case err != nil:
		v.refused = s.toRefusal(err, nil)
	case pin:
		v.refused = unpaired
	case isLocal(r):
		v.caller, v.refused = caller{by: actor.Local}, nil
	default:
		v.refused = noPIN
	}
	return v
}

// toRefusal makes of an error why somebody may change nothing: what was sent is not
// known, or the file cannot be read and nobody gets in.
func (s *Server) toRefusal(err error, unknown *refusal) *refusal {
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
	return &refusal{http.StatusServiceUnavailable, "access", "nobody can change anything: " + err.Error(), ""}
}

// bearer is the secret of a bearer token, RFC 6750 section 2.1, and whether one was
// sent at all. What other schemes carry, such as a password for reading, is not ours.
// Of two tokens neither counts.
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

// place is what the guesses of a request are counted under: this computer, or the
// remote address. Of IPv6 it is the network, in which a machine has more addresses than
// anybody can count. A proxy's requests count together, whatever it says of others.
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
