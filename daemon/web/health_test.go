package web

import (
	"net/http"
	"strings"
	"testing"
)

func TestHealthAndReadiness(t *testing.T) {
	s := newServer(t, newStand())
	if w := answerTo(s.Handler(), fromHere("GET", "/healthz", "")); w.Code != http.StatusOK || object(t, w)["ok"] != true {
		t.Errorf("healthz: %d %s", w.Code, w.Body)
	}
	if w := answerTo(s.Handler(), fromHere("GET", "/readyz", "")); w.Code != http.StatusOK || object(t, w)["ready"] != true {
		t.Errorf("readyz: %d %s", w.Code, w.Body)
	}
	s.ready = func() []Check {
		return []Check{{Name: "journal", OK: true}, {Name: "broker", Detail: "no route to host"}, {Name: "scale-1", OK: true}}
	}
	w := answerTo(s.Handler(), fromHere("GET", "/readyz", ""))
	v := object(t, w)
	if w.Code != http.StatusServiceUnavailable || v["ready"] != false || len(v["checks"].([]any)) != 3 {
		t.Errorf("readyz with a broker missing: %d %v", w.Code, v)
	}
	if missing := v["checks"].([]any)[1].(map[string]any); missing["name"] != "broker" || missing["ok"] != false || missing["detail"] != "no route to host" {
		t.Errorf("the broker's check: %v", missing)
	}
	if w := answerTo(s.Handler(), fromHere("GET", "/healthz", "")); w.Code != http.StatusOK {
		t.Error("the process is not healthy because the broker is missing")
	}
	if w := answerTo(s.Handler(), fromHere("GET", "/metrics", "")); !strings.Contains(w.Body.String(), "potlife_build_info") {
		t.Errorf("metrics: %s", w.Body)
	}
}
