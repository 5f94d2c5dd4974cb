package study

import (
	"math"
	"strings"

	"potlifed/daemon/words"
	"potlifed/model/air"
	"potlifed/model/quality"
)

// Tell returns the answer with its sentences. kind returns the words for a kind of defect.
func (a Answer) Tell(l words.Locale, kind func(id string) string) Answer {
	w := teller{l, kind, a}
	a.Headline = w.headline()
	a.Sentences = w.sentences()
	effects := make([]Effect, len(a.Effects))
	for i, e := range a.Effects {
		e.Words, e.Figures = w.effect(e), w.figures(e)
		effects[i] = e
	}
	a.Effects = effects
	curves := make([]Curve, len(a.Curves))
	for i, c := range a.Curves {
		c.Title = l.Say("study.factor." + key(c.Factor))
		curves[i] = c
	}
	a.Curves = curves
	return a
}

// teller writes an answer in the words of a locale.
type teller struct {
	words.Locale
	kindWords func(id string) string
	a         Answer
}

func (w teller) kind(id string) string {
	if id == All {
		return w.Say("study.all-kinds")
	}
	return w.Say("study.kind", "kind", w.kindWords(id))
}

func (w teller) relevant() string { return w.Percent(w.a.Relevant, 0) }

func (w teller) headline() string {
	kinds := make([]string, len(w.a.Kinds))
	for i, k := range w.a.Kinds {
		kinds[i] = w.kind(k)
	}
	list := strings.Join(kinds, ", ")
	switch w.a.Verdict {
	case quality.MoreDefects:
		if w.a.Clustering != quality.ByDay {
			return w.Say("study.headline.more-defects-unsure", "kinds", list)
		}
		return w.Say("study.headline.more-defects", "kinds", list)
	case quality.FewerDefects:
		return w.Say("study.headline.fewer-defects", "kinds", list)
	case quality.NothingFound:
		return w.Say("study.headline.nothing-found", "relevant", w.relevant())
	}
	return w.Say("study.headline.not-enough-data", "relevant", w.relevant())
}

// of returns the effect of a factor on a kind; an empty one when there is none.
func (a Answer) of(factor quality.Factor, kind string) Effect {
	for _, e := range a.Effects {
		if e.Factor == factor.String() && e.Kind == kind {
			return e
		}
	}
	return Effect{Kind: kind, Factor: factor.String(), Reason: quality.NoPrints}
}

func (w teller) sentences() []string {
	var all []string
	main := w.a.of(quality.VapourDensity, All)
	if w.a.Verdict == quality.NotEnough {
		all = append(all, w.missing(main))
	}
	all = append(all, w.threshold()...) // from which humidity on: what is asked next
	shown := w.a.Kinds
	if len(shown) == 0 && main.Reason == "" {
		shown = []string{All}
	}
	for _, k := range shown {
		all = append(all, w.effect(w.a.of(quality.VapourDensity, k)))
	}
	if w.a.Curved {
		all = append(all, w.Say("study.curved"))
	}
	if main.Reason == "" {
		all = append(all, w.sure(main))
	}
	if len(main.Together) > 0 {
		all = append(all, w.Say("study.together"))
	}
	if n := int(w.a.WithoutAir); n > 0 {
		all = append(all, w.Say("study.without-air", "n", n))
	}
	if n := int(w.a.Unexposed); n > 0 {
		all = append(all, w.Say("study.without-prints", "n", n))
	}
	return append(all, w.Say("study.association"))
}

// missing says how much longer it takes.
func (w teller) missing(main Effect) string {
	switch {
	case w.a.WeeksMore != nil && *w.a.WeeksMore > manyWeeks:
		return w.Say("study.weeks-many")
	case w.a.WeeksMore != nil:
		return w.Say("study.weeks-more", "n", int(math.Ceil(max(1, *w.a.WeeksMore))))
	case main.Reason != "":
		return w.Say("study.weeks-unknown", "reason", w.Say("study.reason."+string(main.Reason)))
	}
	return w.Say("study.weeks-unknown", "reason", w.Say("study.reason."+string(quality.NoChange)))
}

