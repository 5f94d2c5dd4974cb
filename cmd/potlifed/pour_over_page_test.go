package main

import "testing"

// TestAMixIsPouredIntoALargerCup: too much hardener for the cup, mended as the page says, in a larger cup that nobody
// has weighed before. What was not taken is taken afterwards, less what stuck to the old cup.
func TestAMixIsPouredIntoALargerCup(t *testing.T) {
	t.Parallel()
	m := newMixerWith(t, quickScale, "fill_maximum_g: 150}", "fill_maximum_g: 150}\n  - {id: cup-160, ink_minimum_g: 120, fill_maximum_g: 300}")
	m.begins()
	m.inks()
	m.pours(27)
	m.seesIn("Guided mix", "10.0 g too much: pour it into a larger cup, cup-160", "the finished mix will be")
	m.taps("Pour it into another cup…")
	m.sees("27.0 g of it are not taken yet.", "takes 300 g, weighed first", "Leave the old cup on the scale")
	m.taps("Pour it over")
	m.seesIn("Guided mix", "Put the new cup, empty, on the scale", "Lift the old cup off: the mix stays in it.")
	m.taps("The empty cup is on") // the old one still stands there
	m.sees("136.0 g is what the old cup weighs with the mix in it.")
	m.scale.Lift()
	m.settles(0)
	m.scale.Set(41)
	m.settles(41)
	m.taps("The empty cup is on")
	m.seesIn("Guided mix", "Pour all of it into cup-160, and put that on the scale", "the scale should show about 153.0 g")
	m.scale.Tare() // as a habit
	m.settles(0)
	m.pours(111)
	m.taps("All of it is in the new cup")
	m.sees("By the scale 70.0 g are in the new cup", "take everything off, zero the scale, and set the new cup down")
	m.scale.Lift()
	m.seesIn("Scale", "−41.0 g settled")
	m.scale.Tare()
	m.settles(0)
	m.scale.Set(152)
	m.settles(152)
	m.taps("All of it is in the new cup")
	// 111 of 112 g: 84.2 g of ink and 26.8 g that are not taken.
	m.seesIn("Guided mix", "26.8 g", "too much: add")
	m.taps("Take it, then add")
	m.sees("exactly on the recipe", "% too much hardener")
	m.pours(49.6)
	m.taps("The ink is in")
	m.sees("Stir the hardener in")
	m.scale.Lift()
	m.settles(0)
	m.scale.Set(201.6)
	m.settles(201.6)
	m.taps("It is stirred in")
	m.sees("Pour thinner", "target 11.2 g")
}

// TestTheOldCupIsKept: somebody who finds no larger cup goes on as before. A mix that was taken already and has no room
// is poured over, too.
func TestTheOldCupIsKept(t *testing.T) {
	t.Parallel()
	m := newMixerWith(t, quickScale, "fill_maximum_g: 150}", "fill_maximum_g: 150}\n  - {id: cup-160, ink_minimum_g: 120, fill_maximum_g: 300, empty_g: 41}")
	m.begins()
	m.inks()
	m.pours(27)
	m.taps("The hardener is in")
	m.sees("Pour it into a larger cup, cup-160; or use it with a reason, or scrap the mix.")
	m.taps("Pour it into another cup…")
	m.sees("weighs 41.0 g empty")
	m.taps("Pour it over")
	m.seesIn("Guided mix", "Pour all of it into cup-160", "153.0 g")
	m.scale.Lift()
	m.settles(0)
	m.taps("Keep the old cup")
	m.sees("with it, the scale showed 136.0 g")
	m.scale.Set(136)
	m.settles(136)
	m.taps("Keep the old cup")
	m.sees("There is no room in this cup")
	m.taps("Pour it into another cup…")
	m.taps("Pour it over")
	m.seesIn("Guided mix", "Pour all of it into cup-160")
	m.scale.Lift()
	m.settles(0)
	m.scale.Set(150)
	m.settles(150)
	m.taps("All of it is in the new cup")
	m.sees("Add 48.7 g of ink", "exactly on the recipe")
}
