package web

import (
	"context"
	"errors"
	"math"
	"net/http"
	"reflect"
	"strconv"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"potlifed/daemon/access"
	"potlifed/daemon/actor"
	"potlifed/daemon/request"
	"potlifed/daemon/strictjson"
)

const (
	sessionPath  = base + "session"
	sessionsPath = base + "sessions"
)

// pairing is the body by which a device is paired.
type pairing struct {
	PIN    string `json:"pin" minLength:"1" maxLength:"64" doc:"the shop's PIN"`
	Device string `json:"device,omitempty" maxLength:"40" doc:"name of the device in the journal; default: a device"`
}

// session is a paired device.
type session struct {
	ID     string    `json:"id" doc:"public id of the session"`
	Device string    `json:"device" doc:"name of the device"`
	Made   time.Time `json:"made" doc:"when the device was paired"`
	Until  time.Time `json:"until" doc:"when the session ends"`
	Mine   bool      `json:"mine" doc:"this is the session of the client that asks"`
}

type sessionList struct {
	Sessions []session `json:"sessions" doc:"the paired devices"`
	PINSet   bool      `json:"pin_set" doc:"a PIN is set; without one, changes are only accepted from the bench's own computer or with a token"`
	Seq      uint64    `json:"seq" doc:"number of the newest event that the answer includes"`
}

// paired answers a pairing or unpairing, with the cookie that goes with it.
type paired struct {
	SetCookie string `header:"Set-Cookie"`
	Body      session
}

// sessions registers the pairing of devices.
func (s *Server) sessions(api huma.API) {
	huma.Register(api, huma.Operation{
		OperationID: "sessions", Method: http.MethodGet, Path: sessionsPath, Summary: "The paired devices",
		Errors: []int{http.StatusServiceUnavailable},
	}, s.listSessions)

	pair := sessionOperation("session", sessionPath, "Pair a device with the shop's PIN: answers with the cookie of a session of 30 days", http.StatusTooManyRequests)
	pair.Security = nil
	pair.Errors = append(pair.Errors, http.StatusUnprocessableEntity)
	body := reflect.TypeFor[pairing]()
	read := shapeOf(body, nil)
	huma.Register(api, pair, func(ctx context.Context, _ *struct{}) (*paired, error) { return s.pair(ctx, read) })
	setBody(api, sessionPath, true, api.OpenAPI().Components.Schemas.Schema(body, true, ""))

	type byID struct {
		ID string `path:"id" doc:"a session's id, or own"`
	}
	unpair := sessionOperation("unpair", sessionsPath+"/{id}/unpair", "End a session at once", http.StatusNotFound)
	huma.Register(api, unpair, func(ctx context.Context, in *byID) (*paired, error) { return s.unpair(ctx, in.ID) })
}

func sessionOperation(id, path, summary string, also int) huma.Operation {
	return huma.Operation{
		OperationID: id, Method: http.MethodPost, Path: path, Summary: summary, DefaultStatus: http.StatusOK, Security: mayChange(),
		Errors: []int{
			http.StatusBadRequest, http.StatusUnauthorized, http.StatusForbidden, http.StatusConflict, http.StatusRequestEntityTooLarge,
			http.StatusUnsupportedMediaType, http.StatusMisdirectedRequest, http.StatusServiceUnavailable, also,
		},
	}
}

// listSessions is open like all reading: the names of devices stand in the journal's
// events as well.
func (s *Server) listSessions(ctx context.Context, _ *struct{}) (*answer[sessionList], error) {
	all, err := s.settings.Access.Sessions(s.now())
	if err != nil {
		return nil, s.denialFor(err, nil).error()
	}
	pin, err := s.settings.Access.HasPIN()
	if err != nil {
		return nil, s.denialFor(err, nil).error()
	}
	list := sessionList{Sessions: make([]session, 0, len(all)), PINSet: pin, Seq: s.bench.Snapshot().Seq}
	for _, p := range all {
		list.Sessions = append(list.Sessions, sessionRow(p, visitorOf(ctx).caller.session))
	}
	return &answer[sessionList]{list}, nil
}

func sessionRow(p access.Session, own string) session {
	return session{ID: p.ID, Device: p.Device, Made: p.Made, Until: p.Until, Mine: p.ID == own}
}

