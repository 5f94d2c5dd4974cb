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
		e.Words = w.effect(e)
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
	compared := 0
	for _, e := range w.a.Effects {
		if e.Factor == main.Factor && e.Reason == "" {
			compared++
		}
	}
	for _, k := range shown {
		e := w.a.of(quality.VapourDensity, k)
		all = append(all, w.effect(e)+". "+w.Say("study.comparisons", "n", compared, "q", w.probability(*e.Q)))
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
	case w.a.WeeksMore != nil && *w.a.WeeksMore > 52:
		return w.Say("study.weeks-many")
	case w.a.WeeksMore != nil:
		return w.Say("study.weeks-more", "n", int(math.Ceil(max(1, *w.a.WeeksMore))))
	case main.Reason != "":
		return w.Say("study.weeks-unknown", "reason", w.Say("study.reason."+string(main.Reason)))
	}
	return w.Say("study.weeks-unknown", "reason", w.Say("study.reason."+string(quality.NoChange)))
}

// effect writes an effect as a change in percent for each step.
func (w teller) effect(e Effect) string {
	if e.Reason != "" {
		return w.Say("study.effect.none", "kind", w.kind(e.Kind), "reason", w.Say("study.reason."+string(e.Reason)))
	}
	if w.a.Model == "logistic" {
		return w.Say("study.odds", "step", w.Say("study.step."+key(e.Factor)), "kind", w.kind(e.Kind),
			"change", w.odds(e.Ratio), "low", w.odds(e.Low), "high", w.odds(e.High))
	}
	return w.Say("study.effect", "step", w.Say("study.step."+key(e.Factor)), "kind", w.kind(e.Kind),
		"change", w.rate(e.Ratio), "low", w.rate(e.Low), "high", w.rate(e.High))
}

// Beyond these ratios a change is only said to be beyond: the figures of an interval that few
// records leave open would look like knowledge.
const (
	greatestTold = 20
	leastTold    = 1.0 / 20
)

// rate words a ratio of rates; nil is one without a limit.
func (w teller) rate(ratio *float64) string {
	switch {
	case ratio == nil:
		return w.Say("study.no-limit")
	case *ratio > greatestTold:
		return w.Say("study.effect.many", "times", w.Number(greatestTold, 0))
	case *ratio < leastTold:
		return w.Say("study.effect.few", "pct", w.Percent(100*(1-leastTold), 0))
	case *ratio < 1:
		return w.Say("study.effect.fewer", "pct", w.change(1-*ratio))
	}
	return w.Say("study.effect.more", "pct", w.change(*ratio-1))
}

// odds words a ratio of odds; nil is one without a limit.
func (w teller) odds(ratio *float64) string {
	switch {
	case ratio == nil:
		return w.Say("study.no-limit")
	case *ratio > greatestTold:
		return w.Say("study.odds.many", "times", w.Number(greatestTold, 0))
	case *ratio < leastTold:
		return w.Say("study.odds.few", "pct", w.Percent(100*(1-leastTold), 0))
	case *ratio < 1:
		return w.Say("study.odds.lower", "pct", w.change(1-*ratio))
	}
	return w.Say("study.odds.higher", "pct", w.change(*ratio-1))
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
	humidity := func(density float64) float64 {
		return 100 * density / air.State{TemperatureC: mean, HumidityPct: 100}.VapourDensityGM3()
	}
	if t.Told {
		return []string{w.Say("study.threshold.told", "kind", w.kind(t.Kind), "at", density(*t.At), "low", density(*t.Low), "high", density(*t.High),
			"humidity", w.Percent(humidity(*t.At), 0), "temperature", w.Temperature(mean))}
	}
	said := []string{w.Say("study.threshold.not-told")}
	if t.RelevantAt == nil {
		return append(said, w.Say("study.threshold.relevant-open", "kind", w.kind(t.Kind), "relevant", w.relevant(), "dry", density(t.Dry)))
	}
	high := w.Say("study.no-limit")
	if t.RelevantHigh != nil {
		high = density(*t.RelevantHigh)
	}
	return append(said, w.Say("study.threshold.relevant", "kind", w.kind(t.Kind), "relevant", w.relevant(), "dry", density(t.Dry),
		"at", density(*t.RelevantAt), "low", density(*t.RelevantLow), "high", high,
		"humidity", w.Percent(humidity(*t.RelevantAt), 0), "temperature", w.Temperature(mean)))
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

// sure says on what the intervals rest.
func (w teller) sure(main Effect) string {
	said := ""
	switch w.a.Clustering {
	case quality.ByDay:
		said = w.Say("study.clusters.day", "n", main.Clusters)
	case quality.ByBatch:
		said = w.Say("study.clusters.batch", "n", main.Clusters)
	default:
		said = w.Say("study.clusters.none")
	}
	if w.a.DesignEffect != nil && *w.a.DesignEffect > 1.1 {
		said += " " + w.Say("study.design", "factor", w.Number(*w.a.DesignEffect, 1))
	}
	return said
}

// PlainKind returns the id of a kind of defect as words, for output in English.
func PlainKind(id string) string {
	if id == All {
		return words.English().Say("study.all-kinds")
	}
	return strings.ReplaceAll(id, "-", " ")
}

// Probability returns a p value, for output in English.
func Probability(p float64) string { return teller{}.probability(p) }
