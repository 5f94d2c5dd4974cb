package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"potlifed/model/mix"
	"potlifed/model/weigh"
)

// mostGrams bounds the masses that mix accepts.
const mostGrams = 100_000

// mixOptions are the flags of mix.
type mixOptions struct {
	inkG, thinnerPct, divisionG, tolerancePct, cupMaxG, pipetteG float64
	thinnerMinPct, thinnerMaxPct                                 float64
	ratio, taring, poured                                        string
	json                                                         bool
}

func mixCommand() *cobra.Command {
	var o mixOptions
	c := &cobra.Command{
		Use:   "mix --ink-g GRAMS --ratio INK:HARDENER",
		Short: "Compute the masses of a mix, and corrections after a wrong pour",
		Long: `mix computes hardener and thinner for an amount of ink, and how uncertain the mix is
because of the scale's division. With --poured it also says what corrects a wrong pour.

The ink maker's data sheet decides; this is only the arithmetic.`,
		Example: `  potlifed mix --ink-g 85 --ratio 5:1 --thinner-pct 7
  potlifed mix --ink-g 85 --ratio 5:1 --thinner-pct 7 --poured ink=85,hardener=20`,
		Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) error { return runMix(o, c.OutOrStdout()) },
	}
	f := c.Flags()
	f.Float64Var(&o.inkG, "ink-g", 0, "grams of ink; without it, the ink of --poured")
	f.StringVar(&o.ratio, "ratio", "", "ink to hardener by weight, as 5:1")
	f.Float64Var(&o.thinnerPct, "thinner-pct", 0, "thinner in percent of ink and hardener together")
	f.Float64Var(&o.thinnerMinPct, "thinner-min-pct", 0, "least thinner in percent; without it, one division below --thinner-pct")
	f.Float64Var(&o.thinnerMaxPct, "thinner-max-pct", 0, "most thinner in percent; without it, one division above --thinner-pct")
	f.Float64Var(&o.divisionG, "division-g", 1, "division of the scale in grams")
	f.StringVar(&o.taring, "taring", "each", "each: the scale is tared before each part; once: all parts are weighed on one tare")
	f.Float64Var(&o.tolerancePct, "tolerance-pct", 5, "tolerance of the ratio in percent")
	f.StringVar(&o.poured, "poured", "", "grams in the cup, as ink=85,hardener=20[,thinner=7.1]")
	f.Float64Var(&o.cupMaxG, "cup-max-g", 0, "most finished mix that the cup takes, in grams; 0 for no limit")
	f.Float64Var(&o.pipetteG, "pipette-g", 2, "grams of thinner in a pipette; 0 for no count of pipettes")
	f.BoolVar(&o.json, "json", false, "print one JSON object")
	return c
}

// mixAnswer is what mix prints with --json.
type mixAnswer struct {
	mix.Amounts
	TotalG      float64      `json:"total_g"`
	Uncertainty mix.Expanded `json:"uncertainty"`
	Grade       mix.Grade    `json:"grade"`
	// SmallestUsableInkG comes with a coarse grade.
	SmallestUsableInkG float64 `json:"smallest_usable_ink_g,omitempty"`
	// InTolerance and Corrections come with --poured.
	InTolerance *bool             `json:"in_tolerance,omitempty"`
	Corrections *[]mix.Correction `json:"corrections,omitempty"`
}

func runMix(o mixOptions, out io.Writer) error {
	if o.ratio == "" {
		return usage("mix: --ratio is missing: ink to hardener by weight, as 5:1")
	}
	ratio, err := mix.ParseRatio(o.ratio)
	if err != nil {
		return usage("mix: --ratio: %w", err)
	}
	var poured *mix.Amounts
	if o.poured != "" {
		p, err := parsePoured(o.poured)
		if err != nil {
			return usage("mix: --poured %q: %w", o.poured, err)
		}
		if o.inkG == 0 {
			o.inkG = p.InkG
		}
		poured = &p
	}
	if err := o.check(); err != nil {
		return usage("mix: %w", err)
	}
	answer := compute(o, ratio, poured)
	if o.json {
		return json.NewEncoder(out).Encode(answer)
	}
	return writeMix(out, o, ratio, poured, answer)
}

