package page

import (
	"fmt"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"potlifed/model/guide"
)

// TestThePadTakesQuickDigits: a PIN with a digit four times, typed at 200 ms, is taken whole; a tap
// that bounces is not.
func TestThePadTakesQuickDigits(t *testing.T) {
	t.Parallel()
	f, b := newFakeBench(t, stillShop(time.Now())), openBrowser(t, 800, 1280)
	b.expect("401")
	f.answer("confirm", 401, unpaired)
	b.open(f)
	b.press("The hardener is in")
	b.sees("dialog[open]", "Allow this device")
	b.skip(600 * time.Millisecond) // the second tap on what opened the pad is not meant
	tap := func(nth int) {
		b.run(chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`(() => {
			const key = [...document.querySelectorAll("dialog[open] .key")].find((k) => k.innerText === "5");
			const r = key.getBoundingClientRect();
			key.dispatchEvent(new MouseEvent("click", {detail: %d, bubbles: true, cancelable: true, clientX: r.x + r.width / 2, clientY: r.y + r.height / 2}));
		})()`, nth)))
	}
	for i := range 4 {
		tap(i + 1)
		b.skip(200 * time.Millisecond)
	}
	b.skip(time.Second)
	tap(1)
	b.skip(60 * time.Millisecond)
	tap(2)
	if pin := eval[string](b, `document.querySelector("dialog[open] [name=pin]").value`); pin != "55555" {
		t.Errorf("four taps at 200 ms and one that bounced wrote %q", pin)
	}
}

// TestATapOnTheNextStepIsNotLost: on a busy machine the bench's next state comes before the answer
// that it belongs to, and the next tap before that answer.
func TestATapOnTheNextStepIsNotLost(t *testing.T) {
	t.Parallel()
	now := time.Now()
	f, b := newFakeBench(t, stillShop(now)), openBrowser(t, 1280, 800)
	b.open(f)
	b.sees(".mix-head", "Pour hardener-a")
	release := f.hold("/api/")
	b.press("The hardener is in")
	f.send("batch", mixingAt(now, guide.StirHardener))
	b.sees(".mix-head", "Stir the hardener in")
	b.press("It is stirred in")
	b.press("It is stirred in") // this one is the same tap again
	release()
	f.sent(t, "batches/0612-4/confirm", 2)
	b.eventually("every answer has come", `!document.querySelector('[aria-busy="true"]')`)
	sent := map[string]int{}
	for _, a := range f.changes() {
		sent[a.Body]++
	}
	if len(sent) != 2 || sent[`{"step":"hardener"}`] != 1 || sent[`{"step":"stir-hardener"}`] != 1 {
		t.Errorf("the page sent %v, want each of the two steps once", sent)
	}
}
