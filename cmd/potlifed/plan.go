package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"potlifed/daemon/planning"
	"potlifed/model/air"
	"potlifed/model/cure"
	"potlifed/model/mix"
	"potlifed/model/plan"
)

// planOptions are the flags of plan.
type planOptions struct {
	prints, presses                      int
	gramsPerPrint, areaCM2, filmUM       float64
	densityGCM3, printsPerHour, residueG float64
	inkMinimumG, fillMaximumG            float64
	ratioText                            string
	thinnerPct                           float64
	mixing, rest, low                    time.Duration
	sheet                                cure.Sheet
	air                                  air.State
	exposure                             float64
	accuracy, start                      string
	json                                 bool

	// Read from the above.
	ratio   mix.Ratio
	startAt time.Time
	given   func(flag string) bool // whether a flag was said
}

func planCommand() *cobra.Command {
	var o planOptions
	c := &cobra.Command{
		Use:   "plan --prints N --grams-per-print G --prints-per-hour N --ratio INK:HARDENER (--low 4h | --shortest 4h30m --longest 5h30m --temperature C --humidity PCT)",
		Short: "Plan the mixes for a print run: how many, how big and when",
		Long: `plan computes how many mixes a print run needs, how big each one is, when to begin it
and what is left over.

It looks for the least waste (mixed and not printed), then for the fewest mixes. Every
mix is printed before the low bound of its life, and fills its cup between minimum and
maximum. All mixes are of the same size, to the print. The bench makes one mix at a time.
Each mix goes into one cup on one press, and all presses are alike. With --low, or in air
that does not drift, no plan with mixes of different sizes would waste less.

The low bound is the age to which a batch is safe: one batch of ten has ended before. It
is --low, or it is computed as in life, from the data sheet and the present air. That air
drifts: the later a mix is begun, the less is known of its air, and the lower is its bound.
After a day the uncertainty of the air no longer grows. Plan again when the air changes.

The ink maker's data sheet decides.`,
		Example: `  potlifed plan --prints 10000 --grams-per-print 0.05 --prints-per-hour 600 --presses 2 --ratio 5:1 --low 4h
  potlifed plan --prints 8000 --area-cm2 12 --film-um 30 --prints-per-hour 900 --ratio 5:1 --shortest 4h30m --longest 5h30m --temperature 24 --humidity 55`,
		Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			o.given = c.Flags().Changed
			return runPlan(c, o)
		},
	}
	c.SetFlagErrorFunc(flagFault)
	f := c.Flags()
	f.IntVar(&o.prints, "prints", 0, "prints to make, on all presses together")
	f.Float64Var(&o.gramsPerPrint, "grams-per-print", 0, "grams of finished mix on a print; or --area-cm2 and --film-um")
	f.Float64Var(&o.areaCM2, "area-cm2", 0, "inked area of a print in cm²")
	f.Float64Var(&o.filmUM, "film-um", 0, "thickness of its wet film in µm")
	f.Float64Var(&o.densityGCM3, "density-g-cm3", 1.2, "density of the mix in g/cm³, with --area-cm2 and --film-um")
	f.IntVar(&o.presses, "presses", 1, "presses that print at the same time")
	f.Float64Var(&o.printsPerHour, "prints-per-hour", 0, "prints an hour of each press")
	f.StringVar(&o.ratioText, "ratio", "", "ink to hardener by weight, as 5:1")
	// The thinner and the masses of the cup are common practice, no source.
	f.Float64Var(&o.thinnerPct, "thinner-pct", 10, "thinner in percent of ink and hardener together")
	f.Float64Var(&o.inkMinimumG, "ink-minimum-g", 60, "least ink for the cup, in grams")
	f.Float64Var(&o.fillMaximumG, "fill-maximum-g", 110, "most finished mix that the cup takes, in grams")
	f.Float64Var(&o.residueG, "residue-g", 0, "grams of each mix that cannot be printed")
	f.DurationVar(&o.mixing, "mixing", 15*time.Minute, "how long it takes to mix; the life counts from the start of the mix")
	f.DurationVar(&o.rest, "rest", 0, "how long a mix must rest before it is printed")
	f.DurationVar(&o.low, "low", 0, "low bound of a mix's life, in place of the data sheet and the air")
	sheetFlags(c, &o.sheet)
	stateFlags(c, &o.air)
	f.Float64Var(&o.exposure, "exposure", 1, "how open the cup is: 1 in use, about 0.5 loosely covered")
	f.StringVar(&o.accuracy, "accuracy", "", "accuracy of the sensor in °C and % RH, as 0.3,2; adds its error")
	f.StringVar(&o.start, "start", "", "time at which the first mix is begun, as 2026-06-12T08:00:00+02:00")
	f.BoolVar(&o.json, "json", false, "print one JSON object")
	return c
}

