package reference

import (
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
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

// TestReadmeLinks: the files that the README leads to are there, and its picture is small.
func TestReadmeLinks(t *testing.T) {
	root := filepath.Join("..", "..")
	readme, err := os.ReadFile(filepath.Join(root, "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	links := regexp.MustCompile(`\]\(([^)]+)\)`).FindAllStringSubmatch(string(readme), -1)
	links = append(links, regexp.MustCompile(`(testdata/\S+\.(?:yaml|service))`).FindAllStringSubmatch(string(readme), -1)...)
	if len(links) < 6 {
		t.Errorf("only %d links", len(links))
	}
	for _, link := range links {
		info, err := os.Stat(filepath.Join(root, filepath.FromSlash(link[1])))
		switch {
		case err != nil:
			t.Errorf("the README leads nowhere: %v", err)
		case strings.HasSuffix(link[1], ".png") && info.Size() > 150_000:
			t.Errorf("%s has %d bytes; want at most 150,000", link[1], info.Size())
		}
	}
}

// TestPackagesAreListed: DEVELOPERS.md has a line for each package.
func TestPackagesAreListed(t *testing.T) {
	root := filepath.Join("..", "..")
	text, err := os.ReadFile(filepath.Join(root, "DEVELOPERS.md"))
	if err != nil {
		t.Fatal(err)
	}
	_, list, _ := strings.Cut(string(text), "```\n")
	list, _, _ = strings.Cut(list, "```")
	for _, level := range []string{"daemon", "devices", "model"} {
		_, lines, _ := strings.Cut("\n"+list, "\n"+level+"/")
		entries, err := os.ReadDir(filepath.Join(root, level))
		if err != nil {
			t.Fatal(err)
		}
		found := 0
		for _, e := range entries {
			if !e.IsDir() {
				continue
			}
			found++
			if !strings.Contains(lines, "\n  "+e.Name()+" ") {
				t.Errorf("%s/%s has no line", level, e.Name())
			}
		}
		if found < 3 {
			t.Errorf("only %d packages in %s", found, level)
		}
	}
}

// TestReferenceOnAPhone: a row that is drawn as a block says what each of its cells is; and the page
// begins with what it is for, and leads back to the pages.
func TestReferenceOnAPhone(t *testing.T) {
	html := get("/reference").Body.String()
	for _, want := range []string{`<td data-head="type">`, `<td data-head="meaning">`, `<td data-head="default">`, `href="/"`, `href="/help"`} {
		if !strings.Contains(html, want) {
			t.Errorf("the page has no %s", want)
		}
	}
	if first := html[:strings.Index(html, "<h2")]; strings.Contains(first, "generated") || strings.Contains(first, "go test") {
		t.Errorf("the page begins with how it is made: %s", first)
	}
}
