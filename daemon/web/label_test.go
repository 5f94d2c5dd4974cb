package web

import (
	"html"
	"net/http"
	"strings"
	"testing"

	"potlifed/daemon/view"
)

func TestLabel(t *testing.T) {
	s := newStand()
	server := newServer(t, s)
	h := server.Handler()
	get := func(path string) (int, string) {
		w := answerTo(h, fromHere("GET", path, ""))
		if csp := w.Header().Get("Content-Security-Policy"); !strings.Contains(csp, "style-src 'self'") {
			t.Errorf("%s: policy %q", path, csp)
		}
		return w.Code, w.Body.String()
	}
	// A person reads that there is no code; the key is for the one who set the bench up.
	words, details, folded := "", "", false
	if code, page := get("/batches/0612-1/label"); code == 200 {
		words, details, folded = strings.Cut(page, "<details>")
	}
	if !folded || strings.Contains(words, "public_url") || !strings.Contains(words, "There is no square code on this label") || !strings.Contains(details, "http.public_url") {
		t.Errorf("%s | %s", words, details)
	}
	if code, page := get("/batches/0612-1/label"); code != 200 || !strings.Contains(page, `src="/batches/0612-1/label.svg"`) {
		t.Errorf("%d %s", code, page)
	}
	if code, svg := get("/batches/0612-1/label.svg"); code != 200 || !strings.Contains(svg, ">0612-1<") || strings.Contains(svg, "crispEdges") {
		t.Errorf("%d %s", code, svg)
	}
	server.settings.PublicURL = "https://bench-1.local/p/"
	if code, page := get("/batches/0612-1/label"); code != 200 || strings.Contains(page, "public_url") {
		t.Errorf("%d %s", code, page)
	}
	if code, svg := get("/batches/0612-1/label.svg"); code != 200 || !strings.Contains(svg, "crispEdges") {
		t.Errorf("%d %s", code, svg)
	}
	if b, _ := findBatch(s.Snapshot(), "0612-1"); true {
		if l, _ := server.labelOf(b, s.Snapshot()); l.URL != "https://bench-1.local/p/batches/0612-1" {
			t.Errorf("URL %q", l.URL)
		}
	}
	s.show(func(n *view.Snapshot) {
		for i := range n.Batches {
			n.Batches[i].RatioReason, n.Batches[i].Ratio = "only for a trial print, and the rest of these many letters", &view.Ratio{OffPct: -28}
		}
	})
	if _, svg := get("/batches/0612-1/label.svg"); !strings.Contains(svg, " too little hardener: only for a trial print, and t…<") {
		t.Errorf("out of ratio: %s", svg)
	}
	s.show(func(n *view.Snapshot) {
		for i := range n.Batches {
			n.Batches[i].RatioReason = ""
		}
	})
	for _, none := range []string{"0612-2", "0611-7"} { // no hardener yet; closed
		isProblem(t, answerTo(h, fromHere("GET", "/batches/"+none+"/label.svg", "")), http.StatusConflict)
		if code, page := get("/batches/" + none + "/label"); code != 200 || !strings.Contains(page, "No label for "+none) || strings.Contains(page, "<img") {
			t.Errorf("%d %s", code, page)
		}
	}
	for _, path := range []string{"/batches/0612-99/label", "/batches/%3Cscript%3E/label", "/batches/0612-99/label.svg"} {
		isProblem(t, answerTo(h, fromHere("GET", path, "")), http.StatusNotFound)
	}
	if _, page := get("/batches/0612-1/label"); strings.Contains(page, "safety data sheet") {
		t.Error("a sheet that the configuration does not name is shown")
	}
	s.show(func(n *view.Snapshot) {
		for i := range n.Inks {
			n.Inks[i].SafetySheets = []view.SafetySheet{{Part: "hardener", ID: "hardener-a", Link: `https://maker.example/a.pdf?x="y"&z`}, {Part: "ink", ID: "evil", Link: "javascript:alert(1)"}}
		}
	})
	if _, page := get("/batches/0612-1/label"); !strings.Contains(page, `href="https://maker.example/a.pdf?x=%22y%22&amp;z"`) || !strings.Contains(page, "Safety data sheet of hardener-a") || strings.Contains(page, "javascript:") {
		t.Errorf("the link to the sheet is not on the label's page: %s", page)
	}
	s.show(func(n *view.Snapshot) { n.Batches[0].Quality = view.QualityUncertain })
	if _, svg := get("/batches/0612-1/label.svg"); !strings.Contains(svg, "uncertain") {
		t.Errorf("of uncertain figures: %s", svg)
	}
}

// TestARefusedPageIsAPage: a person who opens a page that cannot be shown reads why, in words; a program gets
// the problem.
func TestARefusedPageIsAPage(t *testing.T) {
	h := newServer(t, newStand()).Handler()
	for path, status := range map[string]int{"/report": 503, "/report?from=x": 503, "/checks/nothing": 404, "/batches/0612-99/label": 404, "/batches/0612-99/label.svg": 404} {
		p := isProblem(t, answerTo(h, fromHere("GET", path, "")), status)
		r := fromHere("GET", path, "")
		r.Header.Set("Accept", "text/html,application/xhtml+xml,*/*;q=0.8")
		w := answerTo(h, r)
		body, details, _ := strings.Cut(w.Body.String(), "<details>")
		if w.Code != status || !strings.HasPrefix(w.Header().Get("Content-Type"), "text/html") || !strings.Contains(body, html.EscapeString(p["text"].(string))) {
			t.Errorf("%s: status %d, %s", path, w.Code, w.Body)
		}
		if detail := html.EscapeString(p["detail"].(string)); strings.Contains(body, detail) || !strings.Contains(details, detail) {
			t.Errorf("%s: the detail is not behind the details: %s", path, w.Body)
		}
	}
}
