package page

import (
	"os"
	"slices"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"potlifed/daemon/peers"
	"potlifed/daemon/view"
	"potlifed/model/guide"
	"potlifed/model/mix"
)

// mixingState is a state of the bench's page while a mix is on the stage.
type mixingState struct {
	name  string
	rows  func(rows map[string]any, now time.Time)
	act   func(b *browser, f *fakeBench) // what is done on the page then; nil for nothing
	says  string                         // what is to be read in the end
	fails []string                       // what the browser complains about meanwhile
}

// mixingStates are all of them. A new one needs a row here, and is judged like the others.
var mixingStates = []mixingState{
	{name: "cup", rows: atStep(guide.Cup), says: "Put an empty cup-110"},
	{name: "ink", rows: pours(guide.Ink, 5, 17), says: "12.0 g to go"},
	{name: "pouring", rows: scenes["pouring"], says: "Pour hardener-a"},
	{name: "near", rows: pours(guide.Hardener, 15.5, 17), says: "Slowly now"},
	{name: "right", rows: pours(guide.Hardener, 17, 17), says: "It is right"},
	{name: "stir-hardener", rows: atStep(guide.StirHardener), says: "Stir the hardener in"},
	{name: "thinner", rows: pours(guide.Thinner, 5, 7.1), says: "2.1 g to go"},
	{name: "stir-thinner", rows: atStep(guide.StirThinner), says: "Stir the thinner in"},
	{name: "over", rows: scenes["over"], says: "just inside the tolerance"},
	{name: "cures", rows: func(rows map[string]any, now time.Time) {
		pours(guide.Hardener, 20, 17)(rows, now)
		rows["scales"].([]view.Scale)[0].Pouring.Cures = []guide.Cure{
			{Kind: guide.Add, Part: mix.Ink, G: 10.3, Add: mix.Addition{InkG: 10.3}, TotalG: 123.4, Fits: true, To: mix.ToTolerance, OffPct: 4.9},
			{Kind: guide.Add, Part: mix.Ink, G: 15, Add: mix.Addition{InkG: 15}, TotalG: 128.4, Fits: true, To: mix.ToExact},
		}
	}, says: "Take it, then add 10.3 g of ink"},
	{name: "far-too-much-ink", rows: func(rows map[string]any, now time.Time) {
		pours(guide.Ink, 130, 85)(rows, now)
		pour := rows["scales"].([]view.Scale)[0].Pouring
		pour.Verdict, pour.Cures = guide.FarOver, []guide.Cure{{Kind: guide.TakeOut, Part: mix.Ink, G: 13.2, TotalG: 150, Fits: true}}
	}, says: "Too much ink: take some out"},
	{name: "larger-cup", rows: func(rows map[string]any, now time.Time) {
		pours(guide.Hardener, 27, 17)(rows, now)
		rows["scales"].([]view.Scale)[0].Pouring.Cures = []guide.Cure{{Kind: guide.Add, Part: mix.Ink, G: 50, Add: mix.Addition{InkG: 50}, TotalG: 173.3}, {Kind: guide.LargerCup, TotalG: 173.3, Fits: true, Cup: "cup-160"}}
		rows["batches"].([]view.Batch)[0].OtherCups = otherCups
	}, says: "pour it into a larger cup, cup-160"},
	{name: "new-cup-first", rows: poursOver(nil), says: "Put the new cup, empty, on the scale"},
	{name: "pour-over", rows: poursOver(at(41.0)), says: "With all of the mix, the scale should show about 153.0"},
	{name: "pour-over-refused", rows: poursOver(at(41.0)), act: func(b *browser, f *fakeBench) {
		refused := problem(409, "By the scale 104.0 g are in the new cup, and 112.0 g were in the old one: 8.0 g are missing. Scrape the rest over.")
		refused["type"] = "urn:potlifed:lost-over"
		f.answer("confirm", 409, refused)
		b.press("All of it is in the new cup")
	}, says: "8.0 g are missing", fails: []string{"409"}},
	{name: "foreign-material", rows: contaminated, says: "How it cures is not known"},
	{name: "what-is-in-the-cup", rows: func(rows map[string]any, now time.Time) {
		pours(guide.Hardener, 8, 17)(rows, now)
		rows["scales"].([]view.Scale)[0].NotTaken = &view.NotTaken{Step: guide.Hardener, G: 8, MustName: true}
	}, says: "In the cup and in no record"},
	{name: "tared-or-lifted", rows: pours(guide.Hardener, 17, 17), act: func(b *browser, f *fakeBench) {
		asked := problem(409, "The reading changed in a way that both explain.")
		asked["type"] = "urn:potlifed:ambiguous"
		f.answer("confirm", 409, asked)
		b.press("The hardener is in")
	}, says: "What happened at the scale?", fails: []string{"409"}},
	{name: "refused", rows: pours(guide.Hardener, 17, 17), act: func(b *browser, f *fakeBench) {
		f.answer("confirm", 409, problem(409, "The weight has not risen by a division of the scale."))
		b.press("The hardener is in")
	}, says: "has not risen", fails: []string{"409"}},
	{name: "cup-lifted", rows: func(rows map[string]any, now time.Time) {
		pours(guide.Hardener, -109, 17)(rows, now)
		rows["scales"].([]view.Scale)[0].WeightG = at(0.0)
	}, says: "Put the cup back on the scale."},
	{name: "kept-tap", rows: func(rows map[string]any, now time.Time) {
		pours(guide.Hardener, 17, 17)(rows, now)
		rows["scales"].([]view.Scale)[0].Stable = false
	}, act: func(b *browser, _ *fakeBench) { b.press("The hardener is in") }, says: "Taking it when it is still"},
	{name: "no-weight", rows: func(rows map[string]any, now time.Time) {
		pours(guide.Ink, 5, 85)(rows, now)
		row := &rows["scales"].([]view.Scale)[0]
		row.Quality, row.Why, row.Pouring = view.QualityUncertain, "scale-1 has sent no weight for 5 s", nil
	}, says: "There is no fresh weight to go by"},
	{name: "taken-by-the-bench", rows: func(rows map[string]any, now time.Time) {
		pours(guide.Ink, 5, 85)(rows, now)
		b := &rows["batches"].([]view.Batch)[0]
		b.CupEmptyG, b.ByBench = at(24.0), &view.ByBench{Seq: 9, Step: guide.Cup, At: now, Until: now.Add(time.Hour)}
	}, says: "The bench took the empty cup by itself"},
	{name: "expired-can", rows: expiredCan, says: "First: is can hardener-2 still to be used?"},
	{name: "stuck", rows: scenes["stuck"], says: "There is no room in this cup"},
	{name: "faulty", rows: scenes["faulty"], says: "28 % too much hardener."},
	{name: "waiting", rows: scenes["waiting"], says: "mixes wait"},
	{name: "which-cup", rows: scenes["which-cup"], says: "Whose cup is on the scale?"},
	{name: "resting", rows: scenes["resting"], says: "Let it rest"},
	{name: "ready", rows: func(rows map[string]any, now time.Time) {
		scenes["idle"](rows, now)
		rows["presses"].([]view.Press)[1].Next = addWaiting(rows, now, "dial-satin", 5*time.Hour, 6*time.Hour, 7*time.Hour).ID
	}, says: "Ready for press-2"},
	{name: "no-contact", rows: scenes["pouring"], act: func(b *browser, f *fakeBench) {
		b.sees(".mix .main", "The hardener is in")
		f.cut()
		b.skip(31 * time.Second)
	}, says: "No contact", fails: []string{"503"}},
}

