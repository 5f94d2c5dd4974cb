package reference

import (
	"net/http"
	"net/http/httptest"
	"regexp"
	"strings"
	"testing"
)

func get(path string) *httptest.ResponseRecorder {
	w := httptest.NewRecorder()
	Handler().ServeHTTP(w, httptest.NewRequest(http.MethodGet, path, nil))
	return w
}

// TestPage: the page has the tables, works under a policy without inline styles and
// scripts, and its links lead somewhere.
func TestPage(t *testing.T) {
	w := get("/reference")
	html := w.Body.String()
	if w.Code != http.StatusOK || w.Header().Get("Content-Type") != "text/html; charset=utf-8" || strings.Count(html, "<table>") < 60 {
		t.Errorf("status %d, header %v, %d tables", w.Code, w.Header(), strings.Count(html, "<table>"))
	}
	for _, inline := range []string{"style=", "<style", "<script", "onclick", "<!-- raw"} {
		if strings.Contains(html, inline) {
			t.Errorf("the page contains %s", inline)
		}
	}
	links := regexp.MustCompile(`href="#([^"]*)"`).FindAllStringSubmatch(html, -1)
	if len(links) < 15 {
		t.Errorf("only %d links", len(links))
	}
	for _, link := range links {
		if !strings.Contains(html, `id="`+link[1]+`"`) {
			t.Errorf("link to #%s leads nowhere", link[1])
		}
	}
	if w := get("/reference.css"); w.Code != http.StatusOK || w.Header().Get("Content-Type") != "text/css; charset=utf-8" {
		t.Errorf("style: status %d, header %v", w.Code, w.Header())
	}
	if w := get("/reference/more"); w.Code != http.StatusNotFound {
		t.Errorf("another path: status %d", w.Code)
	}
}

// TestEveryFieldIsExplained: no row of a table of fields is without a text.
func TestEveryFieldIsExplained(t *testing.T) {
	rows := regexp.MustCompile("(?m)^\\| `[^`]+`.*\\|$").FindAllString(string(markdown), -1)
	if len(rows) < 400 {
		t.Fatalf("only %d rows", len(rows))
	}
	for _, row := range rows {
		for cell := range strings.SplitSeq(strings.Trim(row, "|"), "|") {
			if strings.TrimSpace(cell) == "" && !strings.Contains(row, "potlife_") { // a metric may have no label of its own
				t.Errorf("an empty cell in %s", row)
			}
		}
	}
}
