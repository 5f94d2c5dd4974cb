package page

import (
	"compress/gzip"
	"io"
	"maps"
	"net/http"
	"net/http/httptest"
	"regexp"
	"slices"
	"strings"
	"testing"

	"potlifed/daemon/web/label"
)

const (
	htmlKind  = "text/html; charset=utf-8"
	immutable = "public, max-age=31536000, immutable"
)

func get(t *testing.T, method, path string, header ...string) *http.Response {
	t.Helper()
	r := httptest.NewRequest(method, path, nil)
	for i := 0; i+1 < len(header); i += 2 {
		r.Header.Set(header[i], header[i+1])
	}
	w := httptest.NewRecorder()
	inEnglish().Handler().ServeHTTP(w, r)
	return w.Result()
}

func read(t *testing.T, r io.Reader) string {
	t.Helper()
	body, err := io.ReadAll(r)
	if err != nil {
		t.Fatal(err)
	}
	return string(body)
}

func TestHandlerServes(t *testing.T) {
	type want struct{ kind, kept string }
	served := map[string]want{"/batches/0612-3b": {htmlKind, "no-cache"}}
	for _, d := range documents {
		if d.At != batchPage {
			served[d.At] = want{htmlKind, "no-cache"}
		}
	}
	served[offlinePath] = want{htmlKind, "no-cache"}
	served[manifestPath] = want{"application/manifest+json", "no-cache"}
	served[workerPath] = want{"text/javascript; charset=utf-8", "no-cache"}
	for name, kind := range map[string]string{
		"bench/main.css": "text/css; charset=utf-8", "bench/main.js": "text/javascript; charset=utf-8",
		"lib/icon.svg": "image/svg+xml", "lib/texts.js": "text/javascript; charset=utf-8",
	} {
		served[inEnglish().site.assets.paths[name]] = want{kind, immutable}
	}
	for path, w := range served {
		tags := map[string]bool{}
		for _, coding := range []string{"identity", "gzip"} {
			r := get(t, "GET", path, "Accept-Encoding", coding)
			if r.StatusCode != 200 || r.Header.Get("Content-Type") != w.kind {
				t.Errorf("GET %s: %d %q, want 200 %q", path, r.StatusCode, r.Header.Get("Content-Type"), w.kind)
			}
			if kept := r.Header.Get("Cache-Control"); kept != w.kept || r.Header.Get("Vary") != "Accept-Encoding" {
				t.Errorf("GET %s: Cache-Control %q, Vary %q", path, kept, r.Header.Get("Vary"))
			}
			tag := r.Header.Get("ETag")
			tags[tag] = true
			if again := get(t, "GET", path, "If-None-Match", tag, "Accept-Encoding", coding); again.StatusCode != http.StatusNotModified {
				t.Errorf("GET %s as %s with its own tag %s: %d, want 304", path, coding, tag, again.StatusCode)
			}
		}
		if len(tags) != 2 || tags[""] {
			t.Errorf("GET %s: one encoding each has the tags %v", path, tags)
		}
		if head := get(t, "HEAD", path); head.StatusCode != 200 {
			t.Errorf("HEAD %s: %d", path, head.StatusCode)
		}
	}
}

func TestHandlerRefuses(t *testing.T) {
	for _, path := range []string{
		"/index.html", "/assets/", "/assets/index.html", "/presses.html", "/assets/bench/main.js", "/assets/lib/base.css", "/bench/main.js", "/frame.html",
		"/assets/bench/page.html", "/nothing", "/batch", "/batches/*", "/batches/", "/batches/0612", "/batches/a/b", "/assets/../page.go",
	} {
		if r := get(t, "GET", path); r.StatusCode != http.StatusNotFound {
			t.Errorf("GET %s: %d, want 404", path, r.StatusCode)
		}
	}
	r := get(t, "POST", "/")
	if r.StatusCode != http.StatusMethodNotAllowed || r.Header.Get("Allow") != "GET, HEAD" {
		t.Errorf("POST /: %d, Allow %q", r.StatusCode, r.Header.Get("Allow"))
	}
}

func TestCompressedIsTheSame(t *testing.T) {
	var plain, packed int
	for path, c := range inEnglish().site.assets.served {
		r := get(t, "GET", path, "Accept-Encoding", "br, gzip;q=0.5")
		if r.Header.Get("Content-Encoding") != "gzip" {
			t.Fatalf("%s: Content-Encoding %q", path, r.Header.Get("Content-Encoding"))
		}
		z, err := gzip.NewReader(r.Body)
		if err != nil {
			t.Fatal(err)
		}
		want := read(t, get(t, "GET", path).Body)
		if got := read(t, z); got != want || want != string(c.plain()) {
			t.Errorf("%s: what is unpacked differs from what is sent plain", path)
		}
		plain, packed = plain+len(c.plain()), packed+len(c.packed)
	}
	if packed > plain/2 {
		t.Errorf("%d bytes are packed to %d", plain, packed)
	}
}

