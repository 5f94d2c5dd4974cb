package main

import (
	"fmt"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// mixesWithAFinger makes a mix as somebody does who knows the page: what the bench can see for
// itself needs no tap. It ends when the page says that the mix is ready, and the cup is lifted.
func (m *mixer) mixesWithAFinger(ready string) (id string) {
	m.t.Helper()
	m.touches("Start this mix")
	id = m.reads(`Mix (\d{4}-\d+) · dial-satin · for press-1`)
	m.scale.Set(24)
	m.seesIn("Guided mix", "Pour ink dial-satin", "The bench took the empty cup by itself: 24.0 g.")
	m.pour(m.t, 85, 80)
	m.touches("The ink is in") // at once: the tap is kept until the weight is still
	m.sees("Pour hardener-a", "target 17.0 g")
	m.pour(m.t, 17, 80)
	m.settles(126)
	m.stirsAway(126) // hardener in ratio is taken with its stir
	m.sees("Pour thinner", "target 7.1 g")
	m.pour(m.t, 7.1, 80)
	m.touches("The thinner is in")
	m.sees("Stir the thinner in")
	m.stirsAway(133.1)
	m.sees(ready)
	m.scale.Lift()
	return id
}

// stirsAway lifts the cup for longer than the ink is to be stirred, and puts it back.
func (m *mixer) stirsAway(grams float64) {
	m.t.Helper()
	m.scale.Lift()
	m.settles(0)
	m.passes(1500)
	m.scale.Set(grams)
}

// passes lets so many milliseconds pass on the page.
func (m *mixer) passes(ms int) {
	m.t.Helper()
	now := evaluate[float64](m, "performance.now()")
	m.waits("time", fmt.Sprintf("performance.now() > %f", now+float64(ms)))
}

// TestTapsOfAMixAndAChangeOver counts them: 4 for a mix onto an empty press (8 before), and 6 for one
// in whose place another comes off (11 to 17 before), with the choice of its press while another one is empty.
func TestTapsOfAMixAndAChangeOver(t *testing.T) {
	t.Parallel()
	m := newMixerWith(t, quickScale, "stir: 10m", "stir: 1s", "fill_maximum_g: 150}", "fill_maximum_g: 150, empty_g: 24}")
	m.chooses("Ink", "dial-satin")
	m.chooses("For", "press-1")
	first := m.mixesWithAFinger("Put the cup on press-1")
	m.touches("It is on press-1")
	m.seesIn("Open batches", first+" dial-satin on press-1")
	if m.touched != 4 {
		t.Errorf("a mix took %d taps, want 4", m.touched)
	}
	m.touched = 0
	m.chooses("For", "press-1") // Start proposes press-2, which is empty
	m.touched++
	second := m.mixesWithAFinger("Ready for press-1")
	m.touches("It is on press-1")
	m.sees(first + " comes off press-1")
	m.touches("Used up")
	m.seesIn("Open batches", second+" dial-satin on press-1")
	m.misses(first + " dial-satin")
	m.seesNot("Put the cup on press-1") // nobody asks for the old cup again
	m.seesIn("Lights", "press-1 Good to print")
	if m.touched != 6 {
		t.Errorf("a change-over took %d taps, want 6", m.touched)
	}
}

// TestNothingIsConfirmedByADoubleTap: each tap comes twice, as from a glove, and each step is taken
// once.
func TestNothingIsConfirmedByADoubleTap(t *testing.T) {
	t.Parallel()
	m := newMixer(t, quickScale)
	m.chooses("Ink", "dial-satin")
	m.chooses("For", "press-1")
	m.touchesTwice("Start this mix")
	m.scale.Set(24)
	m.settles(24)
	m.touchesTwice("The cup is on")
	m.sees("Pour ink dial-satin")
	m.seesNot("refused")
	m.pours(85)
	m.touchesTwice("The ink is in")
	m.sees("Pour hardener-a", "target 17.0 g")
	m.pours(17)
	m.touchesTwice("The hardener is in")
	m.sees("Stir the hardener in")
	m.passes(600)
	m.seesIn("Guided mix", "Stir the hardener in")
	// A keypad's Enter confirms once, however often it bounces.
	m.pressesEnter()
	m.pressesEnter()
	m.sees("Pour thinner")
	m.passes(600)
	m.seesIn("Guided mix", "Pour thinner")
}

// touchesTwice presses a button by a double tap of a finger.
func (m *mixer) touchesTwice(button string) {
	m.t.Helper()
	m.touches(button)
	m.finger(m.lastAt[0], m.lastAt[1])
}

// pressesEnter presses Enter on a keypad, with nothing on the page in the focus.
func (m *mixer) pressesEnter() {
	m.t.Helper()
	m.run(chromedp.Evaluate[chromedp.Void](`document.activeElement.blur()`), chromedp.KeyEvent(kb.Enter))
}
