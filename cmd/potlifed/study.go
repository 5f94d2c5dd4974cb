package main

import (
	"encoding/json"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"potlifed/daemon/study"
	"potlifed/daemon/words"
	"potlifed/model/quality"
)

// studyOptions are the flags of study.
type studyOptions struct {
	from, to, press, kind, model string
	relevant                     float64
	json                         bool
}

func studyCommand() *cobra.Command {
	var o studyOptions
	c := &cobra.Command{
		Use:   "study FILE...",
		Short: "Say whether humid air goes with more print defects",
		Long: `study compares the rate of print defects with the conditions of the prints: water vapour
in the air, relative humidity, temperature, spent pot life, thinner, and the error of the
mixing ratio. It answers whether humid air goes with more defects, from which humidity
on, and how sure that is.

Each FILE is a CSV file with a header; - is standard input. Files of several benches can
be studied together, with a column bench in each.

  prints   time,press,prints and, where they are known, bench, batch, ink, spent,
           temperature_c, humidity_pct, vapour_density_g_m3, thinner_pct, ratio_off_pct
  defects  time,press,kind,defects and the same columns; below 0 for a correction
  both     time,press,prints,kind,defects; prints may be empty where a row has no more
  batches  id,closed_at (or mixed_at) and thinner_pct, ratio_off_pct, ink, bench

Times have a zone, as 2026-06-12T08:30:00+02:00. Days are those of this machine's time
zone.

Effects are ratios with 95 % intervals, from a Poisson regression with prints as exposure.
Presses and inks are compared only with themselves. Prints of one day depend on one
another, and the intervals allow for it. Effects are corrected for looking at many kinds.
They describe what goes together; they do not show a cause.`,
		Example: `  potlifed study prints.csv defects.csv batches.csv
  potlifed study --from 2026-05-01 --kind pinholes --json prints.csv defects.csv`,
		RunE: func(c *cobra.Command, args []string) error { return runStudy(c, o, args) },
	}
	c.SetFlagErrorFunc(flagFault)
	f := c.Flags()
	f.StringVar(&o.from, "from", "", "begin, a date or a time")
	f.StringVar(&o.to, "to", "", "end, not included, a date or a time")
	f.StringVar(&o.press, "press", "", "id of a press; all if it is not given")
	f.StringVar(&o.kind, "kind", "", "kind of defect; all if it is not given")
	f.Float64Var(&o.relevant, "relevant", 100*quality.UsualRelevant, "increase in % between the driest and the most humid tenth of the prints that would matter")
	f.StringVar(&o.model, "model", "poisson", "poisson: ratios of rates; logistic: ratios of odds")
	f.BoolVar(&o.json, "json", false, "print one JSON object")
	return c
}

func runStudy(c *cobra.Command, o studyOptions, files []string) error {
	options, filter, err := o.check(time.Local)
	if err != nil {
		return err
	}
	if len(files) == 0 {
		return usage("study: no file; give the CSV files of prints and defects, see potlifed study --help")
	}
	t := study.NewTable(filter)
	for _, name := range files {
		_, err := readFrom("study", name, "file", c.InOrStdin(), func(name string, from io.Reader) (struct{}, error) {
			return struct{}{}, t.Read(name, from)
		})
		if err != nil {
			return err
		}
	}
	a, err := study.Make(c.Context(), t, options, time.Local)
	if err != nil {
		return fmt.Errorf("study: %w", err)
	}
	a = a.Tell(words.Locale{}, study.PlainKind)
	if o.json {
		return json.NewEncoder(c.OutOrStdout()).Encode(a)
	}
	return writeStudy(c.OutOrStdout(), a)
}

// check refuses what the flags cannot mean.
func (o studyOptions) check(zone *time.Location) (options quality.Options, filter study.Filter, err error) {
	filter = study.Filter{Press: o.press, Kind: o.kind}
	for _, moment := range []struct {
		flag, text string
		to         *time.Time
	}{{"--from", o.from, &filter.From}, {"--to", o.to, &filter.To}} {
		if moment.text == "" {
			continue
		}
		at, err := time.Parse(time.RFC3339, moment.text)
		if err != nil {
			at, err = time.ParseInLocation(time.DateOnly, moment.text, zone)
		}
		if err != nil {
			return options, filter, usage("study: %s %q: want a date as 2026-06-12, or a time with zone as 2026-06-12T08:30:00+02:00", moment.flag, moment.text)
		}
		*moment.to = at
	}
	switch {
	case !filter.From.IsZero() && !filter.To.IsZero() && !filter.From.Before(filter.To):
		return options, filter, usage("study: --from %s is not before --to %s", o.from, o.to)
	case !(o.relevant >= 1 && o.relevant <= 1000):
		return options, filter, usage("study: --relevant %v: want 1 to 1000", o.relevant)
	}
	options.Relevant = o.relevant / 100
	switch o.model {
	case "poisson":
	case "logistic":
		options.Family = quality.Binomial
	default:
		return options, filter, usage("study: --model %q: want poisson or logistic", o.model)
	}
	return options, filter, nil
}
