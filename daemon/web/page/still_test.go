package page

import (
	"net/http"
	"net/http/httptest"
	"testing"

	"github.com/chromedp/chromedp"

	"potlifed/daemon/reference"
)

// TestHelpAndReferenceFitTheScreen: the pages without a script are read on every size of screen: none
// is wider than it, no text reaches out of its box, and the list of contents can be touched.
func TestHelpAndReferenceFitTheScreen(t *testing.T) {
	t.Parallel()
	b := openBrowser(t, int(narrow.width), int(narrow.height))
	mux := http.NewServeMux()
	mux.Handle("/", inEnglish().Handler())
	mux.Handle("/reference", reference.Handler())
	mux.Handle("/reference.css", reference.Handler())
	mux.HandleFunc("/favicon.ico", func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusNoContent) })
	server := httptest.NewServer(mux)
	t.Cleanup(server.Close)
	for _, path := range []string{"/help", "/reference"} {
		b.run(chromedp.Navigate(server.URL + path))
		b.wraps(path, narrow, phone, tall, wide, wall)
		b.run(chromedp.EmulateViewport(phone.width, phone.height))
		for _, small := range eval[[]string](b, `[...document.querySelectorAll("nav a, main > ul a")].filter((a) => a.checkVisibility() && a.getBoundingClientRect().height < 24).map((a) => a.innerText)`) {
			t.Errorf("%s: %q of the contents is too low for a finger", path, small)
		}
		if n := eval[int](b, `[...document.querySelectorAll("nav a[href^='#'], main > ul a[href^='#']")].filter((a) => document.getElementById(a.hash.slice(1)) !== null).length`); n < 15 {
			t.Errorf("%s: its contents lead to %d places", path, n)
		}
	}
}