func runPlan(c *cobra.Command, o planOptions) error {
	if err := o.check(); err != nil {
		return usage("plan: %w", err)
	}
	low, err := o.life(c)
	if err != nil {
		return err
	}
	run := plan.Run{
		Prints: o.prints, GramsPerPrint: o.gramsPerPrint, Presses: o.presses, PrintsPerHour: o.printsPerHour,
		CupMinimumG: mix.Targets(o.inkMinimumG, o.ratio, o.thinnerPct).TotalG(), CupMaximumG: o.fillMaximumG, ResidueG: o.residueG,
		MixingTakes: o.mixing, Rest: o.rest, Low: low,
	}
	p, err := plan.For(run)
	switch {
	case errors.Is(err, plan.ErrImpossible):
		return err
	case err != nil:
		return usage("%w", err)
	}
	answer := o.answer(run, p)
	if o.json {
		return json.NewEncoder(c.OutOrStdout()).Encode(answer)
	}
	return writePlan(c.OutOrStdout(), o, run, p, answer)
}

// check reads what flags say in words, works the grams a print out, and reports all that is missing or out of range at once. What the
// model checks is left to it.
func (o *planOptions) check() error {
	var faults []error
	fault := func(wrong bool, format string, args ...any) {
		if wrong {
			faults = append(faults, fmt.Errorf(format, args...))
		}
	}
	for _, flag := range []struct{ name, what string }{
		{"prints", "how many prints to make"}, {"prints-per-hour", "how fast a press prints"}, {"ratio", "ink to hardener by weight, as 5:1"},
	} {
		fault(!o.given(flag.name), "--%s is missing: %s", flag.name, flag.what)
	}
	if o.given("ratio") {
		var err error
		o.ratio, err = mix.ParseRatio(o.ratioText)
		fault(err != nil, "--ratio: %w", err)
	}
	film := o.given("area-cm2") || o.given("film-um") || o.given("density-g-cm3")
	switch {
	case o.given("grams-per-print"):
		fault(film, "--grams-per-print cannot be given together with --area-cm2, --film-um or --density-g-cm3")
	case !film:
		fault(true, "--grams-per-print is missing; or give --area-cm2 and --film-um")
	default:
		fault(!(o.areaCM2 > 0 && o.areaCM2 <= 10_000), "--area-cm2 %v: want above 0 and at most 10000", o.areaCM2)
		fault(!(o.filmUM > 0 && o.filmUM <= 1000), "--film-um %v: want above 0 and at most 1000", o.filmUM)
		fault(!(o.densityGCM3 >= 0.5 && o.densityGCM3 <= 5), "--density-g-cm3 %v: want 0.5 to 5", o.densityGCM3)
		o.gramsPerPrint = plan.GramsPerPrint(o.areaCM2, o.filmUM, o.densityGCM3)
	}
	fault(!(o.thinnerPct >= 0 && o.thinnerPct <= 100), "--thinner-pct %v: want 0 to 100", o.thinnerPct)
	fault(!(o.inkMinimumG >= 0 && o.inkMinimumG <= mostGrams), "--ink-minimum-g %v: want 0 to %d", o.inkMinimumG, mostGrams)
	if o.start != "" {
		var err error
		o.startAt, err = time.Parse(time.RFC3339, o.start)
		fault(err != nil, "--start %q is not a time; want one with zone, as 2026-06-12T08:00:00+02:00", o.start)
	}
	return errors.Join(faults...)
}

// lifeFlags are those from which the low bound is computed.
var lifeFlags = []string{"shortest", "longest", "about", "at", "dry", "humid", "activation-kj-mol", "temperature", "humidity", "exposure", "accuracy"}

// life is the low bound of a mix by when it is begun.
func (o planOptions) life(c *cobra.Command) (func(time.Duration) time.Duration, error) {
	if o.given("low") {
		for _, flag := range lifeFlags {
			if o.given(flag) {
				return nil, usage("plan: --low and --%s cannot be given together: --low replaces the data sheet and the air", flag)
			}
		}
		if o.low <= 0 || o.low > cure.Horizon {
			return nil, usage("plan: --low %v: want above 0 and at most ten years", o.low)
		}
		return plan.Fixed(o.low), nil
	}
	if !o.given("shortest") && !o.given("longest") && !o.given("about") {
		return nil, usage("plan: the life is missing: give --low, or the data sheet's --shortest and --longest or --about, with --temperature and --humidity")
	}
	ink, err := calibrated(c, o.sheet)
	if err != nil {
		return nil, err
	}
	if err := stateGiven(c, o.air); err != nil {
		return nil, err
	}
	if !(o.exposure > 0 && o.exposure <= 1) {
		return nil, usage("plan: --exposure %v: want above 0 and at most 1", o.exposure)
	}
	sensor, err := sensorOf(c, o.accuracy)
	if err != nil {
		return nil, err
	}
	return planning.LowFromNow(cure.New(ink, sensor, 0, o.air), cure.Place{Exposure: o.exposure}, o.air), nil
}
