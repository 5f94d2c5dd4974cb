// Package page is what people look at: the bench's page for the mixer, with the air, the
// scale, the guided mix, the open batches on their time axis, the lights and the alarms;
// the press board for the floor; and the devices for maintenance.
//
// All of it is static. What moves on it comes through the API under /api/v1 and its event
// stream, which any other client may use as well; the pages have no way in of their own.
package page

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"fmt"
	"io/fs"
	"net/http"
	"path"
	"regexp"
	"time"
)

//go:embed static/*.css static/*.js static/*.svg
var static embed.FS

// contentTypes are written out: those that package mime knows depend on the machine.
var contentTypes = map[string]string{
	".css": "text/css; charset=utf-8",
	".js":  "text/javascript; charset=utf-8",
	".svg": "image/svg+xml",
}

// ContentPolicy is the content security policy under which the pages work. It lets them
// load scripts, styles, images and data from their own server only, and refuses inline
// code and styles. The server sets it on every answer.
const ContentPolicy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; font-src 'self'; " +
	"connect-src 'self'; worker-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// batchPage is the page of any one batch; which, it reads from its own address.
const batchPage = "batch"

var batchPath = regexp.MustCompile(`^/batches/[0-9]{4}-[0-9]{1,9}[a-z]?$`)

// asset is a file as it is sent.
type asset struct {
	body []byte
	kind string
	etag string
}

// Handler serves the pages and, below /assets/, what they are made of. Everything else is
// not found. It is safe for concurrent use.
func Handler() http.Handler {
	assets := read()
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		at := r.URL.Path
		if batchPath.MatchString(at) {
			at = batchPage
		}
		a, ok := assets[at]
		if !ok {
			http.NotFound(w, r)
			return
		}
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			w.Header().Set("Allow", "GET, HEAD")
			http.Error(w, "this page is only read", http.StatusMethodNotAllowed)
			return
		}
		h := w.Header()
		h.Set("Content-Type", a.kind)
		// Kept, but asked about each time: after an upgrade no old script may meet a new
		// page, and the answer to the question is a few bytes.
		h.Set("Cache-Control", "no-cache")
		h.Set("ETag", a.etag)
		http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(a.body))
	})
}

// read takes the embedded files in. That they can be read is certain once the program is
// linked, so a failure is a fault of the program.
func read() map[string]asset {
	assets := map[string]asset{}
	add := func(at string, body []byte, kind string) {
		sum := sha256.Sum256(body)
		assets[at] = asset{body, kind, `"` + base64.RawURLEncoding.EncodeToString(sum[:12]) + `"`}
	}
	for _, d := range documents {
		add(d.At, d.html(), "text/html; charset=utf-8")
	}
	err := fs.WalkDir(static, "static", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		body, err := static.ReadFile(name)
		add("/assets/"+path.Base(name), body, contentTypes[path.Ext(name)])
		return err
	})
	if err != nil {
		panic(fmt.Sprintf("page: embedded files: %v", err))
	}
	return assets
}
