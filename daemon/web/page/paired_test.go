package page

import (
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"potlifed/model/guide"
)

var unpaired = map[string]any{"type": "urn:potlifed:pin-needed", "title": "Unauthorized", "status": 401, "detail": "a change needs a paired device", "text": "This device may not make changes yet."}

// keys taps digits on the pad, once it does not take a tap for the second of a double one.
func (b *browser) keys(digits string) {
	b.t.Helper()
	for _, d := range digits {
		b.press(string(d))
	}
}

// TestAChangeAsksForThePIN, by the large keys, and is then made under its first key.
func TestAChangeAsksForThePIN(t *testing.T) {
	t.Parallel()
	f, b := newFakeBench(t, stillShop(time.Now())), openBrowser(t, 800, 1280)
	b.expect("401")
	f.answer("confirm", 401, unpaired)
	f.answer("session", 401, map[string]any{"type": "urn:potlifed:wrong-pin", "title": "Unauthorized", "status": 401, "detail": "this is not the shop's PIN", "text": "That is not the shop’s PIN."})
	b.open(f)
	b.press("The hardener is in")
	b.sees("dialog[open]", "Allow this device")
	if focus := eval[string](b, "document.activeElement.name"); focus != "pin" {
		t.Errorf("the focus is on %q", focus)
	}
	b.keys("111999")
	b.press("Delete")
	pin := func() string { return eval[string](b, `document.querySelector("dialog[open] [name=pin]").value`) }
	if got := pin(); got != "11199" {
		t.Errorf("the keys wrote %q", got)
	}
	b.press("Allow")
	b.sees("dialog[open] .refusal", "That is not the shop’s PIN.")
	want(t, f.body(t, "session"), "device", "Computer", "pin", "11199")
	if got := pin(); got != "" {
		t.Errorf("the wrong PIN stays: %q", got)
	}
	b.looks("dialog-pin-wrong", wide, tall, phone)
	for status, words := range map[int]string{429: "Too many wrong PINs. Wait 63 s, then try again.", 503: "Tell the person who looks after it."} {
		b.expect(strconv.Itoa(status))
		f.answer("session", status, map[string]any{"title": "-", "status": status, "detail": "/var/lib/potlifed/access.json: wait 1m3s", "text": words})
		b.keys("111")
		b.press("Allow")
		b.sees("dialog[open] .refusal", words)
		if said := eval[string](b, `document.querySelector("dialog[open] .refusal").innerText`); strings.Contains(said, "1m3s") || strings.Contains(said, "/var") {
			t.Errorf("the words of the server stand on the page: %q", said)
		}
	}

	f.answer("session", 200, map[string]any{"id": "0123456789ab", "device": "Tablet at the bench", "mine": true})
	f.answer("confirm", 200, mixingAt(time.Now(), guide.StirHardener))
	b.fills("device", "Tablet at the bench")
	b.keys("90")
	b.run(chromedp.Evaluate[chromedp.Void](`document.querySelector("dialog[open] [name=pin]").focus()`), chromedp.KeyEvent("2817"+kb.Enter))
	b.closed()
	b.sees(".mix-head", "Stir the hardener in")
	want(t, f.body(t, "session"), "device", "Tablet at the bench", "pin", "902817")
	keys := map[string]int{}
	for _, a := range f.changes() {
		if strings.HasSuffix(a.Path, "/confirm") {
			keys[a.Key]++
		}
	}
	if len(keys) != 1 {
		t.Errorf("the change was sent under the keys %v; want twice the same", keys)
	}
	for _, n := range keys {
		if n != 2 {
			t.Errorf("the change was sent %d times", n)
		}
	}
	if kept := eval[string](b, `JSON.stringify({...localStorage})`); strings.Contains(kept, "902817") || !strings.Contains(kept, "Tablet at the bench") {
		t.Errorf("kept on the device: %s", kept)
	}
}

// TestGoingBackFromThePIN changes nothing, says so, and asks again the next time.
func TestGoingBackFromThePIN(t *testing.T) {
	t.Parallel()
	f, b := newFakeBench(t, stillShop(time.Now())), openBrowser(t, 390, 844)
	b.expect("401")
	f.answer("confirm", 401, unpaired)
	b.open(f)
	for range 2 {
		b.press("The hardener is in")
		b.sees("dialog[open]", "Allow this device")
		b.run(chromedp.KeyEvent(kb.Escape))
		b.closed()
		b.sees(`.mix [role="alert"]`, "may not make changes yet")
	}
	if asked := f.changes(); len(asked) != 2 {
		t.Errorf("the page asked for %v", asked)
	}
}

