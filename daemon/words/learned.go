package words

import (
	"errors"
	"math"
	"strings"

	"potlifed/model/learn"
)

// LearnVerdict returns what batches say of an ink in a sentence, such as "12 ends, 48 used up in
// time: this ink lasts 9 % less than its data sheet says, 90 % interval 3 to 15; still assumed:
// humidity share".
func (l Locale) LearnVerdict(r learn.Result) string {
	if r.Fault != "" {
		return l.Say("learned.no-result")
	}
	verdict := l.Say("learned.verdict", "counts", l.learnCounts(r), "finding", l.learnFinding(r))
	if r.LifeRatio.Learned && r.LongerThanSheet {
		verdict = l.Say("learned.longer", "verdict", verdict)
	}
	if r.Jars > 0 && r.ActivationKJPerMol.SE != nil && r.MoistureShare.SE != nil {
		figure := func(x float64, decimals int) string { return l.Number(x, decimals) }
		verdict = l.Say("learned.jars", "verdict", verdict, "jars", l.Say("learned.jar-count", "n", r.Jars),
			"energy", figure(r.ActivationKJPerMol.Value, 1), "energy_by", figure(*r.ActivationKJPerMol.SE, 1), "energy_before", figure(r.Sheet.ActivationSpread, 1),
			"share", figure(r.MoistureShare.Value, 2), "share_by", figure(*r.MoistureShare.SE, 2), "share_before", figure(r.Sheet.MoistureSpread, 2))
	}
	if _, assumed := r.Learned(); len(assumed) > 0 {
		verdict = l.Say("learned.and-assumed", "verdict", verdict, "parameters", strings.Join(l.Parameters(assumed), ", "))
	}
	return verdict
}

func (l Locale) learnCounts(r learn.Result) string {
	counts := l.Say("learned.counts", "ends", l.Say("learned.ends", "n", r.Ends), "used_up", r.Censored)
	if left := len(r.LeftOut); left > 0 {
		return l.Say("learned.counts-left-out", "counts", counts, "left_out", left)
	}
	return counts
}

// learnFinding compares the life of an ink with that of its data sheet.
func (l Locale) learnFinding(r learn.Result) string {
	sheet := l.Say("learned.sheet")
	if r.Assumed {
		sheet = l.Say("learned.usual-range")
	}
	switch {
	case r.Undetermined != "":
		return l.Say("learned.no-scatter")
	case r.Ends+r.Censored == 0:
		return l.Say("learned.no-batch", "sheet", sheet)
	case !r.LifeRatio.Learned:
		return l.Say("learned.too-few", "sheet", sheet)
	}
	change := func(ratio float64) int { return int(math.Round(100 * (ratio - 1))) }
	value, low, high := change(r.LifeRatio.Value), change(r.LifeRatio.Interval[0]), change(r.LifeRatio.Interval[1])
	pct := func(n int) string { return l.Percent(math.Abs(float64(n)), 0) }
	switch {
	case value < 0 && high <= 0:
		return l.Say("learned.less", "pct", pct(value), "sheet", sheet, "low", -high, "high", -low)
	case value > 0 && low >= 0:
		return l.Say("learned.more", "pct", pct(value), "sheet", sheet, "low", low, "high", high)
	case value == 0:
		return l.Say("learned.same", "sheet", sheet, "less", max(-low, 0), "more", max(high, 0))
	case value < 0:
		return l.Say("learned.less-or-more", "pct", pct(value), "sheet", sheet, "less", -low, "more", high)
	}
	return l.Say("learned.more-or-less", "pct", pct(value), "sheet", sheet, "less", -low, "more", high)
}

// LearnRefusal returns why a result cannot be put into effect, for an error of [learn.Result.Accept].
func (l Locale) LearnRefusal(err error) string {
	switch {
	case errors.Is(err, learn.ErrNeedsTest):
		return l.Say("learned.refused-test")
	case errors.Is(err, learn.ErrNothingLearned):
		return l.Say("learned.refused-nothing")
	}
	return l.Say("learned.no-result")
}

// LearnCautions returns what a reader of the result has to know, each as a sentence.
func (l Locale) LearnCautions(r learn.Result) []string {
	if r.Fault != "" {
		return nil
	}
	var say []string
	impossible, early := r.Impossible()
	if impossible >= learn.ManyImpossible {
		say = append(say, l.Say("learned.caution-impossible", "count", impossible))
	}
	if early > 0 {
		say = append(say, l.Say("learned.caution-early", "batches", strings.Join(r.EarlyIDs(), ", ")))
	}
	if scatters, groups := r.Scatters(); scatters {
		say = append(say, l.Say("learned.caution-scatter", "pct", l.Percent(100*r.Sigma.Value, 0)))
		if len(groups) == 0 {
			say = append(say, l.Say("learned.caution-scatter-nowhere"))
		}
	}
	for _, d := range r.UnusualGroups() {
		group := d.Group
		if d.By == learn.ByWeekday {
			group = l.Say("learned.weekday." + d.Group)
		}
		say = append(say, l.Say("learned.caution-group", "by", l.Say("learned.by."+d.By), "group", group, "batches", d.Batches, "share", l.Percent(100*d.LifeRatio, 0)))
	}
	if 2*r.Censored > r.Ends+r.Censored {
		say = append(say, l.Say("learned.caution-used-up", "share", l.Percent(100*r.CensoredShare(), 0)))
	}
	if r.LongerThanSheet && (r.LifeRatio.Learned || r.PriorNone) {
		say = append(say, l.Say("learned.caution-longer"))
	}
	return say
}