// effect says what was seen of an effect and how sure that is. A range that says nothing is left
// out: figures has it.
func (w teller) effect(e Effect) string {
	kind, step := w.kind(e.Kind), w.Say("study.step."+key(e.Factor))
	if e.Kind == All {
		kind = w.Say("study.all-kinds-first")
	}
	what := w.Say("study.what.rejects")
	if w.a.Model == "logistic" {
		what = w.Say("study.what.odds")
	}
	switch {
	case e.Reason != "":
		return w.Say("study.effect.none", "kind", kind, "reason", w.Say("study.reason."+string(e.Reason)))
	case e.Found && e.Low == nil:
		return w.Say("study.effect.no-low", "kind", kind, "step", step, "what", what, "sure", w.sureness(), "change", w.rate(e.Ratio), "high", w.rate(e.High))
	case e.Found && e.High == nil:
		return w.Say("study.effect.no-high", "kind", kind, "step", step, "what", what, "sure", w.sureness(), "change", w.rate(e.Ratio), "low", w.rate(e.Low))
	case e.Found:
		return w.Say("study.effect", "kind", kind, "step", step, "what", what, "sure", w.sureness(), "change", w.rate(e.Ratio), "low", w.rate(e.Low), "high", w.rate(e.High))
	case e.Excluded && e.Low != nil && e.High != nil:
		return w.Say("study.effect.excluded", "kind", kind, "step", step, "what", what, "low", w.rate(e.Low), "high", w.rate(e.High))
	case e.WeeksMore == nil:
		return w.Say("study.effect.open", "kind", kind)
	case *e.WeeksMore > manyWeeks:
		return w.Say("study.effect.year", "kind", kind)
	case *e.WeeksMore > 0:
		return w.Say("study.effect.weeks", "kind", kind, "n", int(math.Ceil(max(1, *e.WeeksMore))))
	}
	return w.Say("study.effect.unseen", "kind", kind)
}

// sureness says how much a range is worth: without days to compare, what a whole day has in common
// is not in it.
func (w teller) sureness() string {
	if w.a.Clustering == quality.ByDay {
		return w.Say("study.surely")
	}
	return w.Say("study.probably")
}

// manyWeeks is from where on a number of weeks is no longer a plan.
const manyWeeks = 52

// figures writes the change for one step with its interval and p; empty without an estimate.
func (w teller) figures(e Effect) string {
	if e.Ratio == nil {
		return ""
	}
	change, low, high := w.signed(e.Ratio), w.signed(e.Low), w.signed(e.High)
	if e.Q == nil {
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

// key is a factor's name as part of a key of the catalogue.
func key(factor string) string { return strings.ReplaceAll(factor, "_", "-") }

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

func (w teller) threshold() []string {
	t := w.a.Threshold
	if t == nil {
		return nil
	}
	density := func(x float64) string { return w.Number(x, 1) }
	mean := w.a.meanTemperature()
	humidity := func(x float64) string {
		return w.Percent(100*x/air.State{TemperatureC: mean, HumidityPct: 100}.VapourDensityGM3(), 0)
	}
	if t.Told {
		return []string{w.Say("study.threshold.told", "kind", w.kind(t.Kind), "at", density(*t.At), "low", density(*t.Low), "high", density(*t.High),
			"humidity", humidity(*t.At), "temperature", w.Temperature(mean), "sure", w.sureness())}
	}
	evenly := w.Say("study.threshold.not-told")
	values := []any{"kind", w.kind(t.Kind), "relevant", w.relevant(), "dry", density(t.Dry)}
	if t.RelevantAt == nil {
		return []string{w.Say("study.threshold.relevant-open", values...), evenly}
	}
	values = append(values, "at", density(*t.RelevantAt), "low", density(*t.RelevantLow), "humidity", humidity(*t.RelevantAt), "temperature", w.Temperature(mean), "sure", w.sureness())
	if t.RelevantHigh == nil {
		return []string{w.Say("study.threshold.relevant-low", values...), evenly}
	}
	return []string{w.Say("study.threshold.relevant", append(values, "high", density(*t.RelevantHigh))...), evenly}
}

// meanTemperature returns the mean over the prints, 20 °C where none is known.
func (a Answer) meanTemperature() float64 {
	sum, prints := 0.0, 0.0
	for _, c := range a.Curves {
		if c.Factor != quality.Temperature.String() || c.Kind != All {
			continue
		}
		for _, b := range c.Bins {
			sum += b.Mean * b.Prints
			prints += b.Prints
		}
	}
	if prints == 0 {
		return 20
	}
	return sum / prints
}

// sure says on what the ranges rest.
func (w teller) sure(main Effect) string {
	switch w.a.Clustering {
	case quality.ByDay:
		return w.Say("study.clusters.day", "n", main.Clusters)
	case quality.ByBatch:
		return w.Say("study.clusters.batch", "n", main.Clusters)
	}
	return w.Say("study.clusters.none")
}

// PlainKind returns the id of a kind of defect as words, for output in English.
func PlainKind(id string) string {
	if id == All {
		return words.English().Say("study.all-kinds")
	}
	return strings.ReplaceAll(id, "-", " ")
}