// isMixing tells whether a scene is one of them.
func isMixing(scene string) bool {
	return slices.ContainsFunc(mixingStates, func(s mixingState) bool { return s.name == scene })
}

// atStep has a mix that waits at a step, with links to the safety data sheets.
func atStep(step guide.Step) func(rows map[string]any, now time.Time) {
	return func(rows map[string]any, now time.Time) {
		rows["batches"].([]view.Batch)[0] = mixingAt(now, step)
		rows["scales"] = []view.Scale{scaleRow(now, 109, true, "0612-4", nil)}
		for i, ink := range rows["inks"].([]view.Ink) {
			rows["inks"].([]view.Ink)[i].SafetySheets = []view.SafetySheet{{Part: "ink", ID: ink.ID, Link: "/sheets/" + ink.ID}, {Part: "hardener", ID: "hardener-a", Link: "/sheets/a"}}
		}
	}
}

// pours has one with so much of a part on the scale, at rest.
func pours(step guide.Step, poured, target float64) func(rows map[string]any, now time.Time) {
	return func(rows map[string]any, now time.Time) {
		atStep(step)(rows, now)
		rows["scales"].([]view.Scale)[0].Pouring = &view.Pouring{Part: mix.Part(step), PouredG: poured, TargetG: target, LowG: 0.95 * target, HighG: 1.05 * target, Verdict: verdictOf(poured, target)}
	}
}

