package web

import (
	"context"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"reflect"
	"slices"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"potlifed/daemon/excerpt"
	"potlifed/daemon/strictjson"
)

// bodyKey finds the body of a change in its context.
type bodyKey struct{}

func bodyOf(ctx context.Context) []byte {
	body, _ := ctx.Value(bodyKey{}).([]byte)
	return body
}

// withBody reads the body of a change before the API sees the request. The API's own
// reading answers 500 to a chunk that is malformed, and does not look at the type of
// a body that it need not decode.
func (s *Server) withBody(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if isSafe(r.Method) {
			next.ServeHTTP(w, r)
			return
		}
		body, p := s.readBody(w, r)
		if p != nil {
			s.refuse(w, p)
			return
		}
		next.ServeHTTP(w, r.WithContext(context.WithValue(r.Context(), bodyKey{}, body)))
	})
}

// boundBody sets the read deadline of a request. A request without a body has been read
// already: its deadline is lifted, because the server would cancel the request when it
// passes, a stream included. A request with a body keeps its deadline until readBody has
// read the body to its end. Until then the answer closes the connection: the server
// would otherwise wait for the rest of the body before it reads the next request.
func (s *Server) boundBody(w http.ResponseWriter, r *http.Request) {
	// The errors are those of a writer without a connection, as in a test, where no
	// sender can be slow.
	connection := http.NewResponseController(w)
	if r.ContentLength == 0 {
		_ = connection.SetReadDeadline(time.Time{})
		return
	}
	_ = connection.SetReadDeadline(time.Now().Add(s.bodyWithin))
	w.Header().Set("Connection", "close")
}

// bodyLimit returns how many bytes the body of a request may have.
func bodyLimit(path string) int64 {
	if path == sessionPath { // which is open to everybody
		return sessionBytes
	}
	return bodyBytes
}

// takeTurn waits until this request may read its body, and returns the function that
// ends its turn; ok is false when no turn came in time. Short bodies need no turn, so
// that requests to pair, which anybody may send, cannot delay the changes of others.
func (s *Server) takeTurn(r *http.Request, limit int64) (end func(), ok bool) {
	if limit <= sessionBytes {
		return func() {}, true
	}
	timer := time.NewTimer(s.bodyWithin)
	defer timer.Stop()
	select {
	case s.bodies <- struct{}{}:
		return func() { <-s.bodies }, true
	case <-timer.C:
	case <-r.Context().Done():
	}
	return nil, false
}

// readBody returns the body of a change, or the problem to answer with.
func (s *Server) readBody(w http.ResponseWriter, r *http.Request) ([]byte, *Problem) {
	limit := bodyLimit(r.URL.Path)
	tooLong := fmt.Sprintf("the body of this request has at most %d bytes", limit)
	if r.ContentLength > limit {
		return nil, problem(http.StatusRequestEntityTooLarge, "", tooLong)
	}
	if r.ContentLength != 0 {
		end, ok := s.takeTurn(r, limit)
		if !ok {
			return nil, problem(http.StatusServiceUnavailable, "", "too many requests are being read; send it again")
		}
		defer end()
	}
	connection := http.NewResponseController(w)
	if r.ContentLength != 0 { // the turn may have used up the deadline
		_ = connection.SetReadDeadline(time.Now().Add(s.bodyWithin))
	}
	body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, limit))
	if err == nil {
		_ = connection.SetReadDeadline(time.Time{})
		w.Header().Del("Connection")
	}
	var tooLarge *http.MaxBytesError
	var timeout interface{ Timeout() bool }
	switch {
	case errors.As(err, &tooLarge):
		return nil, problem(http.StatusRequestEntityTooLarge, "", tooLong)
	case errors.As(err, &timeout) && timeout.Timeout():
		return nil, problem(http.StatusRequestTimeout, "", "the body did not arrive in time")
	case err != nil:
		return nil, problem(http.StatusBadRequest, "", "the body cannot be read: "+err.Error())
	}
	if len(body) == 0 && r.Header.Get("Content-Type") == "" {
		return nil, nil
	}
	media, parameters, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	charset := parameters["charset"]
	if err != nil || media != "application/json" || charset != "" && !strings.EqualFold(charset, "utf-8") ||
		r.Header.Get("Content-Encoding") != "" {
		return nil, problem(http.StatusUnsupportedMediaType, "", "a change is sent as application/json, in UTF-8, not compressed")
	}
	return body, nil
}

// jsonProblem makes a problem of an error of [strictjson]: 400 for what is not JSON, 422
// for what is, but cannot be taken.
func jsonProblem(err error) error {
	var fault *strictjson.Error
	status := http.StatusUnprocessableEntity
	if errors.As(err, &fault) && fault.Syntax {
		status = http.StatusBadRequest
	}
	return problem(status, "", "the body cannot be read: "+err.Error())
}

// shape is what the body of a change must look like.
type shape struct {
	registry huma.Registry
	schema   *huma.Schema
	inPath   []string // fields that HTTP carries in the path; in a body they would contradict it
}

// shapeOf returns the shape of a type, with schemas of its own: those of the description are dropped
// once it is written.
func shapeOf(body reflect.Type, inPath []string) shape {
	own := newSchemas()
	return shape{own, own.Schema(body, true, ""), inPath}
}

// check says what is wrong with a value, all of it up to a bound.
func (s shape) check(v any) error {
	var faults []error
	s.names("body", s.schema, v, &faults)
	if len(faults) == 0 {
		var result huma.ValidateResult
		huma.Validate(s.registry, s.schema, huma.NewPathBuffer([]byte("body"), 0), huma.ModeWriteToServer, v, &result)
		faults = result.Errors
	}
	if len(faults) == 0 {
		return nil
	}
	const shown = 20
	p := problem(http.StatusUnprocessableEntity, "", "the request is not a valid change")
	for _, fault := range faults[:min(len(faults), shown)] {
		detail := huma.ErrorDetail{Message: fault.Error()}
		if d, ok := fault.(huma.ErrorDetailer); ok {
			detail = *d.ErrorDetail()
		}
		// What was sent is echoed only where it is small: a megabyte of wrong items would
		// come back many times over.
		switch value := detail.Value.(type) {
		case string:
			detail.Value = excerpt.Short(value)
		case float64, bool:
		default:
			detail.Value = nil
		}
		p.Errors = append(p.Errors, &detail)
	}
	return p
}

// names refuses names that the schema does not have exactly so. The library's own
// check, like encoding/json, takes "PRESS" for "press", and of both the last one.
func (s shape) names(path string, schema *huma.Schema, v any, faults *[]error) {
	for schema.Ref != "" {
		schema = s.registry.SchemaFromRef(schema.Ref)
	}
	switch v := v.(type) {
	case []any:
		if schema.Items == nil {
			return
		}
		for i, item := range v {
			s.names(fmt.Sprintf("%s[%d]", path, i), schema.Items, item, faults)
		}
	case map[string]any:
		if schema.Properties == nil {
			return
		}
		for name, value := range v {
			property := schema.Properties[name]
			if property == nil || schema == s.top() && slices.Contains(s.inPath, name) {
				*faults = append(*faults, &huma.ErrorDetail{Message: "unexpected property", Location: path + "." + excerpt.Short(name)})
				continue
			}
			s.names(path+"."+name, property, value, faults)
		}
	}
}

func (s shape) top() *huma.Schema {
	top := s.schema
	for top.Ref != "" {
		top = s.registry.SchemaFromRef(top.Ref)
	}
	return top
}
