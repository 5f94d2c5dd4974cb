package web

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"potlifed/daemon/excerpt"
	"potlifed/daemon/request"
	"potlifed/model/message"
)

// Problem is an error as it goes out, by RFC 9457. Detail is for programs. Text is for the person who
// asked by a page; it is set where the problem goes out, so that none goes without.
type Problem struct {
	*huma.ErrorModel
	Text string          `json:"text"`
	said message.Message // the text as a refusal of the catalogue; empty: that of the status
}

// problem makes one. An empty title is that of the status.
func problem(status int, title, detail string) *Problem {
	if title == "" {
		title = http.StatusText(status)
	}
	return &Problem{ErrorModel: &huma.ErrorModel{Status: status, Title: title, Detail: detail}}
}

// Saying sets the text, by its key below "refusal." and the names of its placeholders, each before its
// value. Without it the text is that of the status.
func (p *Problem) Saying(key string, args ...any) *Problem {
	p.said = message.New(key, args...)
	return p
}

// noBatch is the problem of an id that no batch has; noZone and noSensor likewise.
func noBatch(id string) error {
	return problem(http.StatusNotFound, "", fmt.Sprintf("there is no batch %q", excerpt.Short(id))).Saying("no-batch", "batch", excerpt.Short(id))
}

func noZone(id string) error {
	return problem(http.StatusNotFound, "", fmt.Sprintf("there is no zone %q", excerpt.Short(id))).Saying("no-zone", "zone", excerpt.Short(id))
}

func noSensor(id string) error {
	return problem(http.StatusNotFound, "", fmt.Sprintf("there is no sensor %q", excerpt.Short(id)))
}

// noLifeYet is the problem of a batch whose end of pot life is not known.
func noLifeYet(id string) error {
	return problem(http.StatusNotFound, "", fmt.Sprintf("batch %q is not open, or its hardener is not in yet", excerpt.Short(id))).Saying("no-life-yet", "batch", excerpt.Short(id))
}

// problemType begins the types of problems that a program may want to tell apart.
const problemType = "urn:potlifed:"

// refuse answers with a problem where no operation of the API does.
func (s *Server) refuse(w http.ResponseWriter, p *Problem) {
	body, err := json.Marshal(s.worded(p))
	if err != nil { // a struct of strings and a number
		body = nil
	}
	w.Header().Set("Content-Type", "application/problem+json")
	w.WriteHeader(p.Status)
	w.Write(body)
}

// refuseMethod answers a request whose method is none of those that are allowed.
func (s *Server) refuseMethod(w http.ResponseWriter, r *http.Request, allowed string) {
	w.Header().Set("Allow", allowed)
	s.refuse(w, problem(http.StatusMethodNotAllowed, "", excerpt.Short(r.Method)+" is not possible here; these methods are: "+allowed))
}

// refusePage answers with a problem where a person opens a page: a browser gets a page that says it.
func (s *Server) refusePage(w http.ResponseWriter, r *http.Request, p *Problem) {
	if !strings.Contains(r.Header.Get("Accept"), "text/html") {
		s.refuse(w, p)
		return
	}
	p = s.worded(p)
	body, err := s.pages.Refused(p.Text, p.Detail)
	if err != nil {
		s.log.Error("page of a refusal not made", "err", err)
		s.refuse(w, p)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(p.Status)
	w.Write(body)
}

// wordProblems gives each problem its text that an operation of the API answers with, also those that
// the library makes itself.
func (s *Server) wordProblems(_ huma.Context, _ string, body any) (any, error) {
	switch p := body.(type) {
	case *Problem:
		return s.worded(p), nil
	case *huma.ErrorModel:
		return s.worded(&Problem{ErrorModel: p}), nil
	}
	return body, nil
}

// worded returns the problem with its text.
func (s *Server) worded(p *Problem) *Problem {
	if p.Text != "" {
		return p
	}
	told := *p
	if p.said.Key != "" {
		told.Text = s.settings.Locale.Refusal(p.said)
	} else {
		told.Text = s.usualText(p.Status)
	}
	return &told
}

// usualText returns the text of a problem of which no more than the status is known.
func (s *Server) usualText(status int) string {
	for _, kind := range request.RefusalKinds() {
		if status == kind.Status() && kind != request.Unavailable {
			return s.settings.Locale.RefusalOf(kind)
		}
	}
	switch {
	case status == http.StatusUnauthorized, status == http.StatusForbidden:
		return s.settings.Locale.Say("problem.may-not")
	case status == http.StatusTooManyRequests:
		return s.settings.Locale.Say("problem.too-often")
	case status == http.StatusServiceUnavailable:
		return s.settings.Locale.Say("problem.unavailable")
	case status >= http.StatusInternalServerError:
		return s.settings.Locale.Say("problem.failed")
	}
	return s.settings.Locale.Say("problem.not-understood")
}

// refusalProblem turns the bench's refusal of a change into a problem.
func (s *Server) refusalProblem(err error) error {
	var refusal *request.Refusal
	switch {
	case errors.As(err, &refusal) && refusal.Kind.Status() != 0:
		p := problem(refusal.Kind.Status(), refusal.Title, refusal.Detail)
		if refusal.Code != "" {
			p.Type = problemType + refusal.Code
		}
		if p.Text = refusal.Text; p.Text == "" {
			p.Text = s.settings.Locale.RefusalOf(refusal.Kind)
		}
		return p
	case errors.Is(err, context.DeadlineExceeded), errors.Is(err, context.Canceled):
		return problem(http.StatusServiceUnavailable, "", "the bench did not answer in time, and whether the change was made is not known; "+
			"look, or send it again with the same Idempotency-Key").Saying("bench-silent")
	}
	s.log.Error("change failed", "err", err)
	return problem(http.StatusInternalServerError, "", "the bench could not make the change; its log says why")
}