// pair opens a session. Whatever the request came with, its secret is a new one.
func (s *Server) pair(ctx context.Context, read shape) (*paired, error) {
	var in pairing
	value, err := strictjson.Value(bodyOf(ctx))
	if err != nil {
		return nil, jsonProblem(err)
	}
	if err := read.check(value); err != nil {
		return nil, withoutValues(err)
	}
	if err := strictjson.Decode(bodyOf(ctx), &in); err != nil {
		return nil, jsonProblem(err)
	}
	if in.Device == "" {
		in.Device = "a device"
	}
	v := visitorOf(ctx)
	p, secret, err := s.settings.Access.Pair(in.PIN, in.Device, v.former, v.place, s.now())
	if err != nil {
		return nil, s.notPaired(err, v.place)
	}
	s.log.Info("device paired", "device", p.Device, "session", p.ID, "from", v.place)
	s.note(ctx, actor.Name(p.Device), request.PairDevice{Device: p.Device, Session: p.ID})
	return &paired{cookie(secret, p.Until.Sub(s.now()), v.tls), sessionRow(p, p.ID)}, nil
}

// notPaired makes an answer of why a device was not paired.
func (s *Server) notPaired(err error, place string) error {
	var often *access.TooOften
	var file *access.FileError
	switch {
	case errors.Is(err, access.ErrWrongPIN):
		s.log.Warn("wrong PIN", "from", place)
		return (&denial{http.StatusUnauthorized, "wrong-pin", err.Error(), challenge}).error()
	case errors.As(err, &often):
		p := problem(http.StatusTooManyRequests, "", err.Error()).Saying("pin-too-often", "wait", often.Wait)
		return huma.ErrorWithHeaders(p, http.Header{"Retry-After": {strconv.Itoa(int(math.Ceil(often.Wait.Seconds())))}})
	case errors.Is(err, access.ErrNoPIN):
		return problem(http.StatusConflict, "", err.Error()).Saying("no-pin")
	case errors.Is(err, access.ErrFull):
		return problem(http.StatusConflict, "", err.Error()).Saying("devices-full")
	case errors.As(err, &file):
		return s.unwritten("paired", err)
	}
	return problem(http.StatusUnprocessableEntity, "", err.Error())
}

// unwritten is the answer where the file is in the way.
func (s *Server) unwritten(what string, err error) error {
	s.log.Error("no device can be "+what, "err", err)
	p := problem(http.StatusServiceUnavailable, "", "no device can be "+what+": "+err.Error()).Saying("access-unwritten")
	p.Type = problemType + "access"
	return p
}

// unpair ends a session.
func (s *Server) unpair(ctx context.Context, id string) (*paired, error) {
	v := visitorOf(ctx)
	own := v.caller.session
	if id == "own" && own != "" {
		id = own
	}
	if err := s.allowed(v, "unpair", request.Needs("unpair")); err != nil {
		return nil, err
	}
	p, err := s.settings.Access.Unpair(id)
	if errors.Is(err, access.ErrUnknown) {
		return nil, problem(http.StatusNotFound, "", "there is no such session").Saying("no-session")
	}
	if err != nil {
		return nil, s.unwritten("unpaired", err)
	}
	s.log.Info("device unpaired", "device", p.Device, "session", p.ID, "by", v.caller.by)
	s.note(ctx, v.caller.by, request.UnpairDevice{Device: p.Device, Session: p.ID})
	out := &paired{Body: sessionRow(p, own)}
	if p.ID == own {
		out.SetCookie = cookie("", -time.Second, v.tls)
	}
	return out, nil
}

// note puts on record who was let in or shut out. It is done whatever becomes of that:
// with a card that cannot be written, a tablet must still be able to acknowledge and
// close.
func (s *Server) note(ctx context.Context, by actor.Name, change request.Change) {
	ctx, cancel := context.WithTimeout(ctx, changeWithin)
	defer cancel()
	if _, err := s.bench.Do(ctx, request.Request{Change: change, By: by}); err != nil {
		s.log.Error("not on record", "verb", change.Verb(), "by", by, "err", err)
	}
}

// cookie writes the session's cookie: not for scripts, and not sent along from another
// site's pages.
func cookie(secret string, lasts time.Duration, secure bool) string {
	c := http.Cookie{
		Name: cookieName, Value: secret, Path: "/", MaxAge: int(lasts.Seconds()),
		HttpOnly: true, SameSite: http.SameSiteStrictMode, Secure: secure,
	}
	return c.String()
}

// withoutValues keeps a PIN that was sent in the wrong shape out of the answer.
func withoutValues(err error) error {
	var p *Problem
	if errors.As(err, &p) {
		for _, detail := range p.Errors {
			detail.Value = nil
		}
	}
	return err
}
