package main

import (
	"strconv"
	"testing"
	"time"

	"potlifed/daemon/rehearsal"
)

// mishaps are what goes wrong at a bench. Each is played by hand on a real pseudo-terminal
// before the real program, and judged by what the page says.
var mishaps = []struct {
	name string
	play func(m *mixer)
}{
	{"too much ink: the targets follow", func(m *mixer) {
		m.begins()
		m.pours(91)
		m.seesIn("Guided mix", "It is right")
		m.taps("The ink is in")
		m.sees("target 18.2 g")
		m.pours(18.2)
		m.taps("The hardener is in")
		m.sees("Stir the hardener in")
		m.finishes(7.6) // 7 % of 109.2 g
	}},
	{"too much hardener: two ways to put it right", func(m *mixer) {
		m.begins()
		m.inks()
		m.pours(20)
		// While it is still on the scale, the bar's words are the cure.
		m.seesIn("Guided mix", "3.0 g too much: add 10.3 g of ink", "fits this cup")
		m.taps("Take it, then add 10.3 g of ink")
		// 20 g of hardener want 100 g of ink; a tolerance of 5 % is kept from 95.24 g on, and a
		// division inside it.
		m.sees("Add 15.0 g of ink", "exactly on the recipe", "The finished mix will be 128.4 g, 8.4 g of it thinner",
			"Add 10.3 g of ink", "just inside the tolerance", "18 % too much hardener")
		m.pours(15)
		m.seesIn("Guided mix", "15.0 g", "It is right")
		m.taps("The ink is in")
		m.sees("Stir the hardener in")
		m.seesNot("too much hardener")
		m.finishes(8.4)
	}},
	{"too much hardener in a cup that takes one of the two", func(m *mixer) {
		m.begins()
		m.inks()
		m.pours(23.8)
		m.taps("Take it, then add")
		// Exactly on the recipe it would be 152.8 g, and the cup takes 150 g.
		m.sees("just inside the tolerance")
		m.seesNot("exactly on the recipe")
	}},
	{"too much hardener in a cup that takes neither", func(m *mixer) {
		m.begins()
		m.inks()
		m.pours(27)
		m.taps("The hardener is in")
		m.sees("There is no room in this cup to put this right. Use it with a reason, or scrap the mix.")
		// Nothing more is asked for: there are only the ways out.
		m.sees("Pour nothing more into this cup.", "Scrap this mix…")
		for _, none := range []string{"exactly on the recipe", "to go", "Add ink", "The hardener is in", "Next:"} {
			m.seesNot(none)
		}
		m.taps("Use it out of ratio…")
		m.taps("Only for a trial print")
		m.taps("Use it for this reason")
		m.sees("Stir the hardener in")
	}},
	{"too much thinner", func(m *mixer) {
		m.begins()
		m.inks()
		m.hardens()
		m.taps("It is stirred in")
		m.sees("Pour thinner", "target 7.1 g")
		m.pours(17)
		m.seesIn("Guided mix", "9.9 g too much: add ", "fits this cup")
		m.taps("Take it, then add")
		m.sees("this ink takes", "of ink, then")
		// What puts it right is ink first, and the hardener for it.
		grams, err := strconv.ParseFloat(m.reads(`Add (\d+\.\d) g of ink, then`), 64)
		if err != nil {
			m.t.Fatal(err)
		}
		m.sees("Add ink dial-satin")
		m.pours(grams)
		m.taps("The ink is in")
		m.sees("Add hardener-a")
	}},
	{"the wrong can: that was hardener", func(m *mixer) {
		id := m.begins()
		m.pours(75)
		m.taps("The ink is in")
		m.sees("Add 10.0 g of ink")
		before := time.Now()
		m.pours(15)
		m.taps("The ink is in")
		m.sees("Pour hardener-a", "target 18.0 g")
		m.seesNot("reacting since")
		m.taps("Wrong can…")
		m.sees("15.0 g of ink", "75.0 g of ink", "All that is in the cup is in the record.")
		m.taps("It was hardener") // the newest comes first
		// 75 g and 15 g are in ratio, and its life began when the hardener went in.
		m.seesIn("Guided mix", "reacting since")
		seconds := func() float64 {
			s, err := strconv.ParseFloat(m.reads(id+` · dial-satin · for press-1 · reacting since \d\d:\d\d, (\d+) s`), 64)
			if err != nil {
				m.t.Fatal(err)
			}
			return s
		}
		least, most := time.Since(before).Seconds()-3, 0.0
		reacting := seconds()
		most = time.Since(before).Seconds() + 1
		if reacting < least || reacting > most {
			m.t.Errorf("reacting for %v s, and the pour began between %v and %v s ago", reacting, least, most)
		}
	}},
	{"the wrong can, mended before it is taken: the ink that was taken stays ink", func(m *mixer) {
		m.begins()
		m.inks()
		m.hardens()
		m.stirs()
		m.pours(9.3)
		m.taps("Wrong can…")
		m.sees("In the cup, not yet taken: 9.3 g. It came from:", "17.0 g of hardener", "85.0 g of ink")
		m.taps("hardener")
		m.sees("55 % too much hardener")
		m.seesNot("In the cup, not yet taken")
	}},
	{"far too much ink is not taken with one tap", func(m *mixer) {
		m.begins()
		m.pours(130)
		m.seesIn("Guided mix", "Too much: take 13.2 g of ink out", "up to 116.8 g in this pour is accepted")
		m.taps("Too much ink: take some out")
		m.sees("one tap does not take it")
		m.seesNot("Pour hardener-a")
		m.scale.Put(-30)
		m.settles(124)
		m.seesIn("Guided mix", "It is right")
		m.taps("The ink is in")
		m.sees("Pour hardener-a", "target 20.0 g")
	}},
	{"another cup is set down while the cup is off the scale", func(m *mixer) {
		m.begins()
		m.pours(50)
		m.scale.Lift()
		m.settles(0)
		m.seesIn("Guided mix", "Put the cup back on the scale: it showed 74.0 g")
		m.scale.Set(30)
		m.settles(30)
		m.seesIn("Guided mix", "Another cup? The scale showed 74.0 g before.")
		m.scale.Lift()
		m.settles(0)
		m.scale.Set(74)
		m.seesIn("Guided mix", "35.0 g to go")
		m.misses("Another cup?")
	}},
	{"the cup is lifted and put back", func(m *mixer) {
		m.begins()
		m.inks()
		m.scale.Lift()
		m.settles(0)
		m.seesIn("Guided mix", "Put the cup back on the scale")
		m.taps("The hardener is in")
		m.sees("The scale shows zero. If it was tared, pour now; if the cup was lifted, put it back.")
		m.scale.Set(109)
		m.settles(109)
		// The bar comes back once the cup is known again.
		m.seesIn("Guided mix", "Pour 17.0 g to go")
		m.hardens()
		m.finishes(7.1)
	}},
	{"the cup is lifted, poured into beside the scale, and put back: the page asks", func(m *mixer) {
		m.begins()
		m.inks()
		m.scale.Lift()
		m.settles(0)
		m.scale.Set(126)
		m.settles(126)
		m.asked("The hardener is in", "The cup was lifted")
		m.sees("Stir the hardener in")
		m.finishes(7.1)
	}},
	{"the scale is tared by its key, which it says itself", func(m *mixer) {
		m.begins()
		m.inks()
		m.scale.Tare()
		m.settles(0)
		m.hardens()
		m.finishes(7.1)
	}},
	{"the scale is tared by its key, and then the cup is lifted and put back", func(m *mixer) {
		m.begins()
		m.inks()
		m.scale.Tare()
		m.settles(0)
		m.scale.Lift()
		m.seesIn("Scale", "−109.0 g settled")
		m.taps("The hardener is in")
		m.seesNot("Stir the hardener in")
		m.scale.Set(109)
		m.settles(0)
		m.seesIn("Guided mix", "Pour hardener-a", "17.0 g to go")
		m.hardens()
		m.finishes(7.1)
	}},
	{"the scale is switched off in the middle of a pour, and on again", func(m *mixer) {
		m.begins()
		m.pours(50)
		m.seesIn("Guided mix", "35.0 g to go")
		if err := m.scale.Unplug(); err != nil {
			m.t.Fatal(err)
		}
		m.seesIn("Scale", "no fresh weight")
		m.seesIn("Guided mix", "There is no fresh weight to go by. See to the scale")
		m.seesNot("35.0 g to go")
		m.taps("The ink is in")
		m.sees("Not taken: there is no fresh weight. See to the scale.")
		if err := m.scale.Replug(); err != nil {
			m.t.Fatal(err)
		}
		m.settles(74)
		m.seesIn("Guided mix", "35.0 g to go")
		m.pours(35)
		m.taps("The ink is in")
		m.sees("Pour hardener-a", "target 17.0 g")
	}},
	{"the scale drifts while somebody looks for the can", func(m *mixer) {
		m.begins()
		m.inks()
		for range 3 {
			m.scale.Put(0.03)
			m.settles(m.scale.Grams())
		}
		m.seesIn("Guided mix", "0.1 g", "16.9 g to go")
		m.seesNot("reacting since")
		m.pours(17)
		m.seesIn("Guided mix", "It is right")
		m.taps("The hardener is in")
		m.sees("Stir the hardener in")
	}},
	{"a fan blows on the pan", func(m *mixer) {
		m.begins()
		m.scale.Shake(3)
		m.pour(m.t, 85, 80)
		// The tap is kept, as long as nobody takes it back.
		m.taps("The ink is in")
		m.sees("Taking it when it is still. Tap to cancel")
		m.taps("Taking it when it is still. Tap to cancel")
		m.sees("Not taken: you cancelled it.", "The ink is in")
		m.taps("The ink is in")
		m.sees("Taking it when it is still. Tap to cancel")
		m.scale.Shake(0)
		m.sees("Pour hardener-a", "target 17.0 g")
	}},
	{"a step is done again", func(m *mixer) {
		m.begins()
		m.inks()
		m.pours(8)
		m.taps("The hardener is in")
		m.sees("of hardener", "too little hardener")
		m.taps("Wrong can…")
		m.sees("it stays in the cup")
		m.taps("Out of the record")
		m.misses("too little hardener")
		// Nobody pretends that it left the cup.
		m.seesIn("Guided mix", "In the cup and in no record: 8.0 g. It came from:")
		m.taps("First say what it was")
		m.seesNot("Stir the hardener in")
		m.taps("hardener")
		m.misses("in no record")
		m.seesIn("Guided mix", "9.0 g")
		m.pours(9)
		m.taps("The hardener is in")
		m.sees("Stir the hardener in")
		m.finishes(7.1)
	}},
	{"thinner before the hardener is stirred in", func(m *mixer) {
		m.begins()
		m.inks()
		m.hardens()
		m.pours(7.1)
		m.taps("It is stirred in")
		m.sees("The weight rose by 7.1 g before the hardener was stirred in", "it shocks the hardener")
		m.taps("Go on all the same…")
		m.enters("Reason", "it was thinner")
		m.taps("Use it for this reason")
		m.sees("expect a shorter life")
	}},
	{"two cups: the one that comes back is known by its weight", func(m *mixer) {
		first := m.begins()
		m.pours(93)
		m.taps("The ink is in")
		m.sees("target 18.6 g")
		m.pours(18.6)
		m.taps("The hardener is in")
		m.sees("Stir the hardener in")
		m.scale.Lift()
		m.settles(0)
		m.taps("Start another mix…")
		second := m.beginsFor("press-2")
		m.waiting(first, "dial-satin, being stirred, cup about 136 g")
		m.inks()
		m.hardens()
		m.scale.Lift()
		m.settles(0)
		m.unfolds("1 mix waits")
		m.taps("It is stirred in (" + first + ")")
		m.seesIn("Mixes that wait", "waits for thinner")
		m.taps("Back to the mix")
		m.scale.Set(135.6)
		m.settles(135.6)
		m.sees("Pour thinner", "target 7.8 g")
		m.seesIn("Guided mix", "Mix "+first)
		m.waiting(second, "being stirred, cup about 126 g")
	}},
	{"two cups that weigh the same: the page asks whose it is", func(m *mixer) {
		first := m.begins()
		m.inks()
		m.hardens()
		m.scale.Lift()
		m.settles(0)
		m.taps("Start another mix…")
		second := m.beginsFor("press-2")
		m.pours(85)
		m.taps("The ink is in")
		m.sees("Pour hardener-a")
		m.hardens()
		m.scale.Lift()
		m.settles(0)
		m.scale.Set(126)
		m.settles(126)
		m.sees("Whose cup is on the scale?", "Nothing is confirmed until you say", first+", dial-satin about 126 g", second+", dial-satin about 126 g")
		m.taps(first + ", dial-satin")
		m.misses("Whose cup is on the scale?")
		m.seesIn("Guided mix", "Mix "+first, "Stir the hardener in")
		m.waiting(second)
	}},
	{"a can runs out half-way: two lots in one component", func(m *mixer) {
		m.opens("/cans")
		for _, lot := range []string{"A 17", "B 3"} {
			m.taps("Add a can…")
			m.chooses("What is in it?", "dial-satin")
			m.enters("Lot", lot)
			m.taps("Add it")
			m.sees("ink dial-satin, lot " + lot)
		}
		m.opens("/")
		id := m.begins()
		const from = "Poured from (wipe its rim first: dried ink falls in)"
		m.chooses(from, m.can("A 17"))
		m.sees("to the bottom", "Pigment settles")
		m.pours(60)
		m.taps("It is empty now (" + m.can("A 17") + ")")
		m.sees("25.0 g of ink")
		m.chooses(from, m.can("B 3"))
		m.pours(25)
		m.taps("The ink is in")
		m.sees("Pour hardener-a", "target 17.0 g")
		m.opens("/batches/" + id)
		m.sees("60.0 g ink from", "lot A 17", "25.0 g ink from", "lot B 3")
	}},
	{"hands full: the scale's own print key confirms", func(m *mixer) {
		m.begins()
		m.pours(85)
		if err := m.scale.Press(); err != nil {
			m.t.Fatal(err)
		}
		m.sees("Pour hardener-a", "target 17.0 g")
	}},
	{"with an empty pan at the thinner the page asks for the cup first", func(m *mixer) {
		m.begins()
		m.inks()
		m.hardens()
		m.stirs()
		m.scale.Lift()
		m.seesIn("Guided mix", "Put the cup back on the scale")
		m.scale.Set(126)
		m.seesIn("Guided mix", "7.1 g to go")
		m.misses("Put the cup back on the scale")
	}},
	{"the mix is given up, and that is taken back", func(m *mixer) {
		id := m.begins()
		m.inks()
		m.taps("More…")
		m.taps("Scrap this mix…")
		m.taps("Scrap it")
		m.seesIn("Undo", "Scrapped mix "+id)
		m.taps("Undo: Scrapped mix " + id)
		m.seesIn("Guided mix", "Mix "+id, "Pour hardener-a")
	}},
	{"the mix is given up", func(m *mixer) {
		m.begins()
		m.inks()
		m.hardens()
		m.taps("More…")
		m.taps("Scrap this mix…")
		m.sees("what is in the cup counts as waste", "never close a lid tightly")
		m.taps("Scrap it")
		m.sees("Start a mix")
		m.opens("/cans")
		m.seesIn("Waste", "102.0 g")
	}},
}

