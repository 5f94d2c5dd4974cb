package main

import (
	"potlifed/daemon/peers"
	"testing"

	"github.com/chromedp/chromedp"
)

// TestProgramBreachesNoWCAG: axe-core, whose file POTLIFED_AXE names, finds nothing against
// WCAG 2.2, levels A and AA, on any page of the running program, with the headers that it
// sends; among them those of one batch and of its label.
func TestProgramBreachesNoWCAG(t *testing.T) {
	axe := peers.Axe(t)
	m := newMixer(t, quickScale)
	m.records("dial-satin", 0, 8)
	id := m.another("dial-satin in zone bench")
	m.taps("Load… (" + id + ")")
	m.chooses("Press", "press-1")
	m.taps("It is on this press")
	m.sees(id + " dial-satin on press-1")
	for path, body := range map[string]any{
		"sensors/bench-air/verifications": map[string]any{"humidity_pct": 50, "accuracy_pct": 1},
		"scales/scale-1/verifications":    map[string]any{"weight_class": "M1", "loads": []any{map[string]any{"weights_g": []float64{100}, "readings_g": []float64{100, 100, 100, 100, 100, 100.1}}}},
	} {
		if _, wrong := m.program.post(path, body); wrong != nil {
			t.Fatalf("%s: %+v", path, wrong)
		}
	}
	for _, page := range []struct{ path, shows string }{
		{"/", id}, {"/presses", id}, {"/cans", "Add a can"}, {"/closed", "Closed batches"}, {"/devices", "bench-air"}, {"/batches/" + id, "Poured"}, {"/batches/" + id + "/label", id},
		{"/study", "Condition"}, {"/report", "No batch ended in this period"}, {"/help", "Risk"}, {"/checks/bench-air", "Signed"}, {"/checks/scale-1", "Signed"},
	} {
		m.run(chromedp.Navigate(m.url + page.path))
		m.waits(page.shows, "(document.body.innerText + document.title).includes("+quoted(page.shows)+")")
		m.run(chromedp.Evaluate[chromedp.Void](axe + ";undefined"))
		found := evaluate[struct {
			Wrong  []string
			Passes int
		}](m, `axe.run({runOnly: {type: "tag", values: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}}).then((r) => ({
			wrong: r.violations.flatMap((v) => v.nodes.map((n) => v.id + ": " + n.html + " " + n.failureSummary)), passes: r.passes.length}))`)
		for _, wrong := range found.Wrong {
			t.Errorf("%s: %s", page.path, wrong)
		}
		if found.Passes < 5 {
			t.Errorf("%s: axe-core judged by %d rules only", page.path, found.Passes)
		}
	}
}
