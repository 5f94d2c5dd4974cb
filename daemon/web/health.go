package web

import (
	"encoding/json"
	"net/http"
)

// healthz says that the process answers.
func healthz(w http.ResponseWriter, _ *http.Request) {
	writeJSON(w, http.StatusOK, struct {
		OK bool `json:"ok"`
	}{true})
}

// readyz names everything that the bench needs, and fails when one is missing.
func (s *Server) readyz(w http.ResponseWriter, _ *http.Request) {
	answer := struct {
		Ready  bool    `json:"ready"`
		Checks []Check `json:"checks"`
	}{true, orEmpty(s.ready())}
	for _, c := range answer.Checks {
		answer.Ready = answer.Ready && c.OK
	}
	status := http.StatusOK
	if !answer.Ready {
		status = http.StatusServiceUnavailable
	}
	writeJSON(w, status, answer)
}

func writeJSON(w http.ResponseWriter, status int, v any) {
	body, err := json.Marshal(v)
	if err != nil {
		w.WriteHeader(http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	w.Write(body)
}

// orEmpty keeps null out of lists.
func orEmpty[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}