// unfolds opens what a count in the strip above a mix stands for.
func (m *mixer) unfolds(count string) {
	m.t.Helper()
	m.taps(count)
	m.sees("Back to the mix")
}

// waiting looks at the mixes that wait while another is weighed.
func (m *mixer) waiting(texts ...string) {
	m.t.Helper()
	m.unfolds("1 mix waits")
	m.seesIn("Mixes that wait", texts...)
	m.taps("Back to the mix")
}

// can is the id of the can with a lot, as the choice of cans names it.
func (m *mixer) can(lot string) string {
	m.t.Helper()
	return m.reads(`(\S+) lot ` + lot)
}

// asked waits until the page asks what happened at the scale, and answers.
func (m *mixer) asked(button, answer string) {
	m.t.Helper()
	m.taps(button)
	m.sees("What happened at the scale?", "Was it tared, or was the cup lifted?")
	m.taps(answer)
}

func TestMishaps(t *testing.T) {
	for _, c := range mishaps {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			c.play(newMixer(t, quickScale))
		})
	}
}

// A scale that does not say that it was tared leaves two things that look alike: the page asks.
func TestTaredOrLiftedIsAsked(t *testing.T) {
	scale := quickScale
	scale.Shape = "weight-unit"
	for _, c := range []struct{ answer, then string }{
		{"The scale was tared", "target 17.0 g"},
		{"The cup was lifted", "Add 66.5 g of ink"}, // the cup of 24 g is in the 42.5 g shown
	} {
		t.Run(c.answer, func(t *testing.T) {
			t.Parallel()
			m := newMixer(t, scale)
			m.begins()
			m.pours(42.5)
			m.scale.Tare()
			m.settles(0)
			m.scale.Put(42.5)
			m.settles(42.5)
			m.asked("The ink is in", c.answer)
			m.sees(c.then)
		})
	}
}