// check reports all numbers out of range at once.
func (o mixOptions) check() error {
	var faults []error
	fault := func(name string, x float64, ok bool, want string) {
		if !ok {
			faults = append(faults, fmt.Errorf("--%s %v: want %s", name, x, want))
		}
	}
	between := func(x, low, high float64) bool { return x >= low && x <= high }
	fault("ink-g", o.inkG, o.inkG > 0 && o.inkG <= mostGrams, "grams above 0 and at most 100000")
	fault("thinner-pct", o.thinnerPct, between(o.thinnerPct, 0, 100), "a percentage from 0 to 100")
	fault("thinner-min-pct", o.thinnerMinPct, between(o.thinnerMinPct, 0, o.thinnerPct), "a percentage from 0 to --thinner-pct")
	fault("thinner-max-pct", o.thinnerMaxPct, o.thinnerMaxPct == 0 || between(o.thinnerMaxPct, o.thinnerPct, 100),
		"a percentage from --thinner-pct to 100")
	fault("division-g", o.divisionG, o.divisionG > 0 && o.divisionG <= 1000, "grams above 0 and at most 1000")
	fault("tolerance-pct", o.tolerancePct, o.tolerancePct > 0 && o.tolerancePct < 100, "a percentage between 0 and 100")
	fault("cup-max-g", o.cupMaxG, between(o.cupMaxG, 0, mostGrams), "grams from 0 to 100000")
	fault("pipette-g", o.pipetteG, between(o.pipetteG, 0, mostGrams), "grams from 0 to 100000")
	if o.taring != "each" && o.taring != "once" {
		faults = append(faults, fmt.Errorf("--taring %q: want each or once", o.taring))
	}
	return errors.Join(faults...)
}

// parsePoured reads "ink=85,hardener=20,thinner=7.1": each part at most once,
// ink always, grams from 0 to 100000.
func parsePoured(text string) (mix.Amounts, error) {
	var a mix.Amounts
	seen := map[mix.Part]bool{}
	for field := range strings.SplitSeq(text, ",") {
		name, value, found := strings.Cut(field, "=")
		part := mix.Part(strings.TrimSpace(name))
		if !found || !part.Valid() {
			return mix.Amounts{}, fmt.Errorf("%q: want ink=, hardener= or thinner= with grams", field)
		}
		if seen[part] {
			return mix.Amounts{}, fmt.Errorf("%s is given twice", part)
		}
		seen[part] = true
		grams, err := strconv.ParseFloat(strings.TrimSpace(value), 64)
		if err != nil || !(grams >= 0 && grams <= mostGrams) {
			return mix.Amounts{}, fmt.Errorf("%q: want grams from 0 to 100000", field)
		}
		a = a.Plus(part, grams)
	}
	if a.InkG <= 0 {
		return mix.Amounts{}, errors.New("want some ink, as in ink=85,hardener=20")
	}
	return a, nil
}

func compute(o mixOptions, ratio mix.Ratio, poured *mix.Amounts) mixAnswer {
	w := mix.Weighing{ReadingUncertaintyG: weigh.StandardUncertainty(o.divisionG), Once: o.taring == "once"}
	targets := mix.Targets(o.inkG, ratio, o.thinnerPct)
	answer := mixAnswer{
		Amounts:     mix.Amounts{InkG: written(targets.InkG), HardenerG: written(targets.HardenerG), ThinnerG: written(targets.ThinnerG)},
		TotalG:      written(targets.TotalG()),
		Uncertainty: w.Uncertainty(targets),
		Grade:       w.Grade(targets, o.tolerancePct),
	}
	if answer.Grade == mix.Coarse {
		answer.SmallestUsableInkG = w.SmallestUsableInk(ratio, o.tolerancePct)
	}
	if poured != nil {
		ok := mix.InTolerance(*poured, ratio, o.tolerancePct)
		corrections := mix.Corrections(*poured, o.limits(ratio, *poured))
		if corrections == nil {
			corrections = []mix.Correction{}
		}
		answer.InTolerance, answer.Corrections = &ok, &corrections
	}
	return answer
}

// written rounds grams for JSON, so that no binary noise is shown: 7.14 and not
// 7.140000000000001.
func written(grams float64) float64 { return math.Round(grams*1e6) / 1e6 }

// limits takes thinner as right within a division where no range was given.
func (o mixOptions) limits(ratio mix.Ratio, poured mix.Amounts) mix.Limits {
	division := 100 * o.divisionG / poured.CatalysedG()
	l := mix.Limits{
		Ratio: ratio, TolerancePct: o.tolerancePct,
		ThinnerPct: o.thinnerPct, ThinnerMinPct: o.thinnerMinPct, ThinnerMaxPct: o.thinnerMaxPct,
		DivisionG: o.divisionG, CupMaximumG: o.cupMaxG,
	}
	if l.ThinnerMinPct == 0 {
		l.ThinnerMinPct = math.Max(0, o.thinnerPct-division)
	}
	if l.ThinnerMaxPct == 0 {
		l.ThinnerMaxPct = o.thinnerPct + division
	}
	return l
}

