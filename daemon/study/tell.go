package study

import (
	"math"
	"slices"
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
		e.Words, e.Figures, e.Sure = w.effect(e)+w.apart(e), w.figures(e), w.sure(e)
		e.Firm = e.shown() && w.certainty(e) != hint
		effects[i] = e
	}
	a.Effects = effects
	curves := make([]Curve, len(a.Curves))
	for i, c := range a.Curves {
		c.Title = ConditionWords(l, c.Factor)
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

// kindFirst names a kind at the beginning of a sentence.
func (w teller) kindFirst(id string) string {
	if id == All {
		return w.Say("study.all-kinds-first")
	}
	return w.kind(id)
}

func (w teller) relevant() string { return w.Percent(w.a.Relevant, 0) }

// certainty is how much an effect's interval is worth.
type certainty string

// The levels of certainty.
const (
	certain   certainty = "days"    // days were compared: the interval holds 19 times in 20
	uncertain certainty = "batches" // batches were compared: what a whole day has in common is not in it
	hint      certainty = "none"    // neither were: the interval is too narrow, by how much is not known
)

// certainty returns the least one of effects.
func (w teller) certainty(effects ...Effect) certainty {
	switch {
	case w.a.Clustering == quality.NotClustered || slices.ContainsFunc(effects, func(e Effect) bool { return e.Method != quality.BiasReduced }):
		return hint
	case w.a.Clustering == quality.ByDay:
		return certain
	}
	return uncertain
}

// shown reports whether an effect may be told as one: it was found, and its interval excludes that
// there is none.
func (e Effect) shown() bool {
	return e.Reason == "" && e.Found && (e.Low != nil && *e.Low > 1 || e.High != nil && *e.High < 1)
}

// excludes reports whether it may be told that there is no difference that matters.
func (w teller) excludes(e Effect) bool {
	return e.Reason == "" && e.Excluded && e.Low != nil && e.High != nil && w.certainty(e) != hint
}

func (w teller) headline() string {
	kinds, effects := make([]string, len(w.a.Kinds)), make([]Effect, len(w.a.Kinds))
	for i, k := range w.a.Kinds {
		kinds[i], effects[i] = w.kind(k), w.a.of(quality.VapourDensity, k)
	}
	list := strings.Join(kinds, ", ")
	main := w.a.of(quality.VapourDensity, All)
	switch {
	case w.a.Prints == 0:
		return w.Say("study.headline.no-prints")
	case w.a.Verdict == quality.MoreDefects:
		return w.Say("study.headline.more-defects."+string(w.certainty(effects...)), "kinds", list)
	case w.a.Verdict == quality.FewerDefects:
		return w.Say("study.headline.fewer-defects."+string(w.certainty(effects...)), "kinds", list)
	case w.a.Verdict == quality.NothingFound && w.excludes(main):
		return w.Say("study.headline.nothing-found."+string(w.certainty(main)), "relevant", w.relevant())
	case main.Reason != "":
		return w.Say("study.headline.no-figure", "reason", w.Say("study.reason."+string(main.Reason)))
	}
	return w.Say("study.headline.not-enough-data")
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
	if w.a.Prints == 0 {
		return w.withoutPrints()
	}
	var all []string
	main := w.a.of(quality.VapourDensity, All)
	if w.a.Verdict == quality.NotEnough {
		all = append(all, w.possible(main)...)
		all = append(all, w.missing())
	}
	if t := w.a.Threshold; t != nil && t.Kind != All && !main.shown() {
		all = append(all, w.effect(main)) // all kinds were asked about: what is known of one comes after it
	}
	all = append(all, w.threshold()...) // from which humidity on: what is asked next
	if slices.Contains(main.Together, quality.Temperature.String()) {
		all = append(all, w.Say("study.together")) // before the figure that it qualifies
	}
	for _, e := range w.a.Effects {
		if e.Factor == quality.VapourDensity.String() && (slices.Contains(w.a.Kinds, e.Kind) || e.shown() || len(w.a.Kinds) == 0 && e.Kind == All && e.Reason == "") {
			all = append(all, w.effect(e))
		}
	}
	if w.a.Curved {
		all = append(all, w.Say("study.curved"))
	}
	if main.Reason == "" {
		all = append(all, w.clusters(main))
	}
	if n := int(w.a.WithoutAir); n > 0 {
		all = append(all, w.Say("study.without-air", "n", n))
	}
	if n := int(w.a.Unexposed); n > 0 {
		all = append(all, w.Say("study.without-prints", "n", n))
	}
	return append(all, w.Say("study.association"))
}

// withoutPrints says why nothing can be said where no print was reported, and how prints are recorded.
func (w teller) withoutPrints() []string {
	var all []string
	if n := int(w.a.Unexposed); n > 0 {
		all = append(all, w.Say("study.rejects-alone", "n", n))
	}
	return append(all, w.Say("study.record-prints"))
}

// possible says which differences that matter the records do not exclude.
func (w teller) possible(main Effect) []string {
	if main.Reason != "" {
		return nil
	}
	least := 1 + w.a.Relevant/100
	more := main.SwingHigh == nil || *main.SwingHigh >= least
	fewer := main.SwingLow == nil || *main.SwingLow <= 1/least
	switch {
	case more && fewer || w.certainty(main) == hint:
		return []string{w.Say("study.possible.both")}
	case more:
		return []string{w.Say("study.possible.more", "relevant", w.relevant())}
	case fewer:
		return []string{w.Say("study.possible.fewer", "relevant", w.relevant(), "sure", w.Say("study.sureness."+string(w.certainty(main))))}
	}
	return nil
}

// missing says how much longer it takes.
func (w teller) missing() string {
	switch {
	case w.a.WeeksMore == nil:
		return w.Say("study.weeks-unknown")
	case *w.a.WeeksMore > manyWeeks:
		return w.Say("study.weeks-many")
	case *w.a.WeeksMore <= 0:
		return w.Say("study.weeks-enough", "relevant", w.relevant())
	}
	return w.Say("study.weeks-more", "n", int(math.Ceil(max(1, *w.a.WeeksMore))))
}

// key is a factor's name as part of a key of the catalogue.
// ConditionWords returns the name of a condition with its unit, for a factor of an [Effect] or a [Curve].
func ConditionWords(l words.Locale, factor string) string {
	if factor == quality.Temperature.String() && l.Fahrenheit {
		return l.Say("condition.temperature-f")
	}
	return l.Say("condition." + key(factor))
}

func key(factor string) string { return strings.ReplaceAll(factor, "_", "-") }

func (w teller) threshold() []string {
	t := w.a.Threshold
	if t == nil {
		return nil
	}
	level := w.certainty(w.a.of(quality.VapourDensity, t.Kind))
	if level == hint {
		return nil // a limit would be believed
	}
	density := func(x float64) string { return w.Number(x, 1) }
	values := []any{"kind", w.kindFirst(t.Kind), "relevant", w.relevant(), "dry", density(t.Dry), "sure", w.Say("study.sureness." + string(level))}
	at := func(x float64) []any { return append(values, "at", w.vapour(x, *t)) }
	switch {
	case t.Told:
		return []string{w.Say("study.threshold.told", at(*t.At)...) + " " + w.limit("told", values, t.Low, t.High)}
	case t.RelevantAt == nil:
		return []string{w.Say("study.threshold.relevant-open", values...), w.Say("study.threshold.not-told")}
	}
	return []string{w.Say("study.threshold.relevant", at(*t.RelevantAt)...) + " " + w.limit("relevant", values, t.RelevantLow, t.RelevantHigh), w.Say("study.threshold.not-told")}
}

// limit writes between which densities a limit is; of is the key of the sentence that tells it.
func (w teller) limit(of string, values []any, low, high *float64) string {
	density := func(x *float64) string { return w.Number(*x, 1) }
	switch {
	case low != nil && high != nil:
		return w.Say("study.threshold."+of+"-between", append(values, "low", density(low), "high", density(high))...)
	case low != nil:
		return w.Say("study.threshold."+of+"-from", append(values, "low", density(low))...)
	}
	return w.Say("study.threshold."+of+"-anywhere", values...)
}

// vapour writes a vapour density and the relative humidity that it is where the shop prints: the same
// density is a much higher one in cool air than in warm air.
func (w teller) vapour(gM3 float64, t Threshold) string {
	values := []any{"density", w.Number(gM3, 1)}
	if t.CoolC == nil || t.WarmC == nil {
		return w.Say("study.vapour", values...)
	}
	pct := func(celsius float64) float64 {
		return 100 * gM3 / air.State{TemperatureC: celsius, HumidityPct: 100}.VapourDensityGM3()
	}
	values = append(values, "humidity", w.Percent(pct(*t.WarmC), 0), "temperature", w.Temperature(*t.WarmC))
	if *t.WarmC-*t.CoolC < 0.5 || pct(*t.CoolC) > 100 { // so much vapour is not in the cool air
		return w.Say("study.vapour.at", values...)
	}
	return w.Say("study.vapour.between", append(values, "cool_humidity", w.Percent(pct(*t.CoolC), 0), "cool", w.Temperature(*t.CoolC))...)
}

// clusters says on what the ranges rest.
func (w teller) clusters(main Effect) string {
	switch w.certainty(main) {
	case certain:
		return w.Say("study.clusters.day", "n", main.Clusters)
	case uncertain:
		return w.Say("study.clusters.batch", "n", main.Clusters, "days", quality.EnoughClusters)
	}
	return w.Say("study.clusters.none", "days", quality.EnoughClusters)
}

// PlainKind returns the id of a kind of defect as words, for output in English.
func PlainKind(id string) string {
	if id == All {
		return words.English().Say("study.all-kinds")
	}
	return strings.ReplaceAll(id, "-", " ")
}
