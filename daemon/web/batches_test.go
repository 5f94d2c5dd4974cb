package web

import (
	"encoding/csv"
	"errors"
	"net/http"
	"strings"
	"testing"
	"time"
)

func TestEndedBatches(t *testing.T) {
	s := newStand()
	h := newServer(t, s).Handler()
	w := answerTo(h, fromHere("GET", "/api/v1/batches?state=closed", ""))
	v := object(t, w)
	if v["seq"] != 42.0 || v["next"] != 0.0 || w.Header().Get("Link") != "" || w.Header().Get("Vary") != "Accept" {
		t.Errorf("%v %v", w.Header(), v)
	}
	b := v["batches"].([]any)[0].(map[string]any)
	for name, want := range map[string]any{
		"id": "0612-1", "ink": "dial-satin", "outcome": "used-up", "left_g": 3.5, "prints": 120.0, "age_s": 480.0, "mean_temperature_c": 21.5, "mean_humidity_pct": 45.0,
		"mixed_at": "2026-06-12T09:30:00Z", "closed_at": "2026-06-12T09:38:00Z", "seq": 1.0,
	} {
		if b[name] != want {
			t.Errorf("%s is %v, want %v", name, b[name], want)
		}
	}
	// Seven were reported and two taken off; a kind that is back at none is left out.
	if d, ok := b["defects"].(map[string]any); !ok || len(d) != 1 || d["dust"] != 5.0 {
		t.Errorf("defects %v", b["defects"])
	}
	if spent, ok := b["spent"].(float64); !ok || spent <= 0 || spent > 0.05 || dig(b["presses"].([]any)[0], "press") != "press-1" {
		t.Errorf("%v", b)
	}
	if s.to.Sub(s.from) < 6*24*time.Hour || s.to.Sub(s.from) > 8*24*time.Hour || !s.to.After(at) {
		t.Errorf("without a span: from %v to %v", s.from, s.to)
	}

	for query, n := range map[string]int{
		"press=press-1": 1, "press=press-2": 0, "ink=dial-satin": 1, "ink=gold": 0, "outcome=used-up": 1, "outcome=went-off": 0, "search=a+17": 1, "search=b": 0, "before=6": 0,
	} {
		v := object(t, answerTo(h, fromHere("GET", "/api/v1/batches?state=closed&"+query, "")))
		if got := len(v["batches"].([]any)); got != n {
			t.Errorf("%s: %d batches, want %d", query, got, n)
		}
	}
	answerTo(h, fromHere("GET", "/api/v1/batches?state=closed&from=2026-06-01&to=2026-06-02", ""))
	if !s.from.Equal(time.Date(2026, 6, 1, 0, 0, 0, 0, time.Local)) || !s.to.Equal(time.Date(2026, 6, 2, 0, 0, 0, 0, time.Local)) {
		t.Errorf("from %v to %v", s.from, s.to)
	}
	s.unread = errors.New("database is locked")
	isProblem(t, answerTo(h, fromHere("GET", "/api/v1/batches?state=closed", "")), http.StatusServiceUnavailable)
}

func TestEndedBatchesAsCSV(t *testing.T) {
	h := newServer(t, newStand()).Handler()
	byHeader := fromHere("GET", "/api/v1/batches?state=closed", "")
	byHeader.Header.Set("Accept", "text/csv")
	for name, r := range map[string]*http.Request{"header": byHeader, "query": fromHere("GET", "/api/v1/batches?state=closed&format=csv", "")} {
		w := answerTo(h, r)
		if ct := w.Header().Get("Content-Type"); !strings.HasPrefix(ct, "text/csv") || w.Header().Get("Vary") != "Accept" {
			t.Fatalf("%s: header %v", name, w.Header())
		}
		table, err := csv.NewReader(w.Body).ReadAll()
		if err != nil || len(table) != 2 {
			t.Fatalf("%s: %v: %v", name, err, table)
		}
		row := map[string]string{}
		for i, column := range table[0] {
			row[column] = table[1][i]
		}
		if row["id"] != "0612-1" || row["presses"] != "press-1" || row["closed_at"] != "2026-06-12T09:38:00Z" || row["age_s"] != "480" || row["prints"] != "120" || row["rejects"] != "5" || row["mean_temperature_c"] != "21.5" || row["at_least"] != "false" {
			t.Errorf("%s: %v", name, row)
		}
	}
}

// TestNextPageOfEnded: the link leads on in the same span with the same search, in both forms.
func TestNextPageOfEnded(t *testing.T) {
	in := batchesQuery{Press: "press 1", Search: `a"b&c>`, Limit: 7, Format: "csv"}
	s := newStand()
	h := newServer(t, s).Handler()
	answerTo(h, fromHere("GET", "/api/v1/batches?state=closed", ""))
	find := in.search(s.from, s.to)
	link := in.nextPage(find, 6)
	path, ok := strings.CutPrefix(link, "<")
	path, rest, found := strings.Cut(path, ">")
	if !ok || !found || rest != `; rel="next"` {
		t.Fatalf("link %q", link)
	}
	w := answerTo(h, fromHere("GET", path, ""))
	if w.Code != http.StatusOK || !strings.HasPrefix(w.Header().Get("Content-Type"), "text/csv") || strings.Count(w.Body.String(), "\n") != 1 {
		t.Errorf("%s: %d %v %s", path, w.Code, w.Header(), w.Body)
	}
	if !s.from.Equal(find.From) || !s.to.Equal(find.To) {
		t.Errorf("from %v to %v, want %v to %v", s.from, s.to, find.From, find.To)
	}
}

// TestOpenBatchesAreAsBefore: without a state the list is that of the open batches, and what
// only ended batches have is refused.
func TestOpenBatchesAreAsBefore(t *testing.T) {
	h := newServer(t, newStand()).Handler()
	plain := answerTo(h, fromHere("GET", "/api/v1/batches", ""))
	if v := object(t, plain); len(v["batches"].([]any)) != 2 || v["seq"] != 42.0 || v["next"] != nil || plain.Header().Get("Vary") != "" {
		t.Errorf("%v %v", plain.Header(), v)
	}
	asCSV := fromHere("GET", "/api/v1/batches", "")
	asCSV.Header.Set("Accept", "text/csv")
	for _, r := range []*http.Request{fromHere("GET", "/api/v1/batches?state=open", ""), fromHere("GET", "/api/v1/batches?format=json", ""), asCSV} {
		if w := answerTo(h, r); w.Body.String() != plain.Body.String() || w.Header().Get("Content-Type") != "application/json" {
			t.Errorf("%s: %v %s", r.URL, w.Header(), w.Body)
		}
	}
	for _, wrong := range []string{
		"from=2026-06-01", "to=2026-06-01", "press=press-1", "ink=x", "outcome=used-up", "search=x", "before=1", "format=csv", "state=lost", "state=closed&outcome=lost",
		"state=closed&from=2026-06-02&to=2026-06-01", "state=closed&from=june", "state=closed&from=1999-01-01", "state=closed&limit=0", "state=closed&limit=101",
		"state=closed&search=" + strings.Repeat("x", 101), "state=closed&format=xml", "state=closed&shop=1",
	} {
		isProblem(t, answerTo(h, fromHere("GET", "/api/v1/batches?"+wrong, "")), http.StatusUnprocessableEntity)
	}
}
