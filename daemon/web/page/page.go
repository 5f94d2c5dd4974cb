// Package page serves the pages: the bench's page for the mixer, with the air, the scale, the
// guided mix, the open batches on their time axis, the lights and the alarms; the press board
// for the floor, and a larger one for the wall; the cans, the devices for maintenance, one batch,
// and a label. A manifest and a service worker make them an app of the device that shows them.
//
// The pages are static. Their data comes through the API under /api/v1 and its event stream,
// which any other client may use as well.
package page

import (
	"bytes"
	"fmt"
	"net/http"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"time"

	"potlifed/daemon/words"
)

// ContentPolicy is the content security policy under which the pages work. It lets them
// load scripts, styles, images and data from their own server only, and refuses inline
// code and styles. The server sets it on every answer.
const ContentPolicy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; font-src 'self'; " +
	"connect-src 'self'; worker-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// batchPage is the key of the page of one batch. The page reads the batch's id from its address.
const batchPage = "batch"

// wallPage is the address of the presses for a screen that is read from across the hall.
const wallPage = "/presses?wall"

var batchPath = regexp.MustCompile(`^/batches/[0-9]{4}-[0-9]{1,9}[a-z]?$`)

// Pages are the pages as a shop reads them: in its language, its time zone and its units.
type Pages struct{ site *built }

// inEnglish are the pages in the zero locale, put together once.
var inEnglish = sync.OnceValue(func() *Pages { return put(words.Locale{}) })

// In returns the pages in a locale. It is safe for concurrent use.
func In(l words.Locale) *Pages {
	if l == (words.Locale{}) {
		return inEnglish()
	}
	return put(l)
}

// put puts the pages together. That this succeeds is certain once the tests have passed, so a
// failure is a fault of the program.
func put(l words.Locale) *Pages {
	s, err := build(files, l)
	if err != nil {
		panic(fmt.Sprintf("page: %v", err))
	}
	return &Pages{s}
}

// Handler serves the pages and, below /assets/, what they are made of. Everything else is
// not found. It is safe for concurrent use.
func (p *Pages) Handler() http.Handler {
	s := p.site
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		at := r.URL.Path
		if batchPath.MatchString(at) {
			at = batchPage
		}
		if at == "/presses" && r.URL.Query().Has("wall") {
			at = wallPage
		}
		c, ok := s.pages[at]
		if !ok {
			c, ok = s.assets.served[at]
		}
		if !ok {
			http.NotFound(w, r)
			return
		}
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			w.Header().Set("Allow", "GET, HEAD")
			http.Error(w, "this page is only read", http.StatusMethodNotAllowed)
			return
		}
		c.serve(w, r)
	})
}

// serve answers a request for c, compressed where the client takes that.
func (c content) serve(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	h.Set("Content-Type", c.kind)
	h.Set("Vary", "Accept-Encoding")
	if c.immutable {
		h.Set("Cache-Control", "public, max-age=31536000, immutable")
	} else {
		// A page is kept, but asked about each time: it names the assets of its version, and
		// after an upgrade no old script may meet a new page.
		h.Set("Cache-Control", "no-cache")
	}
	body, tag := c.packed, c.tag+"-gzip"
	if takesGzip(r.Header.Values("Accept-Encoding")) {
		h.Set("Content-Encoding", "gzip")
	} else {
		body, tag = c.plain(), c.tag
	}
	h.Set("ETag", strconv.Quote(tag))
	http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(body))
}

// takesGzip tells whether the values of Accept-Encoding name gzip with a weight above zero
// (RFC 9110, 12.5.3).
func takesGzip(accepted []string) bool {
	for coding := range strings.SplitSeq(strings.Join(accepted, ","), ",") {
		name, weight, _ := strings.Cut(coding, ";")
		if !strings.EqualFold(strings.TrimSpace(name), "gzip") {
			continue
		}
		q, weighted := strings.CutPrefix(strings.ReplaceAll(strings.ToLower(weight), " ", ""), "q=")
		value, err := strconv.ParseFloat(q, 64)
		return !weighted || err == nil && value > 0
	}
	return false
}
