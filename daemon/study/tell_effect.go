package study

import (
	"math"
	"strings"

	"potlifed/model/quality"
)

// effect says what was seen of an effect and how sure that is. An interval that includes "no
// difference" is never told as an effect, and is left out where it says nothing: figures has it.
func (w teller) effect(e Effect) string {
	kind, step := w.kindFirst(e.Kind), w.step(e.Factor)
	what := w.Say("study.what.rejects")
	if w.a.Model == "logistic" {
		what = w.Say("study.what.odds")
	}
	sure := w.Say("study.sureness." + string(w.certainty(e)))
	values := []any{"kind", kind, "step", step, "what", what, "sure", sure}
	switch {
	case e.Reason != "":
		return w.Say("study.effect.none", "kind", kind, "reason", w.Say("study.reason."+string(e.Reason)))
	case e.shown() && e.Low == nil:
		return w.Say("study.effect.no-low", append(values, "change", w.rate(e.Ratio), "high", w.rate(e.High))...)
	case e.shown() && e.High == nil:
		return w.Say("study.effect.no-high", append(values, "change", w.rate(e.Ratio), "low", w.rate(e.Low))...)
	case e.shown():
		return w.Say("study.effect", append(values, "change", w.rate(e.Ratio), "low", w.rate(e.Low), "high", w.rate(e.High))...)
	case w.excludes(e):
		return w.Say("study.effect.excluded", append(values, "low", w.rate(e.Low), "high", w.rate(e.High))...)
	case e.Low != nil && *e.Low > 1 || e.High != nil && *e.High < 1:
		return w.Say("study.effect.sign", "kind", kind)
	case e.WeeksMore == nil:
		return w.Say("study.effect.open", "kind", kind)
	case *e.WeeksMore > manyWeeks:
		return w.Say("study.effect.year", "kind", kind)
	case *e.WeeksMore > 0:
		return w.Say("study.effect.weeks", "kind", kind, "n", int(math.Ceil(max(1, *e.WeeksMore))))
	}
	return w.Say("study.effect.unseen", "kind", kind)
}

// apart names the conditions that rose and fell with that of an effect, with a space before it; it is
// empty where there are none or there is no figure.
func (w teller) apart(e Effect) string {
	if len(e.Together) == 0 || e.Ratio == nil {
		return ""
	}
	names := make([]string, len(e.Together))
	for i, f := range e.Together {
		names[i] = w.Say("study.condition." + key(f))
	}
	return " " + w.Say("study.apart", "condition", w.Say("study.condition."+key(e.Factor)), "others", strings.Join(names, ", "))
}

// sure says in a word or two whether there is an effect.
func (w teller) sure(e Effect) string {
	switch level := string(w.certainty(e)); {
	case e.shown():
		return w.Say("study.sure.found." + level)
	case w.excludes(e):
		return w.Say("study.sure.excluded." + level)
	}
	return w.Say("study.sure.open")
}

// manyWeeks is from where on a number of weeks is no longer a plan.
const manyWeeks = 52

// figures writes the change for one step with its interval and p; empty without an estimate. Where neither days
// nor batches were compared there is no p: it would count prints that depend on one another as if they did not.
func (w teller) figures(e Effect) string {
	if e.Ratio == nil {
		return ""
	}
	change, low, high := w.signed(e.Ratio), w.signed(e.Low), w.signed(e.High)
	if e.Q == nil || w.certainty(e) == hint {
		return w.Say("study.figures", "change", change, "low", low, "high", high)
	}
	return w.Say("study.figures-p", "change", change, "low", low, "high", high, "p", w.probability(*e.Q))
}

// signed writes a ratio of rates as a change with its sign; nil is one without a limit.
func (w teller) signed(ratio *float64) string {
	switch {
	case ratio == nil || *ratio > greatestRatio:
		return w.Say("study.no-limit")
	case *ratio < 1:
		return "\u2212" + w.change(1-*ratio)
	}
	return "+" + w.change(*ratio-1)
}

// greatestRatio is the largest ratio that is written: a larger one only tells that there is no limit.
const greatestRatio = 1000

// rate words a ratio of rates, or of odds.
func (w teller) rate(ratio *float64) string {
	more, change := *ratio >= 1, w.change(math.Abs(*ratio-1))
	switch {
	case w.a.Model == "logistic" && more:
		return w.Say("study.odds.higher", "pct", change)
	case w.a.Model == "logistic":
		return w.Say("study.odds.lower", "pct", change)
	case more:
		return w.Say("study.effect.more", "pct", change)
	}
	return w.Say("study.effect.fewer", "pct", change)
}

// step names a step of a condition, by which effects are told.
func (w teller) step(factor string) string {
	if factor == quality.Temperature.String() {
		return w.Say("study.warmer", "step", w.TemperatureStep(1))
	}
	return w.Say("study.step." + key(factor))
}

// change writes a share of change in percent, with a decimal where it is small.
func (w teller) change(share float64) string {
	decimals := 0
	if math.Abs(share) < 0.0995 {
		decimals = 1
	}
	return w.Percent(100*share, decimals)
}

// probability writes a p value in the locale.
func (w teller) probability(p float64) string {
	if p < leastP {
		return "<\u00a0" + w.Number(leastP, 3)
	}
	return w.Number(p, 3)
}

// leastP is below which a p value is only said to be below.
const leastP = 0.001
