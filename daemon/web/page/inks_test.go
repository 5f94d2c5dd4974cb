package page

import (
	"fmt"
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
		"ink": "dial-satin", "ends": 2, "censored": 0, "jars": 0, "verdict": "2 ends: too few to say that this ink is not as its data sheet says", "cautions": []string{},
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

// fillsTheJars fills in where the jars of a test stand.
func (b *browser) fillsTheJars() {
	b.t.Helper()
	b.fills("cool", "20")
	b.fills("warm", "35")
	b.fills("minutes", "20")
	b.click(`dialog [name=dry][value=magnesium-chloride]`)
	b.click(`dialog [name=humid][value=sodium-chloride]`)
}

// A person starts a test in jars, says what was seen of each jar, and ends the test.
func TestATestInJarsIsGuided(t *testing.T) {
	t.Parallel()
	now := time.Now()
	rows := shop(now)
	f, b := newFakeBench(t, rows), openBrowser(t, 390, 844)
	running := rows["inks"].([]view.Ink)[0]
	running.JarTest = &view.JarTest{
		MixedAt: now, Before: view.JarSpreads{ActivationKJPerMol: 10, MoistureShare: 0.12}, After: view.JarSpreads{ActivationKJPerMol: 3.3, MoistureShare: 0.06},
		Jars: []view.Jar{
			{Jar: 1, TemperatureC: 20, HumidityPct: 33.1, Salt: "magnesium-chloride", LookFrom: now.Add(4 * time.Hour), Expected: now.Add(5 * time.Hour), Until: now.Add(6 * time.Hour)},
			{Jar: 2, TemperatureC: 21, HumidityPct: 45, Open: true, LookFrom: now.Add(4 * time.Hour), Expected: now.Add(5 * time.Hour), Until: now.Add(6 * time.Hour), LastGood: &now},
		},
	}
	f.answer("start-jars", 200, running)
	f.answer("look-at-jar", 200, running)
	f.answer("end-jars", 200, rows["inks"].([]view.Ink)[0])
	b.openAt(f, "/devices")
	b.act("Test in jars…", "dial-satin")
	b.sees("dialog", "Lids on loosely")
	b.looks("dialog-jars", phone, wide)
	// What is to be read first is in view, and one tap starts no test of figures that nobody has measured.
	if top := eval[bool](b, `document.querySelector("dialog").scrollTop === 0 && document.activeElement.matches("dialog h2")`); !top {
		t.Error("the dialog does not open at its top")
	}
	b.press("Start the test")
	b.eventually("what is missing", `document.querySelectorAll("dialog .fault").length === 5`)
	b.fillsTheJars()
	b.press("Start the test")
	b.closed()
	body := f.body(t, "inks/dial-satin/start-jars")
	jars := body["jars"].([]any)
	if first := jars[0].(map[string]any); len(jars) < 4 || first["salt"] != "magnesium-chloride" || first["temperature_c"] != 20.0 {
		t.Errorf("asked for %v", body)
	}
	if at, err := time.Parse(time.RFC3339, fmt.Sprint(body["mixed_at"])); err != nil || now.Sub(at) < 19*time.Minute || now.Sub(at) > 21*time.Minute {
		t.Errorf("20 minutes before %v it was mixed at %v", now, body["mixed_at"])
	}
	b.sees("#inks", "activation energy from ± 10.0 to ± 3.3 kJ/mol")
	b.sees("#inks", "Jar 1: 20.0 °C, 33 % over")
	b.looks("jars-running", phone, wide)
	b.act("Still good", "Jar 1")
	if body := f.body(t, "inks/dial-satin/look-at-jar"); body["jar"] != 1.0 || body["seen"] != "good" {
		t.Errorf("asked for %v", body)
	}
	b.act("Take the last look back", "Jar 2")
	f.until(t, "a look taken back", func() bool { return len(f.asked) >= 3 })
	// Hours before its first look a jar has hardly gone off: that is asked first.
	before := len(f.changes())
	b.act("Gone off", "Jar 1")
	b.sees("dialog", "Jar 1: gone off already?")
	b.looks("dialog-jar-early", phone, wide)
	if sent := f.changes(); len(sent) != before {
		t.Errorf("it was not asked first: %v", sent[before:])
	}
	b.press("Yes, it has gone off")
	b.closed()
	if sent := f.changes(); len(sent) != before+1 {
		t.Errorf("after the answer: %v", sent[before:])
	}
	b.act("End the test…", "dial-satin")
	b.press("End it")
	b.closed()
	f.body(t, "inks/dial-satin/end-jars")
	b.sees("#notice", "says what was gained")
}
