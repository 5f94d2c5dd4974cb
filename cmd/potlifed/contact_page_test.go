package main

import (
	"os"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// busy is by how much a loaded machine may be slower than the times that are promised.
const busy = 5

// TestThePageSaysThatContactIsLost: the program is killed in the middle of a pour. Within 3 s the
// weight is grey and the button says so, and nothing moves; within 2 s of the program's return the
// page is back, with the mix.
func TestThePageSaysThatContactIsLost(t *testing.T) {
	t.Parallel()
	m := newMixer(t, quickScale)
	m.begins()
	m.pours(40)
	m.seesIn("Guided mix", "45.0 g to go")
	address := strings.TrimPrefix(m.url, "http://")
	evaluate[bool](m, `(() => {
		window.seen = {};
		window.moved = 0;
		new PerformanceObserver((list) => list.getEntries().forEach((e) => (window.moved += e.value))).observe({type: "layout-shift"});
		const note = (name) => (window.seen[name] ??= performance.now());
		setInterval(() => {
			const button = document.querySelector(".mix .main").innerText;
			if (button === "No contact" && document.querySelector(".weight").dataset.fresh === "false") note("lost");
			if (window.seen.lost && button === "The ink is in") note("back");
		}, 20);
		return true;
	})()`)
	m.program.kill()
	killed := evaluate[float64](m, "performance.now()")
	m.waits("contact to be lost", "window.seen.lost !== undefined")
	if after := evaluate[float64](m, "window.seen.lost") - killed; after > busy*3000 {
		t.Errorf("the page said so after %.0f ms", after)
	} else {
		t.Logf("the page said so after %.0f ms", after)
	}
	m.seesIn("Guided mix", "No contact with the bench: do not pour on.")
	m.seesNot("45.0 g to go")
	m.passes(12_000) // for as long a pause as a back-off would have grown in
	if moved := evaluate[float64](m, "window.moved"); moved >= 0.1 {
		t.Errorf("the page moved by %.3f, want less than 0.1", moved)
	}

	file := m.dir + "/potlifed.yaml"
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, []byte(strings.Replace(string(text), `listen: "127.0.0.1:0"`, `listen: "`+address+`"`, 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	m.program = start(t, file)
	ready := evaluate[float64](m, "performance.now()")
	m.waits("the page to be back", "window.seen.back !== undefined")
	if after := evaluate[float64](m, "window.seen.back") - ready; after > busy*2000 {
		t.Errorf("the page was back %.0f ms after the program", after)
	} else {
		t.Logf("the page was back %.0f ms after the program", after)
	}
	m.seesIn("Guided mix", "45.0 g to go")
	_ = chromedp.Cancel(m.page) // the second program ends before the window would, of which the page would complain
	m.mu.Lock()
	defer m.mu.Unlock()
	kept := m.faults[:0]
	for _, fault := range m.faults {
		if !strings.Contains(fault, "Failed to load resource") && !strings.Contains(fault, "ERR_") {
			kept = append(kept, fault)
		}
	}
	m.faults = kept
}
