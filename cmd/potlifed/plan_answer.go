package main

import (
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"potlifed/daemon/planning"
	"potlifed/model/plan"
)

func (o planOptions) answer(run plan.Run, p plan.Plan) planning.Answer {
	var start *time.Time
	if o.start != "" {
		start = &o.startAt
	}
	answer := planning.AnswerOf(run, p, o.ratio, o.thinnerPct, start)
	answer.Assumed = o.assumed()
	return answer
}

// assumed lists what nobody said.
func (o planOptions) assumed() []string {
	out := []string{}
	assume := func(flag, format string, args ...any) {
		if !o.given(flag) {
			out = append(out, fmt.Sprintf(format, args...))
		}
	}
	assume("ink-minimum-g", "the cup's minimum is %g g of ink", o.inkMinimumG)
	assume("fill-maximum-g", "the cup takes %g g of mix", o.fillMaximumG)
	assume("residue-g", "every gram can be printed")
	assume("thinner-pct", "thinner is %g %%", o.thinnerPct)
	assume("mixing", "a mix takes %g min", o.mixing.Minutes())
	assume("rest", "a mix need not rest")
	if !o.given("grams-per-print") {
		assume("density-g-cm3", "the mix has %g g/cm³", o.densityGCM3)
	}
	if o.given("low") {
		return out
	}
	if o.sheet.About != 0 {
		out = append(out, "the data sheet's figure holds at 50 %")
	} else {
		assume("dry", "the longest life holds at %g %%", o.sheet.DryPct)
		assume("humid", "the shortest life holds at %g %%", o.sheet.HumidPct)
	}
	assume("at", "the data sheet speaks of %g °C", o.sheet.AtTemperatureC)
	assume("activation-kj-mol", "activation energy is %g kJ/mol", o.sheet.ActivationKJPerMol)
	assume("exposure", "exposure is %g", o.exposure)
	assume("accuracy", "the sensor is right")
	return append(out, "the air drifts from what it is now, by 0.5 °C and 3 % a root of an hour, and after a day no further")
}

// writePlan is the table for people. Ink is rounded up to the tenth of a gram, so that what is poured suffices.
func writePlan(to io.Writer, o planOptions, run plan.Run, p plan.Plan, answer planning.Answer) error {
	var b strings.Builder
	fmt.Fprintf(&b, "%d prints of %.4g g are %.1f g of mix, on %d %s: %d %s\n\n", run.Prints, run.GramsPerPrint, p.PrintedG,
		run.Presses, plural(run.Presses, "press", "presses"), len(p.Mixes), plural(len(p.Mixes), "mix", "mixes"))
	clock := o.planClock()
	width := len([]rune(clock(0)))
	fmt.Fprintf(&b, "%4s %5s  %*s  %*s  %*s  %*s  %7s  %7s %8s %7s %7s %6s\n", "mix", "press", width, "begin", width, "print", width, "used up",
		width, "low", "prints", "ink g", "hardener", "thinner", "total", "left")
	for _, m := range answer.Mixes {
		x := p.Mixes[m.Number-1]
		fmt.Fprintf(&b, "%4d %5d  %*s  %*s  %*s  %*s  %7d  %7.1f %8.1f %7.1f %7.1f %6.1f\n", m.Number, m.Press, width, clock(x.Begun), width, clock(x.PrintFrom),
			width, clock(x.UsedUp), width, clock(x.LowAt), m.Prints, ceilTo(m.InkG, 0.1), m.HardenerG, m.ThinnerG, m.TotalG, m.LeftG)
	}
	b.WriteString("\n")
	writeLeftOver(&b, run, p)
	fmt.Fprintf(&b, "The run is done at %s. The tightest mix has %s to spare before its low bound.\n", strings.TrimSpace(clock(p.Finish)), hoursMinutes(max(p.Spare, 0)))
	if p.Waits > 0 {
		fmt.Fprintf(&b, "The bench cannot keep up: presses stand still for %s, all together.\n", hoursMinutes(p.Waits))
	}
	if len(p.Mixes) < run.Presses {
		fmt.Fprintf(&b, "Only %d of the %d presses are needed.\n", len(p.Mixes), run.Presses)
	}
	for _, f := range p.Faster {
		fmt.Fprintf(&b, "With %d mixes it would be done %s earlier, with %.1f g left over.\n", f.Mixes, hoursMinutes(p.Finish-f.Finish), f.LeftG)
	}
	if len(answer.Assumed) > 0 {
		fmt.Fprintf(&b, "\nAssumed: %s.\n", strings.Join(answer.Assumed, "; "))
	}
	b.WriteString("The life is counted from the beginning of a mix; one batch of ten is over before its low bound, to which it is safe.\n" +
		"An estimate of the time within the maker's pot life, not of adhesion. The ink maker's data sheet decides.\n")
	_, err := io.WriteString(to, b.String())
	return err
}

// writeLeftOver says what is left over and why.
func writeLeftOver(b *strings.Builder, run plan.Run, p plan.Plan) {
	switch p.Cause {
	case plan.NoWaste:
		b.WriteString("Nothing is left over.\n")
	case plan.OnlyResidue:
		fmt.Fprintf(b, "%.1f g are left over, the %g g of each mix that cannot be printed.\n", p.LeftG, run.ResidueG)
	case plan.BecauseLife:
		fmt.Fprintf(b, "%.1f g are left over, %.1f of them because a mix's life ends before a full cup is printed.\n", p.LeftG, p.LeftForLifeG)
		if m := p.Mixes[0]; m.SizeG <= run.CupMinimumG {
			fmt.Fprintf(b, "A cup needs %.1f g of mix; %.1f g of each are thrown away.\n", run.CupMinimumG, m.LeftG)
		}
	case plan.BecauseOfRun:
		fmt.Fprintf(b, "%.1f g are left over: the run does not use its mixes up, as a cup needs at least %.1f g of mix.\n", p.LeftG, run.CupMinimumG)
	}
}

// planClock writes times of the plan: the date and time with --start, else hours and minutes since the first mix was begun.
func (o planOptions) planClock() func(time.Duration) string {
	if o.start == "" {
		return func(d time.Duration) string { return fmt.Sprintf("%8s", hoursMinutes(d)) }
	}
	return func(d time.Duration) string { return o.startAt.Add(d).Format("2006-01-02 15:04") }
}

// hoursMinutes is a duration as h:mm, cut to the minute.
func hoursMinutes(d time.Duration) string {
	minutes := int64(math.Floor(d.Minutes() + 1e-6))
	return fmt.Sprintf("%d:%02d", minutes/60, minutes%60)
}

func plural(n int, one, more string) string {
	if n == 1 {
		return one
	}
	return more
}
