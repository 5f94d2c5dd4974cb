package page

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"potlifed/daemon/view"
)

// rejectsOf are the counts of a press, as the bench shows them.
func rejectsOf(pinholes, cliche uint64) []view.DefectCount {
	return []view.DefectCount{
		{Kind: "pinholes", Words: "Pinholes", Total: pinholes + 90, Today: pinholes}, {Kind: "incomplete-transfer", Words: "Incomplete transfer"},
		{Kind: "stringing", Words: "Stringing", Total: 3, Today: 3}, {Kind: "smearing", Words: "Smearing"}, {Kind: "poor-adhesion", Words: "Poor adhesion"},
		{Kind: "ghost", Words: "Ghost of the last print"}, {Kind: "colour-off", Words: "Colour off"}, {Kind: "dust", Words: "Dust"},
		{Kind: "cliche-wear", Words: "Worn cliché", Total: cliche, Today: cliche},
	}
}

// One tap reports one reject. It can be undone for ten seconds, and one too many taken off later.
func TestRejectsByOneTap(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := shop(now)
	press := &rows["presses"].([]view.Press)[0]
	press.PrintsToday, press.Defects = 1240, rejectsOf(11, 0)
	f, b := newFakeBench(t, rows), openBrowser(t, 1280, 800)
	b.openAt(f, "/presses")
	b.sees(".rejects", "1240 prints today, 14 rejects today")
	answers := func(pinholes, cliche uint64) {
		row := *press
		row.Defects = rejectsOf(pinholes, cliche)
		f.answer("defects", 200, row)
	}
	b.act("Report rejects", "press-1")
	answers(12, 0)
	b.click(`[aria-label="Pinholes 11: one reject on press-1"]`)
	want(t, f.body(t, "presses/press-1/defects"), "kind", "pinholes", "add", 1)
	b.sees(".rejects", "1240 prints today, 15 rejects today")
	b.sees(".undo-bar", "Reject on press-1: Pinholes")
	b.looks("rejects", wide, tall, phone)
	answers(11, 0)
	b.click(`.undo-bar button`)
	b.sees(".undo-bar", "Undone: Reject on press-1: Pinholes")
	want(t, f.body(t, "presses/press-1/defects"), "kind", "pinholes", "add", -1)
	b.sees(".rejects", "14 rejects today")

	b.act("Remove a reject", "press-1")
	b.eventually("a kind without rejects cannot lose one", `[...document.querySelectorAll(".reject-kind")].filter((e) => e.checkVisibility() && e.disabled).length === 7`)
	answers(10, 0)
	b.click(`[aria-label="Pinholes 11: remove one reject of press-1"]`)
	b.sees(".undo-bar", "Took one off press-1: Pinholes")
	answers(10, 1)
	b.click(`[aria-label="Worn cliché 0: one reject on press-1"]`) // the next tap is a reject again
	b.sees(".undo-bar", "Reject on press-1: Worn cliché")
	want(t, f.body(t, "presses/press-1/defects"), "kind", "cliche-wear", "add", 1)
	b.expect("409")
	f.answer("defects", 409, problem(409, "the disk is full"))
	b.click(`[aria-label="Dust 0: one reject on press-1"]`)
	b.sees(".rejects .refusal", "the disk is full")
	if sent := f.changes(); len(sent) != 5 {
		t.Errorf("five taps sent %v", sent)
	}
}

// Every tap counts, however soon it follows the last one: those that come while a report is on its way are reported
// together after it. A finger that bounces is one tap.
func TestEveryQuickTapIsAReject(t *testing.T) {
	t.Parallel()
	rows := shop(time.Now())
	press := &rows["presses"].([]view.Press)[0]
	press.Defects = rejectsOf(11, 0)
	f, b := newFakeBench(t, rows), openBrowser(t, 1280, 800)
	b.openAt(f, "/presses")
	b.act("Report rejects", "press-1")
	answered := *press
	answered.Defects = rejectsOf(16, 0)
	f.answer("defects", 200, answered)
	b.skip(time.Second)
	release := f.hold("/api/")
	tap := func(nth int) {
		b.run(chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`(() => {
			const kind = document.querySelector('[aria-label="Pinholes 11: one reject on press-1"]');
			const r = kind.getBoundingClientRect();
			kind.dispatchEvent(new MouseEvent("click", {detail: %d, bubbles: true, cancelable: true, clientX: r.x + 9, clientY: r.y + 9}));
		})()`, nth)))
	}
	for i := range 5 {
		tap(i + 1)
		b.skip(150 * time.Millisecond)
	}
	tap(1)
	b.skip(60 * time.Millisecond)
	tap(2)
	release()
	f.sent(t, "presses/press-1/defects", 2)
	b.sees(".undo-bar", "5 rejects on press-1: Pinholes")
	var added []string
	for _, a := range f.changes() {
		added = append(added, a.Body)
	}
	if want := []string{`{"kind":"pinholes","add":1}`, `{"kind":"pinholes","add":5}`}; !slices.Equal(added, want) {
		t.Errorf("seven taps, of which one bounced, sent %v; want %v", added, want)
	}
}

// The buttons of rejects breach no rule of WCAG 2.2, A and AA, in either state.
func TestRejectsBreachNoWCAG(t *testing.T) {
	t.Parallel()
	b, axe := openAxe(t)
	rows := shop(time.Now())
	rows["presses"].([]view.Press)[0].Defects = rejectsOf(11, 0)
	b.openAt(newFakeBench(t, rows), "/presses")
	b.act("Report rejects", "press-1")
	b.accessible(axe, "rejects", wide, phone)
	b.act("Remove a reject", "press-1")
	b.accessible(axe, "taking off", phone)
}