// TestThePINWithinADialog: a question that is answered while the device is not paired
// stays, with what was entered, under that for the PIN.
func TestThePINWithinADialog(t *testing.T) {
	t.Parallel()
	f, b := newFakeBench(t, stillShop(time.Now())), openBrowser(t, 390, 844)
	b.expect("401")
	f.answer("out-of-service", 401, unpaired)
	b.openAt(f, "/devices")
	b.act("Out of service…", "bench-air")
	b.fills("hours", "2")
	b.fills("reason", "salt test")
	b.press("Take it out")
	b.sees("dialog[open]", "Allow this device")
	if titles := eval[int](b, `new Set([...document.querySelectorAll("dialog[open]")].map((d) => document.getElementById(d.getAttribute("aria-labelledby")).innerText)).size`); titles != 2 {
		t.Errorf("two dialogs have %d names", titles)
	}
	f.answer("out-of-service", 200, map[string]any{})
	b.keys("902817")
	b.press("Allow")
	b.closed()
	if got := f.body(t, "sensors/bench-air/out-of-service")["reason"]; got != "salt test" {
		t.Errorf("reason %v", got)
	}
}

// TestADoubleTapIsNoDigit: the second tap on what opened the pad does not land on it.
func TestADoubleTapIsNoDigit(t *testing.T) {
	t.Parallel()
	f, b := newFakeBench(t, stillShop(time.Now())), openBrowser(t, 390, 844)
	b.expect("401")
	f.answer("confirm", 401, unpaired)
	b.open(f)
	b.press("The hardener is in")
	b.sees("dialog[open]", "Allow this device")
	pin := func() string { return eval[string](b, `document.querySelector("dialog[open] [name=pin]").value`) }
	tap := `[...document.querySelectorAll("dialog[open] .key")].find((k) => k.innerText === "7").dispatchEvent(new MouseEvent("click", { detail: 1, bubbles: true }))`
	b.run(chromedp.Evaluate[chromedp.Void](tap))
	if got := pin(); got != "" {
		t.Errorf("the double tap wrote %q", got)
	}
	b.skip(600 * time.Millisecond)
	b.run(chromedp.Evaluate[chromedp.Void](tap))
	if got := pin(); got != "7" {
		t.Errorf("a later tap wrote %q", got)
	}
}

func TestPairedDevices(t *testing.T) {
	t.Parallel()
	rows := shop(time.Now())
	rows["sessions"] = []map[string]any{
		{"id": "aaaaaaaaaaaa", "device": "Tablet at the bench", "made": "2026-06-01T08:00:00Z", "until": "2026-07-01T08:00:00Z", "mine": true},
		{"id": "bbbbbbbbbbbb", "device": "Phone", "made": "2026-06-10T08:00:00Z", "until": "2026-07-10T08:00:00Z", "mine": false},
	}
	rows["pin_set"] = true
	f, b := newFakeBench(t, rows), openBrowser(t, 390, 844)
	b.openAt(f, "/devices")
	b.sees("#paired", "Tablet at the bench")
	b.sees("#paired", "allowed since 10 Jun 2026, until 10 Jul 2026")
	b.looks("page-devices-paired", wide, tall, phone)
	if mine := eval[[]string](b, `[...document.querySelectorAll("#paired .device-words")].filter((e) => e.checkVisibility()).map((e) => e.closest("li").querySelector("h3").innerText)`); len(mine) != 1 || mine[0] != "Tablet at the bench" {
		t.Errorf("this device is %v", mine)
	}
	b.act("Take away…", "Phone")
	b.sees("dialog[open]", "Phone: no more changes?")
	f.mu.Lock()
	rows["sessions"] = rows["sessions"].([]map[string]any)[:1]
	f.mu.Unlock()
	b.press("Take the permission away")
	b.closed()
	f.body(t, "sessions/bbbbbbbbbbbb/unpair")
	b.eventually("it is gone", `!document.querySelector("#paired").innerText.includes("Phone")`)

	f.mu.Lock()
	rows["sessions"] = []map[string]any{}
	f.mu.Unlock()
	b.openAt(f, "/devices")
	b.sees("#paired", "This device only reads")
	b.press("Allow this device…")
	b.sees("dialog[open]", "Allow this device")
	b.looks("dialog-pin", wide, tall, phone)
	b.press("Back")
	b.closed()

	f.mu.Lock()
	rows["pin_set"] = false
	f.mu.Unlock()
	b.openAt(f, "/devices")
	b.sees("#paired", "No PIN is set: only the bench’s own computer")
}
