package page

import (
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"potlifed/daemon/view"
	"potlifed/model/guide"
	"potlifed/model/mix"
)

// asideAt is a mix that was set aside at a step.
func asideAt(now time.Time, id string, step guide.Step) view.Batch {
	b := mixingAt(now, step)
	weighs := 119.6
	b.ID, b.Aside, b.CupWeighsG, b.Scale = id, true, &weighs, "scale-1"
	b.Components = append(b.Components, mix.Component{Part: "hardener", G: 17})
	return b
}

func TestMixesThatWait(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := shop(now)
	scenes["waiting"](rows, now)
	f, b := newFakeBench(t, rows), openBrowser(t, 1280, 800)
	b.open(f)
	// While a mix is on the scale, those that wait are behind their count.
	opens := func() {
		b.run(chromedp.Evaluate[chromedp.Void](`if (!document.querySelector(".waiting").checkVisibility()) [...document.querySelectorAll("#strip button")].find((e) => e.innerText.includes("wait")).click()`))
	}
	opens()
	b.sees(".waiting", "dial-satin, waits for thinner, cup about 120 g")
	b.sees(".waiting", "dial-satin, being stirred")
	opens()
	b.act("It is stirred in", "0612-7")
	want(t, f.body(t, "batches/0612-7/confirm"), "step", "stir-hardener")
	f.answer("take-up", 200, asideAt(now, "0612-8", guide.Thinner))
	opens()
	b.act("Carry on with it", "0612-8")
	want(t, f.body(t, "batches/0612-8/take-up"))

	// A cup of another weight is taken up with a reason.
	b.expect("409")
	refusal := problem(409, "The scale shows 40.0 g; the cup of mix 0612-7 should weigh about 119.6 g.")
	refusal["type"] = "urn:potlifed:other-weight"
	f.answer("take-up", 409, refusal)
	opens()
	b.act("Carry on with it", "0612-7")
	b.sees("dialog", "should weigh about 119.6 g")
	f.answer("take-up", 200, asideAt(now, "0612-7", guide.StirHardener))
	b.press("Some of it was spilled")
	b.press("Use it for this reason")
	b.press("Back to the mix")
	b.closed()
	want(t, f.body(t, "batches/0612-7/take-up"), "override", "Some of it was spilled")

	// While one is stirred, the next may begin, and the way back is one tap.
	b.press("Start another mix…")
	b.sees(".start", "Start a mix")
	b.act("Carry on with it", "0612-4")
	b.sees(".mix", "Stir the hardener in")
}

func TestWhoseCup(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := shop(now)
	scenes["which-cup"](rows, now)
	f, b := newFakeBench(t, rows), openBrowser(t, 1280, 800)
	b.open(f)
	b.sees(".which-cup", "Whose cup is on the scale?")
	if shown := eval[bool](b, `[...document.querySelectorAll("button")].some((e) => e.checkVisibility() && e.innerText === "The thinner is in")`); shown {
		t.Error("a pour can be confirmed while it is not known whose cup that is")
	}
	f.answer("take-up", 200, asideAt(now, "0612-7", guide.StirHardener))
	b.run(chromedp.Evaluate[chromedp.Void](`[...document.querySelectorAll(".which-cup button")].find((e) => e.innerText.startsWith("0612-7")).click()`))
	want(t, f.body(t, "batches/0612-7/take-up"))
	f.send("scale", scaleRow(time.Now(), 119.6, true, "0612-7", nil))
	b.eventually("the question is gone", `!document.querySelector(".which-cup").checkVisibility()`)
}

// A press of the scale's own key that changed nothing is answered like a tap.
func TestWhyTheKeyDidNothing(t *testing.T) {
	t.Parallel()
	now := time.Now()
	f, b := newFakeBench(t, shop(now)), openBrowser(t, 1280, 800)
	b.open(f)
	row := scaleRow(time.Now(), 107.6, false, "0612-4", nil)
	row.KeyRefused = &view.KeyRefusal{At: time.Now(), Code: "ambiguous", Text: "Was it tared?", Detail: "ambiguous"}
	f.send("scale", row)
	b.sees(".mix [role=alert]", "Was it tared?")
	b.press("The cup was lifted")
	want(t, f.body(t, "batches/0612-4/confirm"), "step", "hardener", "tared", false)
}