var otherCups = []view.OtherCup{{Cup: "cup-110", TakesG: at(150.0), EmptyG: at(24.0)}, {Cup: "cup-160", TakesG: at(300.0)}}

// poursOver has a mix that is poured into another cup, of which the weight is known or not.
func poursOver(emptyG *float64) func(rows map[string]any, now time.Time) {
	return func(rows map[string]any, now time.Time) {
		atStep(guide.PourOver)(rows, now)
		b := &rows["batches"].([]view.Batch)[0]
		b.OtherCups, b.PourOver = otherCups, &view.PourOver{Step: guide.Hardener, Cup: "cup-160", EmptyG: emptyG, ContentG: 112, NotTakenG: 27, OldG: 136}
		if emptyG != nil {
			b.PourOver.WholeG = at(*emptyG + 112)
		}
	}
}

func verdictOf(poured, target float64) guide.Verdict {
	switch {
	case poured > 1.05*target:
		return guide.Over
	case poured >= 0.95*target:
		return guide.Right
	}
	return guide.Below
}

// contaminated has a mix with ink of another kind in it.
func contaminated(rows map[string]any, now time.Time) {
	atStep(guide.StirHardener)(rows, now)
	b := &rows["batches"].([]view.Batch)[0]
	b.Pours = []view.Pour{
		{Seq: 31, Part: "ink", G: 85, At: now.Add(-2 * time.Minute), Step: "ink"},
		{Seq: 35, Part: "hardener", G: 17, At: now.Add(-time.Minute), Step: "hardener", Material: "hardener-b"},
	}
	b.Warnings = []string{"In the cup is hardener-b, which does not go with dial-satin."}
}

// shown opens the page in the state. alter is done with the rows before.
func (s mixingState) shown(b *browser, alter func(rows map[string]any) map[string]any) {
	b.t.Helper()
	now := time.Now()
	rows := shop(now)
	s.rows(rows, now)
	f := newFakeBench(b.t, alter(rows))
	for _, text := range s.fails {
		b.expect(text)
	}
	b.openAt(f, "/")
	b.sees("body", "0612-")
	if s.act != nil {
		s.act(b, f)
	}
}

// TestEveryMixingState judges each of them: nothing is cut, too small or too faint on any screen or at 200 % zoom, also
// with a long path in each text, and WCAG 2.2 is kept in light and dark colours. With -artifacts their pictures are kept.
func TestEveryMixingState(t *testing.T) {
	t.Parallel()
	b, axe := openBrowser(t, 1280, 800), ""
	if os.Getenv("POTLIFED_AXE") != "" || os.Getenv("POTLIFED_PEERS") != "" {
		axe = peers.Axe(t)
	}
	for _, s := range mixingStates {
		s.shown(b, func(rows map[string]any) map[string]any { return rows })
		b.sees("body", s.says)
		if axe != "" {
			b.accessible(axe, "mixing "+s.name, wide, phone)
		}
		b.looks("mixing-"+s.name, phone)
		for _, screen := range []size{wide, tall, phone} {
			b.run(chromedp.EmulateViewport(screen.width, screen.height))
			b.redrawn(screen)
			if hidden := eval[float64](b, notesOutOfSight); hidden > 1 && s.name != "expired-can" { // its button asks about the can
				t.Errorf("%s at %dx%d: %v px of what is said of the mix are out of sight", s.name, screen.width, screen.height, hidden)
			}
		}
		b.run(chromedp.EmulateViewport(zoom.width, zoom.height))
		b.redrawn(zoom)
		b.wholeAt(s.name)
		s.shown(b, func(rows map[string]any) map[string]any { return withLongPaths(t, rows) })
		b.wraps(s.name+" with long paths", narrow, wide)
	}
}
