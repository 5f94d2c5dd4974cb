package bench

import (
	"math"

	"potlifed/daemon/config"
	"potlifed/daemon/request"
	"potlifed/daemon/words"
	"potlifed/model/guide"
)

// why says where the figures of a recipe come from, in sentences.
func why(w words.Locale, ink config.Ink, cup config.Cup, r guide.Recipe, c request.StartMix) []string {
	var out []string
	say := func(text string) { out = append(out, text) }
	grams := func(g float64) string { return w.Say("unit.grams", "value", w.Number(g, wholeOrTenth(g))) }
	pct := func(p float64) string { return w.Percent(p, wholeOrTenth(p)) }
	asked, least := grams(r.InkTargetG), grams(cup.InkMinimumG)
	switch {
	case c.InkG == nil:
		say(w.Say("why.ink-least", "mass", asked, "cup", cup.ID))
	case *c.InkG < cup.InkMinimumG:
		say(w.Say("why.ink-too-little", "mass", asked, "cup", cup.ID, "least", least))
	default:
		say(w.Say("why.ink-asked", "mass", asked, "cup", cup.ID, "least", least))
	}
	say(w.Say("why.hardener", "ratio", r.Ratio.String()))
	t := ink.ThinnerPct
	switch {
	case t.Max <= 0:
		say(w.Say("why.no-thinner", "ink", ink.ID))
	case c.ThinnerPct != nil:
		say(w.Say("why.thinner-asked", "share", pct(r.ThinnerPct), "ink", ink.ID, "least", pct(t.Min), "most", pct(t.Max)))
	default:
		say(w.Say("why.thinner-start", "share", pct(r.ThinnerPct), "reason", startWhy(w, t, c), "ink", ink.ID, "least", pct(t.Min), "most", pct(t.Max)))
	}
	return out
}

// wholeOrTenth returns how many decimals a figure of the configuration or of a person is written
// with: none for a whole number.
func wholeOrTenth(x float64) int {
	if x == math.Trunc(x) {
		return 0
	}
	return 1
}

// startWhy is the reason of thinnerStart.
func startWhy(w words.Locale, t config.ThinnerPct, c request.StartMix) string {
	colours, from := w.Say("why.colours-"+colourClass(c)), t.Dark
	if colourClass(c) != "dark" {
		from = t.Light
	}
	switch artwork(c) {
	case "large-solid":
		return w.Say("why.large-solid")
	case "fine-detail":
		return w.Say("why.fine-detail", "from", w.Percent(from, wholeOrTenth(from)), "colours", colours)
	}
	return w.Say("why.start", "colours", colours)
}
