package main

import (
	"encoding/json"
	"io"
	"net/http"
	"regexp"
	"strings"
	"testing"
)

// fetched returns what the bench answers on a path.
func (m *mixer) fetched(path string) string {
	m.t.Helper()
	r, err := http.Get(strings.TrimSuffix(m.url, "/") + path)
	if err != nil {
		m.t.Fatal(err)
	}
	defer r.Body.Close()
	text, err := io.ReadAll(r.Body)
	if err != nil || r.StatusCode != http.StatusOK {
		m.t.Fatalf("GET %s: %s %v\n%s", path, r.Status, err, text)
	}
	return string(text)
}

// TestRejectsAreOnRecord: an operator taps three rejects on the board of the presses and undoes one. The history,
// the study and the metrics say the same, and the page of the study shows it.
func TestRejectsAreOnRecord(t *testing.T) {
	t.Parallel()
	m := newMixer(t, quickScale)
	m.records("dial-satin", 0, 8)
	id := m.another("dial-satin in zone bench")
	m.opens("/presses")
	m.taps("Load… (press-2)")
	m.chooses("Open batches without a press", id)
	m.misses("Which cup is on press-2?")
	m.taps("Report rejects (press-2)")
	m.taps("Pinholes 0: one reject on press-2")
	m.taps("Pinholes 1: one reject on press-2")
	m.waits("the second pinhole is not counted", reading+`.button("Pinholes 2: one reject on press-2") !== undefined`) // the undo is of the last answer
	m.taps("Dust 0: one reject on press-2")
	m.taps("Undo: Reject on press-2: Dust")
	m.sees("Undone: Reject on press-2: Dust")
	m.taps("Cup taken off (" + id + ")") // the counts of its last minute are an event then
	m.sees("press-2 Empty")

	var past struct {
		Defects []struct {
			Press, Kind, Batch string
			Defects            int
		}
	}
	if err := json.Unmarshal([]byte(m.fetched("/api/v1/history/defects")), &past); err != nil {
		t.Fatal(err)
	}
	counted := map[string]int{}
	for _, d := range past.Defects {
		if d.Press != "press-2" || d.Batch != id {
			t.Errorf("%+v", d)
		}
		counted[d.Kind] += d.Defects
	}
	if counted["pinholes"] != 2 || counted["dust"] != 0 {
		t.Errorf("the history has %v", counted)
	}
	var study struct {
		Unexposed float64 `json:"defects_without_prints"` // nobody counted prints
		Defects   float64
	}
	if err := json.Unmarshal([]byte(m.fetched("/api/v1/study")), &study); err != nil {
		t.Fatal(err)
	}
	if study.Unexposed != 2 || study.Defects != 0 {
		t.Errorf("the study has %+v", study)
	}
	series := regexp.MustCompile(`(?m)^potlife_defects_total\{[^}]*kind="pinholes"[^}]*press="press-2"[^}]*\} 2$`)
	if text := m.fetched("/metrics"); !series.MatchString(text) {
		t.Errorf("the metrics have %q", regexp.MustCompile(`(?m)^potlife_defects_total.*$`).FindAllString(text, -1))
	}
	m.opens("/study")
	m.sees("2 rejects")
}
