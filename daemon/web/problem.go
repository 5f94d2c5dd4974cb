package web

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"potlifed/daemon/request"
)

// problem is an error as it goes out, by RFC 9457. An empty title is that of the
// status.
func problem(status int, title, detail string) *huma.ErrorModel {
	if title == "" {
		title = http.StatusText(status)
	}
	return &huma.ErrorModel{Status: status, Title: title, Detail: detail}
}

// Problem is an error as it goes out where a person asked for the change: with a text for them.
type Problem struct {
	*huma.ErrorModel
	Text string `json:"text,omitempty"`
}

// problemType begins the types of problems that a program may want to tell apart.
const problemType = "urn:potlifed:"

// writeProblem answers with a problem where no operation of the API does.
func writeProblem(w http.ResponseWriter, status int, title, detail string) {
	writeModel(w, problem(status, title, detail))
}

func writeModel(w http.ResponseWriter, p *huma.ErrorModel) {
	body, err := json.Marshal(p)
	if err != nil { // a struct of strings and a number
		body = nil
	}
	w.Header().Set("Content-Type", "application/problem+json")
	w.WriteHeader(p.Status)
	w.Write(body)
}

// statusOf gives the HTTP status that answers a change which the bench refused.
var statusOf = map[request.RefusalKind]int{
	request.NotFound:    http.StatusNotFound,
	request.NotNow:      http.StatusConflict,
	request.TooLong:     http.StatusRequestEntityTooLarge,
	request.Invalid:     http.StatusUnprocessableEntity,
	request.Unavailable: http.StatusServiceUnavailable,
}

// refusalProblem turns the bench's refusal of a change into a problem.
func (s *Server) refusalProblem(err error) error {
	var refusal *request.Refusal
	switch {
	case errors.As(err, &refusal) && statusOf[refusal.Kind] != 0:
		p := problem(statusOf[refusal.Kind], refusal.Title, refusal.Detail)
		if refusal.Code != "" {
			p.Type = problemType + refusal.Code
		}
		if refusal.Text == "" {
			return Problem{p, s.settings.Locale.RefusalOf(refusal.Kind)}
		}
		return Problem{p, refusal.Text}
	case errors.Is(err, context.DeadlineExceeded), errors.Is(err, context.Canceled):
		return problem(http.StatusServiceUnavailable, "", "the bench did not answer in time, and whether the change was made is not known; "+
			"look, or send it again with the same Idempotency-Key")
	}
	s.log.Error("change failed", "err", err)
	return problem(http.StatusInternalServerError, "", "the bench could not make the change; its log says why")
}