func TestTakesGzip(t *testing.T) {
	for accepted, want := range map[string]bool{
		"": false, "gzip": true, "br, GZIP": true, "gzip;q=0": false, "gzip; q=0.0": false, "gzip ; q=0.1, br": true, "identity": false, "x-gzip": false, "gzip;q=many": false,
	} {
		if got := takesGzip([]string{accepted}); got != want {
			t.Errorf("%q: %v, want %v", accepted, got, want)
		}
	}
	if !takesGzip([]string{"br", "gzip"}) {
		t.Error("a second line of the header is not read")
	}
}

// documentsHTML are all pages as they are sent, by name.
func documentsHTML(t *testing.T) map[string]string {
	t.Helper()
	all := map[string]string{}
	for at, c := range inEnglish().site.pages {
		if c.kind == htmlKind {
			all[at] = string(c.plain())
		}
	}
	body, err := inEnglish().Label(label.Label{Batch: "0612-1"}, "", nil)
	if err != nil {
		t.Fatal(err)
	}
	all["label"] = string(body)
	return all
}

// TestEverythingNamedIsServed: a file that a page names and nobody serves leaves the page blank.
// And what is served is named by something, or it would be left behind.
func TestEverythingNamedIsServed(t *testing.T) {
	served := inEnglish().site.assets.served
	bodies := documentsHTML(t)
	for at, c := range served {
		bodies[at] = string(c.plain())
	}
	bodies[manifestPath] = string(inEnglish().site.pages[manifestPath].plain())
	named := regexp.MustCompile(`(?:src|href)"?[=:]"(/assets/[^"]+)"|(?:from|import) "([^"]+)"`)
	outside := regexp.MustCompile(`(?:src|href|url)\s*[=(]\s*["']?(?:https?:)?//`)
	used := map[string]bool{}
	for at, body := range bodies {
		for _, m := range named.FindAllStringSubmatch(body, -1) {
			want := m[1] + m[2]
			used[want] = true
			if _, ok := served[want]; !ok {
				t.Errorf("%s names %s, which is not served", at, want)
			}
		}
		if found := outside.FindString(body); found != "" {
			t.Errorf("%s reaches outside: %s", at, found)
		}
	}
	for at := range served {
		if !used[at] {
			t.Errorf("nothing names %s", at)
		}
	}
}

// TestEveryFileIsPartOfAPage: a module that none imports, or a style that no page has, would be left
// behind.
func TestEveryFileIsPartOfAPage(t *testing.T) {
	a := inEnglish().site.assets
	used := map[string]bool{}
	for name := range a.modules {
		if strings.HasSuffix(name, "/main.js") {
			for _, part := range a.order(name) {
				used[part] = true
			}
		}
	}
	for _, d := range append(slices.Clone(documents), labelPage, helpPage, offlinePage) {
		for _, name := range d.Styles {
			used[name] = true
		}
	}
	for _, name := range slices.Concat(slices.Collect(maps.Keys(a.modules)), slices.Collect(maps.Keys(a.styles))) {
		if !used[name] {
			t.Errorf("no page has %s", name)
		}
	}
}

// TestPagesAskForAllTheirScriptsAtOnce: the texts that a script imports are named in the head as well,
// so that they do not wait for the script to be read first. No page asks for more than two scripts
// and one style.
func TestPagesAskForAllTheirScriptsAtOnce(t *testing.T) {
	a := inEnglish().site.assets
	for at, body := range documentsHTML(t) {
		asks := regexp.MustCompile(`<link rel="modulepreload" href="([^"]+)">`).FindAllStringSubmatch(body, -1)
		scripts := regexp.MustCompile(`<script type="module" src="([^"]+)">`).FindAllStringSubmatch(body, -1)
		if styles := strings.Count(body, `rel="stylesheet"`); styles != 1 || len(asks) > 2 || len(scripts) > 1 {
			t.Errorf("%s asks for %d styles, %d modules and %d scripts", at, styles, len(asks), len(scripts))
		}
		early := map[string]bool{}
		for _, m := range asks {
			early[m[1]] = true
		}
		for _, m := range scripts {
			if !early[m[1]] {
				t.Errorf("%s: %s is not asked for in the head", at, m[1])
			}
			for _, imported := range regexp.MustCompile(`(?m)^import .* from "([^"]+)";$`).FindAllSubmatch(a.served[m[1]].plain(), -1) {
				if !early[string(imported[1])] {
					t.Errorf("%s: %s imports %s, which is not asked for in the head", at, m[1], imported[1])
				}
			}
		}
	}
}

// TestImportsRunOneWay: a page imports from its own folder, from parts and from lib; parts from
// parts and lib; lib from lib alone. No page knows another.
func TestImportsRunOneWay(t *testing.T) {
	folder := func(name string) string { return strings.Split(name, "/")[0] }
	edges := 0
	for name, m := range inEnglish().site.assets.modules {
		for _, imported := range m.imports {
			edges++
			from, to := folder(name), folder(imported)
			if from != to && to != "lib" && (to != "parts" || from == "lib") {
				t.Errorf("%s imports %s", name, imported)
			}
		}
	}
	if edges < 50 {
		t.Errorf("only %d imports were found", edges)
	}
}
