package page

import (
	"testing"
	"time"

	"potlifed/daemon/view"
)

// A person sees what the batches say of an ink, accepts it, and takes it back.
func TestWhatIsLearnedIsAcceptedByAPerson(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := shop(now)
	rows["learning"] = map[string]any{
		"ink": "dial-satin", "verdict": "12 ends, 48 used up in time: this ink lasts 9 % less than its data sheet says, 90 % interval 3 to 15; moisture share still assumed",
		"cautions": []string{"80 % of the batches were used up before their end"}, "acceptable": true,
	}
	f, b := newFakeBench(t, rows), openBrowser(t, 390, 844)
	learned := rows["inks"].([]view.Ink)[0]
	learned.Learned = &view.Learned{Since: now, By: "ute", Verdict: "9 % less", LifeRefH: 6.4}
	f.answer("accept-learned", 200, learned)
	f.answer("revoke-learned", 200, rows["inks"].([]view.Ink)[0])
	b.openAt(f, "/devices")
	b.sees("#inks", "By its data sheet dial-satin lives")
	b.act("Learned from your batches…", "dial-satin")
	b.sees("dialog", "this ink lasts 9 % less than its data sheet says")
	b.sees("dialog", "80 % of the batches were used up")
	b.looks("dialog-learned", phone, wide)
	b.option("Use it")
	b.closed()
	f.body(t, "inks/dial-satin/accept-learned")
	b.sees("#inks", "Learned from your batches")
	b.sees("#inks", "accepted by ute")
	b.act("Back to the data sheet", "dial-satin")
	f.body(t, "inks/dial-satin/revoke-learned")
	b.eventually("nothing is learned", `!document.querySelector("#inks").innerText.includes("accepted by")`)
}

// A fit that cannot be accepted is shown with the reason, and without a button.
func TestWhatMayNotBeAcceptedSaysWhy(t *testing.T) {
	t.Parallel()
	rows := shop(time.Now())
	rows["learning"] = map[string]any{
		"ink": "dial-satin", "ends": 2, "censored": 0, "verdict": "2 ends: too few to say that this ink is not as its data sheet says", "cautions": []string{},
		"acceptable": false, "why_not": "nothing is learned yet: the data sheet stands",
	}
	f, b := newFakeBench(t, rows), openBrowser(t, 390, 844)
	b.openAt(f, "/devices")
	b.act("Learned from your batches…", "dial-satin")
	b.sees("dialog", "Nothing is learned yet: the data sheet stands. 2 ends: too few") // the answer first
	if options := eval[int](b, `document.querySelectorAll("dialog .option").length`); options != 0 {
		t.Errorf("%d answers are offered", options)
	}
}
