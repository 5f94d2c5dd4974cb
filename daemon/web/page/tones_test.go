package page

import (
	"context"
	"slices"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"potlifed/daemon/view"
	"potlifed/model/guide"
)

// before runs a script in each page that is opened from now on, before the page's own.
func (b *browser) before(script string) {
	b.t.Helper()
	b.run(chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
		_, err := cdp.Call(ctx, target, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: script})
		return err
	}))
}

// heardTones stands in for the browser's sound and keeps the pitches that were sounded.
const heardTones = `(() => {
	window.pitches = [];
	window.AudioContext = class {
		state = "suspended";
		currentTime = 0;
		destination = {};
		resume() { this.state = "running"; return Promise.resolve(); }
		createOscillator() {
			const tone = {frequency: {value: 0}, connect: (to) => to, start: () => window.pitches.push(tone.frequency.value), stop() {}};
			return tone;
		}
		createGain() { return {gain: {setValueAtTime() {}, linearRampToValueAtTime() {}}, connect: (to) => to}; }
	};
})()`

// TestTones: a pour sounds once when it comes near, once when it is right and once when it is too much,
// and so does a new alarm; nothing sounds where the tones are off, or before a person has tapped.
func TestTones(t *testing.T) {
	t.Parallel()
	now := time.Now()
	f, b := newFakeBench(t, stillShop(now)), openBrowser(t, 1280, 800)
	b.before(heardTones)
	b.open(f)
	pours := func(grams float64, sees string) {
		t.Helper()
		f.send("scale", scaleRow(now, 102.6+grams, false, "0612-4", &view.Pouring{Part: "hardener", PouredG: grams, TargetG: 17, LowG: 16.15, HighG: 17.85}))
		b.sees(".pour", sees)
		b.eventually("the rest of the page is drawn", twoFrames) // a weight is drawn before anything else, and its tone comes with the rest
	}
	sounded := func(what string, want ...float64) {
		t.Helper()
		if len(want) > 0 { // the figure is drawn first
			b.eventually(what+" sounds", "window.pitches.length > 0")
		}
		if got := eval[[]float64](b, "window.pitches.splice(0)"); !slices.Equal(got, want) {
			t.Errorf("%s: the tones %v sounded, want %v", what, got, want)
		}
	}
	tap := chromedp.Evaluate[chromedp.Void](`document.body.dispatchEvent(new PointerEvent("pointerdown", {bubbles: true}))`)
	b.run(tap)
	pours(15, "15.0 g")
	sounded("turned off")

	b.run(chromedp.Evaluate[chromedp.Void](`localStorage.setItem("potlifed.sound", '["on"]')`))
	pours(10, "10.0 g")
	pours(15, "15.0 g")
	sounded("before a tap")
	b.run(tap)
	pours(10, "10.0 g")
	sounded("far from the target")
	pours(15, "15.0 g")
	pours(15.2, "15.2 g")
	sounded("near", 660)
	pours(17.1, "17.1 g")
	sounded("right", 880, 1175)
	pours(19, "19.0 g")
	pours(19.1, "19.1 g")
	sounded("over", 330, 247)

	stale := view.Alarm{
		Time: now, Seq: 8, Name: "sensor-stale", Title: "Sensor not answering", Subject: "floor-air", State: "unacknowledged", Priority: "high", Since: now, Text: "No humidity",
	}
	f.send("alarm", stale)
	b.sees("#strip", "2")
	sounded("a new alarm", 784, 587, 784)
	stale.State = "acknowledged"
	f.send("alarm", stale)
	b.eventually("it is counted no more", `document.querySelector("#alarm-count").textContent.startsWith("1 ")`)
	sounded("an alarm that was there")
}

// TestTheScreenStaysOnDuringAMix: the lock of the screen is held while a mix is open on this scale, taken
// again when the page is seen again, and given back at the end.
func TestTheScreenStaysOnDuringAMix(t *testing.T) {
	t.Parallel()
	now := time.Now()
	f, b := newFakeBench(t, stillShop(now)), openBrowser(t, 1280, 800)
	b.before(`(() => {
		window.locks = 0;
		window.asks = 0;
		Object.defineProperty(navigator, "wakeLock", {value: {request: async () => {
			window.locks++;
			window.asks++;
			let lost;
			window.takeAway = () => { window.locks--; lost(); };
			return {addEventListener: (_, f) => (lost = f), release: async () => { window.locks--; lost(); }};
		}}});
	})()`)
	b.open(f)
	b.eventually("the screen is kept on", "window.locks === 1")
	b.run(chromedp.Evaluate[chromedp.Void](`window.takeAway(); document.dispatchEvent(new Event("visibilitychange"))`))
	b.eventually("it is kept on again", "window.locks === 1 && window.asks === 2")
	f.send("batch", mixingAt(now, guide.StirHardener))
	b.sees(".mix-head", "Stir the hardener in")
	if asks := eval[int](b, "window.asks"); asks != 2 {
		t.Errorf("it was asked for %d times, want 2", asks)
	}
	f.send("batch", openBatch(now, "0612-4", "dial-satin", "press-1", time.Hour, 2*time.Hour, 3*time.Hour))
	f.send("scale", scaleRow(now, 0, true, "", nil))
	b.eventually("the screen may go dark", "window.locks === 0")
}