// writeMix prints the table for people. What is to be poured as a correction is
// rounded up to the scale's division, which it is meant to reach.
func writeMix(out io.Writer, o mixOptions, ratio mix.Ratio, poured *mix.Amounts, a mixAnswer) error {
	var b strings.Builder
	fmt.Fprintf(&b, "ink       %8.1f g\n", a.InkG)
	fmt.Fprintf(&b, "hardener  %8.1f g   (%s)\n", a.HardenerG, ratio)
	if a.ThinnerG > 0 {
		fmt.Fprintf(&b, "thinner   %8.1f g   (%g %%)%s\n", a.ThinnerG, o.thinnerPct, pipettes(a, o.pipetteG))
	}
	fmt.Fprintf(&b, "total     %8.1f g\n", a.TotalG)
	if o.cupMaxG > 0 && a.TotalG > o.cupMaxG {
		fmt.Fprintf(&b, "The cup takes only %g g: this mix does not fit.\n", o.cupMaxG)
	}
	fmt.Fprintf(&b, "\nOn a scale of %g g, tared %s, the ratio is known to ±%.1f %% (k = 2)", o.divisionG,
		map[string]string{"each": "before each part", "once": "once"}[o.taring], a.Uncertainty.RatioPct)
	if a.ThinnerG > 0 {
		fmt.Fprintf(&b, " and the thinner to ±%.1f percentage points", a.Uncertainty.ThinnerPctPoints)
	}
	fmt.Fprintf(&b, ": %s.\n", a.Grade)
	if a.Grade == mix.Coarse {
		fmt.Fprintf(&b, "Mix at least %.0f g of ink, or use a finer scale.\n", math.Ceil(a.SmallestUsableInkG))
	}
	if poured != nil {
		writePoured(&b, o, ratio, *poured, a)
	}
	b.WriteString("\nCaution: gloves, eye protection, ventilation; read the safety data sheets first.\n" +
		"Stir the hardener in before any thinner. Never close a lid tightly on a catalysed mix.\n")
	_, err := io.WriteString(out, b.String())
	return err
}

func writePoured(b *strings.Builder, o mixOptions, ratio mix.Ratio, poured mix.Amounts, a mixAnswer) {
	off := 100 * mix.Deviation(poured, ratio)
	switch {
	case math.Abs(off) < 0.05:
		b.WriteString("\nPoured: hardener is at the ratio")
	case off < 0:
		fmt.Fprintf(b, "\nPoured: hardener is %.1f %% below the ratio", -off)
	default:
		fmt.Fprintf(b, "\nPoured: hardener is %.1f %% above the ratio", off)
	}
	if *a.InTolerance {
		fmt.Fprintf(b, ", within the tolerance of %g %%.\n", o.tolerancePct)
	} else {
		fmt.Fprintf(b, ", outside the tolerance of %g %%.\n", o.tolerancePct)
	}
	for _, c := range *a.Corrections {
		var adds []string
		for _, add := range []struct {
			part  mix.Part
			grams float64
		}{{mix.Ink, c.Add.InkG}, {mix.Hardener, c.Add.HardenerG}, {mix.Thinner, c.Add.ThinnerG}} {
			if add.grams > 0 {
				adds = append(adds, fmt.Sprintf("%.*f g of %s", decimals(o.divisionG), ceilTo(add.grams, o.divisionG), add.part))
			}
		}
		aim := "to come within tolerance"
		if c.To == mix.ToExact {
			aim = "for the exact ratio"
		}
		thinner := ""
		if c.ThinnerG > 0 {
			thinner = fmt.Sprintf("; then thinner %.1f g", c.ThinnerG)
		}
		fmt.Fprintf(b, "  add %s %s%s; total %.1f g\n", strings.Join(adds, ", "), aim, thinner, c.TotalG)
	}
	if !*a.InTolerance && len(*a.Corrections) == 0 {
		fmt.Fprintf(b, "  No correction fits into the cup, which takes %g g.\n", o.cupMaxG)
	}
}

// pipettes says what whole fills of a pipette give.
func pipettes(a mixAnswer, pipetteG float64) string {
	if pipetteG <= 0 {
		return ""
	}
	fills := a.ThinnerG / pipetteG
	whole := math.Max(1, math.Round(fills))
	return fmt.Sprintf("   %.2f pipettes; %.0f are %.1f g = %.2f %%", fills, whole, whole*pipetteG,
		100*whole*pipetteG/a.CatalysedG())
}

// ceilTo rounds up to a whole number of divisions, past binary noise.
func ceilTo(grams, divisionG float64) float64 { return math.Ceil(grams/divisionG-1e-9) * divisionG }

// decimals is how many a division needs, at most three.
func decimals(divisionG float64) int {
	for n := range 3 {
		if scaled := divisionG * math.Pow10(n); math.Abs(scaled-math.Round(scaled)) < 1e-9 {
			return n
		}
	}
	return 3
}
