package page

import (
	"net/http"
	"net/http/httptest"
	"regexp"
	"testing"
)

func get(t *testing.T, method, path string, header ...string) *http.Response {
	t.Helper()
	r := httptest.NewRequest(method, path, nil)
	for i := 0; i+1 < len(header); i += 2 {
		r.Header.Set(header[i], header[i+1])
	}
	w := httptest.NewRecorder()
	Handler().ServeHTTP(w, r)
	return w.Result()
}

func TestHandlerServes(t *testing.T) {
	for path, kind := range map[string]string{
		"/":                     "text/html; charset=utf-8",
		"/assets/base.css":      "text/css; charset=utf-8",
		"/presses":              "text/html; charset=utf-8",
		"/devices":              "text/html; charset=utf-8",
		"/cans":                 "text/html; charset=utf-8",
		"/batches/0612-3b":      "text/html; charset=utf-8",
		"/assets/bench-main.js": "text/javascript; charset=utf-8",
		"/assets/icon.svg":      "image/svg+xml",
		"/assets/format.js":     "text/javascript; charset=utf-8",
		"/assets/panels.css":    "text/css; charset=utf-8",
	} {
		r := get(t, "GET", path)
		if r.StatusCode != 200 || r.Header.Get("Content-Type") != kind {
			t.Errorf("GET %s: %d %q, want 200 %q", path, r.StatusCode, r.Header.Get("Content-Type"), kind)
		}
		tag := r.Header.Get("ETag")
		if tag == "" || r.Header.Get("Cache-Control") != "no-cache" {
			t.Errorf("GET %s: ETag %q, Cache-Control %q", path, tag, r.Header.Get("Cache-Control"))
		}
		if again := get(t, "GET", path, "If-None-Match", tag); again.StatusCode != http.StatusNotModified {
			t.Errorf("GET %s with its own tag: %d, want 304", path, again.StatusCode)
		}
		if head := get(t, "HEAD", path); head.StatusCode != 200 {
			t.Errorf("HEAD %s: %d", path, head.StatusCode)
		}
	}
}

func TestHandlerRefuses(t *testing.T) {
	for _, path := range []string{"/index.html", "/assets/", "/assets/index.html", "/presses.html", "/assets/presses.html", "/static/bench-main.js", "/nothing", "/batches/*", "/batches/", "/batches/0612", "/batches/a/b", "/assets/../page.go"} {
		if r := get(t, "GET", path); r.StatusCode != http.StatusNotFound {
			t.Errorf("GET %s: %d, want 404", path, r.StatusCode)
		}
	}
	r := get(t, "POST", "/")
	if r.StatusCode != http.StatusMethodNotAllowed || r.Header.Get("Allow") != "GET, HEAD" {
		t.Errorf("POST /: %d, Allow %q", r.StatusCode, r.Header.Get("Allow"))
	}
}

// What a file names must be there, or the page stays blank on a bench without a network.
func TestEverythingNamedIsServed(t *testing.T) {
	assets := read()
	named := regexp.MustCompile(`(?:src|href)="(/assets/[^"]+)"|from "\./([^"]+)"`)
	outside := regexp.MustCompile(`(?:src|href|url)\s*[=(]\s*["']?(?:https?:)?//`)
	for at, a := range assets {
		for _, m := range named.FindAllStringSubmatch(string(a.body), -1) {
			want := m[1]
			if want == "" {
				want = "/assets/" + m[2]
			}
			if _, ok := assets[want]; !ok {
				t.Errorf("%s names %s, which is not served", at, want)
			}
		}
		if found := outside.FindString(string(a.body)); found != "" {
			t.Errorf("%s reaches outside: %s", at, found)
		}
		if a.kind == "" {
			t.Errorf("%s has no content type", at)
		}
	}
}
