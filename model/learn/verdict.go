package learn

import (
	"fmt"
	"math"
	"strings"
)

// Learned returns the names of the parameters that the batches determine, and of those that are
// still assumed.
func (r Result) Learned() (learned, assumed []string) {
	for _, parameter := range []struct {
		name     string
		estimate Estimate
	}{
		{"life", r.LifeRatio}, {"humidity share", r.MoistureShare}, {"activation energy", r.ActivationKJPerMol}, {"batch-to-batch spread", r.Sigma},
	} {
		if parameter.estimate.Learned {
			learned = append(learned, parameter.name)
		} else {
			assumed = append(assumed, parameter.name)
		}
	}
	return learned, assumed
}

// Verdict returns the result in a sentence, such as "12 ends, 48 used up in time: this ink lasts
// 9 % less than its data sheet says, 90 % interval 3 to 15; humidity share still assumed".
func (r Result) Verdict() string {
	if r.Fault != "" {
		return r.Fault
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%s, %d used up in time", count(r.Ends, "end"), r.Censored)
	if n := len(r.LeftOut); n > 0 {
		fmt.Fprintf(&b, ", %d left out", n)
	}
	b.WriteString(": ")
	switch {
	case r.Undetermined != "":
		b.WriteString(r.Undetermined)
	case r.Ends+r.Censored == 0:
		b.WriteString("no batch to learn from, " + r.sheet() + " stands")
	case !r.LifeRatio.Learned:
		b.WriteString("too few to say that this ink is not as " + r.sheet() + " says")
	default:
		b.WriteString(r.against())
	}
	if r.LifeRatio.Learned && r.LongerThanSheet {
		b.WriteString(longerSays)
	}
	if r.Jars > 0 {
		fmt.Fprintf(&b, "; %s: activation energy %.1f ± %.1f kJ/mol (%s: ± %.1f), humidity share %.2f ± %.2f (± %.2f)", count(r.Jars, "jar"),
			r.ActivationKJPerMol.Value, r.ActivationKJPerMol.se(), r.sheet(), r.Sheet.ActivationSpread, r.MoistureShare.Value, r.MoistureShare.se(), r.Sheet.MoistureSpread)
	}
	if _, assumed := r.Learned(); len(assumed) > 0 {
		b.WriteString("; " + strings.Join(assumed, ", ") + " still assumed")
	}
	return b.String()
}

// sheet returns the words for what the life is compared with.
func (r Result) sheet() string {
	if r.Assumed {
		return "the usual range, assumed for want of a data sheet,"
	}
	return "its data sheet"
}

const longerSays = " (longer than the data sheet somewhere between its ends: shown, not used without an adhesion or rub test)"

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// against returns the comparison of the life with that of the data sheet.
func (r Result) against() string {
	change := func(ratio float64) int { return int(math.Round(100 * (ratio - 1))) }
	value, low, high := change(r.LifeRatio.Value), change(r.LifeRatio.Interval[0]), change(r.LifeRatio.Interval[1])
	switch {
	case value < 0 && high <= 0:
		return fmt.Sprintf("this ink lasts %d %% less than %s says, 90 %% interval %d to %d", -value, r.sheet(), -high, -low)
	case value > 0 && low >= 0:
		return fmt.Sprintf("this ink lasts %d %% more than %s says, 90 %% interval %d to %d", value, r.sheet(), low, high)
	case value == 0:
		return fmt.Sprintf("this ink lasts as long as %s says, 90 %% interval %d less to %d more", r.sheet(), max(-low, 0), max(high, 0))
	case value < 0:
		return fmt.Sprintf("this ink perhaps lasts %d %% less than %s says, 90 %% interval %d less to %d more", -value, r.sheet(), -low, high)
	}
	return fmt.Sprintf("this ink perhaps lasts %d %% more than %s says, 90 %% interval %d less to %d more", value, r.sheet(), -low, high)
}

// ManyImpossible is the number of records that are more likely wrong than right from which on a
// caution says so.
const ManyImpossible = 3

// Cautions returns what a reader of the result has to know, each as a sentence.
func (r Result) Cautions() []string {
	if r.Fault != "" {
		return nil
	}
	var say []string
	impossible, early := r.Impossible()
	if impossible >= ManyImpossible {
		say = append(say, fmt.Sprintf("%d records do not fit this ink and had next to no weight: forgotten cups, typing errors or a wrong clock; check them.", impossible))
	}
	if early > 0 {
		say = append(say, "Too early for a life that explains the other batches, and so given next to no weight: "+strings.Join(r.EarlyIDs(), ", ")+
			". Check the records; if they are right, batches of this ink may end that early.")
	}
	if scatters, groups := r.Scatters(); scatters {
		say = append(say, fmt.Sprintf("From one batch to the next the pot life differs by %.0f %%, where 15 %% is usual: two kinds of ink under one name, "+
			"or two ways of judging the end?", 100*r.Sigma.Value))
		if len(groups) == 0 {
			say = append(say, "No lot, colour, press, weekday or person stands out among the batches.")
		}
	}
	for _, d := range r.UnusualGroups() {
		say = append(say, fmt.Sprintf("%s %s: its %d batches lived %.2f times as long as the others.", d.By, d.Group, d.Batches, d.LifeRatio))
	}
	if 2*r.Censored > r.Ends+r.Censored {
		say = append(say, fmt.Sprintf("%.0f %% of the batches were used up before they ended. Thick ink is used up faster, and where that is so "+
			"the learned life is too long.", 100*r.CensoredShare()))
	}
	if r.LongerThanSheet && (r.LifeRatio.Learned || r.PriorNone) {
		say = append(say, "A visible end comes later than the loss of adhesion that a data sheet means: a longer life is used only with an "+
			"adhesion or rub test.")
	}
	return say
}