// A step that the bench took by itself is taken back with one tap, and stays open until a person
// confirms it.
func TestAStepTakenByTheBenchIsTakenBack(t *testing.T) {
	t.Parallel()
	m := newMixerWith(t, quickScale, "fill_maximum_g: 150}", "fill_maximum_g: 150, empty_g: 24}")
	m.chooses("Ink", "dial-satin")
	m.chooses("For", "press-1")
	m.taps("Start this mix")
	m.scale.Set(24)
	m.seesIn("Guided mix", "Pour ink dial-satin", "The bench took the empty cup by itself: 24.0 g.")
	m.taps("Undo this step")
	m.seesIn("Guided mix", "Put an empty cup-110 on the scale")
	m.misses("by itself")
	m.scale.Lift()
	m.settles(0)
	m.scale.Set(30)
	m.settles(30)
	m.taps("The cup is on")
	m.sees("Pour ink dial-satin", "target 85.0 g")
}

// The person is away for an hour with the hardener in the cup, and has not even said so: its
// life runs on, in a time lapse, and the page says how long.
func TestAwayForAnHour(t *testing.T) {
	t.Parallel()
	clock := rehearsal.NewPaced(600)
	scale := quickScale
	scale.Every = 20 * time.Millisecond
	m := newMixerAt(t, scale, clock)
	id := m.begins()
	m.inks()
	m.pours(17)
	m.seesIn("Guided mix", "reacting since")
	clock.SetSpeed(600)
	if err := clock.Wait(t.Context(), time.Hour); err != nil {
		t.Fatal(err)
	}
	clock.SetSpeed(1)
	m.scale.Set(126.2) // what the page shows is from the lapse, and old, until the weight changes
	m.settles(126.2)
	m.scale.Set(126)
	m.settles(126)
	m.seesIn("Guided mix", ", 1 h 0")
	m.taps("The hardener is in")
	m.sees("Stir the hardener in")
	m.finishes(7.1)
	m.opens("/batches/" + id)
	left, err := time.ParseDuration(m.reads(`about (\d+) h \d\d min`) + "h")
	if err != nil {
		t.Fatal(err)
	}
	// A fresh one has 5 h 03 min at 20 °C and 50 %.
	if left != 3*time.Hour && left != 4*time.Hour {
		t.Errorf("%v and some minutes are left after an hour", left)
	}
}
