package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"potlifed/daemon/history"
	"potlifed/daemon/journal"
	"potlifed/daemon/study"
	"potlifed/daemon/words"
	"potlifed/model/quality"
)

// studyOptions are the flags of study.
type studyOptions struct {
	config, from, to, press, kind, model string
	relevant                             float64
	json                                 bool
}

func studyCommand() *cobra.Command {
	var o studyOptions
	c := &cobra.Command{
		Use:   "study [--config FILE | FILE...]",
		Short: "Say whether humid air goes with more print defects",
		Long: `study compares the rate of print defects with the conditions of the prints: water vapour
in the air, relative humidity, temperature, spent pot life, thinner, and the error of the
mixing ratio. It answers whether humid air goes with more defects, from which humidity
on, and how sure that is.

Without FILE it reads what the bench of the configuration has stored, and may run while
the service does. Each FILE is a CSV file with a header, or JSON lines, either of them
compressed with gzip or not, such as potlifed export writes; - is standard input. Files of several benches can be studied together, with a column
bench in each.

  prints   time,press,prints and, where they are known, bench, batch, ink, spent,
           temperature_c, humidity_pct, vapour_density_g_m3, thinner_pct, ratio_off_pct
  defects  time,press,kind,defects and the same columns; below 0 for a correction
  both     time,press,prints,kind,defects; prints may be empty where a row has no more
  batches  id,closed_at (or mixed_at) and thinner_pct, ratio_off_pct, ink, bench

Times have a zone, as 2026-06-12T08:30:00+02:00. Days are those of the shop's time zone,
and with files of this machine's.

Effects are ratios with 95 % intervals, from a Poisson regression with prints as exposure.
Presses and inks are compared only with themselves. Prints of one day depend on one
another, and the intervals allow for it. Effects are corrected for looking at many kinds.
They describe what goes together; they do not show a cause.`,
		Example: `  potlifed study --from 2026-05-01
  potlifed study prints.csv defects.csv batches.csv
  potlifed study */prints.jsonl.gz */defects.jsonl.gz */batches.jsonl.gz
  potlifed study --from 2026-05-01 --kind pinholes --json prints.csv defects.csv`,
		RunE: func(c *cobra.Command, args []string) error { return runStudy(c, o, args) },
	}
	c.SetFlagErrorFunc(flagFault)
	f := c.Flags()
	configFlag(f, &o.config)
	f.StringVar(&o.from, "from", "", "begin, a date or a time; default: the first record")
	f.StringVar(&o.to, "to", "", "end, a date or a time, which is not included; default: now")
	f.StringVar(&o.press, "press", "", "id of a press; all if it is not given")
	f.StringVar(&o.kind, "kind", "", "kind of defect; all if it is not given")
	f.Float64Var(&o.relevant, "relevant", 100*quality.UsualRelevant, "increase in % between the driest and the most humid tenth of the prints that would matter")
	f.StringVar(&o.model, "model", "poisson", "poisson: ratios of rates; logistic: ratios of odds")
	f.BoolVar(&o.json, "json", false, "print one JSON object")
	return c
}

func runStudy(c *cobra.Command, o studyOptions, files []string) error {
	options, err := o.check()
	if err != nil {
		return err
	}
	t, zone, err := o.counts(c, files)
	if err != nil {
		return err
	}
	a, err := study.Make(c.Context(), t, options, zone)
	if err != nil {
		return fmt.Errorf("study: %w", err)
	}
	a = a.Tell(words.Locale{}, study.PlainKind)
	if o.json {
		return json.NewEncoder(c.OutOrStdout()).Encode(a)
	}
	return writeStudy(c.OutOrStdout(), a)
}

// counts reads files, or without any what the bench of the configuration has stored.
func (o studyOptions) counts(c *cobra.Command, files []string) (t *study.Table, zone *time.Location, err error) {
	if len(files) == 0 {
		return o.stored(c)
	}
	if c.Flags().Changed("config") {
		return nil, nil, usage("study: --config with files; without files the bench's own history is studied")
	}
	filter, err := o.filter(time.Local)
	if err != nil {
		return nil, nil, err
	}
	t = study.NewTable(filter)
	for _, name := range files {
		_, err := readFrom("study", name, "file", c.InOrStdin(), func(name string, from io.Reader) (struct{}, error) {
			return struct{}{}, t.Read(name, from)
		})
		if err != nil {
			return nil, nil, err
		}
	}
	return t, time.Local, nil
}

// stored reads the history of the bench, beside its service or without it.
func (o studyOptions) stored(c *cobra.Command) (t *study.Table, zone *time.Location, err error) {
	shop, err := readShop(o.config)
	if err != nil {
		return nil, nil, err
	}
	filter, err := o.filter(shop.Zone())
	if err != nil {
		return nil, nil, err
	}
	j, err := journal.OpenToRead(c.Context(), shop.DataDir)
	if err != nil {
		return nil, nil, dataFault("study", shop.DataDir, err)
	}
	defer func() { err = errors.Join(err, j.Close()) }()
	past, err := history.OpenToRead(c.Context(), shop.DataDir, j)
	if err != nil {
		return nil, nil, fmt.Errorf("study: %w", err)
	}
	defer func() { err = errors.Join(err, past.Close()) }()
	t = study.NewTable(filter)
	source := study.Stored{History: past, Bench: shop.Bench, Now: time.Now, Open: func() []study.Mix { return nil }}
	return t, shop.Zone(), source.Fill(c.Context(), t, filter)
}

func (o studyOptions) filter(zone *time.Location) (f study.Filter, err error) {
	f = study.Filter{Press: o.press, Kind: o.kind}
	if f.From, err = dateOf("study", "from", o.from, time.Time{}, zone); err != nil {
		return f, err
	}
	if f.To, err = dateOf("study", "to", o.to, time.Time{}, zone); err != nil {
		return f, err
	}
	if !f.From.IsZero() && !f.To.IsZero() && !f.From.Before(f.To) {
		return f, usage("study: --from %s is not before --to %s", o.from, o.to)
	}
	return f, nil
}

// check refuses what the flags cannot mean.
func (o studyOptions) check() (options quality.Options, err error) {
	if !(o.relevant >= 1 && o.relevant <= 1000) {
		return options, usage("study: --relevant %v: want 1 to 1000", o.relevant)
	}
	options.Relevant = o.relevant / 100
	switch o.model {
	case "poisson":
	case "logistic":
		options.Family = quality.Binomial
	default:
		return options, usage("study: --model %q: want poisson or logistic", o.model)
	}
	return options, nil
}
