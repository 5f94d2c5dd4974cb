package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"potlifed/daemon/history"
	"potlifed/daemon/journal"
	"potlifed/daemon/outcomes"
	"potlifed/daemon/paper"
	"potlifed/model/cure"
	"potlifed/model/learn"
)

// learnOptions are the flags of learn.
type learnOptions struct {
	batches, climate, config, prior string
	lag                             time.Duration
	sheet                           cure.Sheet
	json                            bool
}

func learnCommand() *cobra.Command {
	var o learnOptions
	c := &cobra.Command{
		Use:   "learn [--config FILE | --batches FILE --climate FILE]",
		Short: "Fit an ink's parameters to the ends of past batches",
		Long: `learn fits four parameters of each ink to the ends of its batches: life, moisture
share, activation energy and batch-to-batch spread. It says which of them are learned
and which are still assumed.

Without --batches it reads the batches of the configuration's journal, each in the air
in which it stood, and those that potlifed import added. With --batches it reads paper records: rows of
id,ink,mixed_at,closed_at,outcome and, where they are known, still_good (yes, no,
unknown), last_good_at, zone, ink_lot, hardener_lot, colour_class, press and closed_by.
The outcome is used-up, went-off, discarded or not-known. A batch that went off did so
between last_good_at and closed_at. Without last_good_at, closed_at is when the end was
written down, and it came within the hour before; with --prior none it came exactly then.
A batch that was used up was good until then. A batch whose end nobody looked at is left
out. Lots, colours, presses, weekdays and people are compared: the answer names those
whose batches ended unusually early or late.

The climate has rows of time,temperature_c,humidity_pct, and a column zone, or a column
batch, or neither. The air is linear between two rows. A time between two rows that is
longer than three hours and six times the usual one is a gap.

The data sheet is that of the configuration, or that of --shortest and --longest, or of
--about, for all inks. Without a data sheet, 6 to 8 hours are assumed (common practice,
no source) with a wide uncertainty, and the answer says so. With --prior none only the
records count.

The result is an estimate of the time within the maker's pot life, not of adhesion. This
command changes nothing: a person accepts what was learned, on the page /devices.`,
		Example: `  potlifed learn --batches batches.csv --climate room.csv --shortest 4h30m --longest 5h30m
  potlifed learn --batches batches.csv --climate room.csv --prior none --lag 0 --json`,
		Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) error { return runLearn(c, o) },
	}
	c.SetFlagErrorFunc(flagFault)
	f := c.Flags()
	f.StringVar(&o.batches, "batches", "", "CSV file of batches; - is standard input")
	f.StringVar(&o.climate, "climate", "", "CSV file of the air; - is standard input")
	f.StringVar(&o.config, "config", usualConfiguration, "configuration with the inks' data sheets; without --batches also with the journal to read. Beside --batches it is read only if it is named")
	f.StringVar(&o.prior, "prior", "sheet", "sheet: penalised by what is known beforehand; none: the records alone")
	f.DurationVar(&o.lag, "lag", paper.UsualLag, "time constant with which the cups follow the air; 0 for none")
	sheetFlags(c, &o.sheet)
	f.BoolVar(&o.json, "json", false, "print one JSON object")
	return c
}

func runLearn(c *cobra.Command, o learnOptions) error {
	known, err := o.check(c)
	if err != nil {
		return err
	}
	evidence, unknown, err := o.gather(c, known)
	if err != nil {
		return err
	}
	var options []learn.Option
	if o.prior == "none" {
		options = append(options, learn.PriorNone())
	}
	answer := learnAnswer{Prior: o.prior, Inks: []learnedInk{}}
	for _, id := range slices.Sorted(maps.Keys(unknown)) {
		answer.NotInConfiguration = append(answer.NotInConfiguration, strangers{Ink: id, Batches: unknown[id]})
	}
	for i, result := range outcomes.Fit(evidence, options...) {
		answer.Inks = append(answer.Inks, learnedInkOf(result, evidence[i].LongestGap))
	}
	if o.json {
		return json.NewEncoder(c.OutOrStdout()).Encode(answer)
	}
	return writeLearned(c.OutOrStdout(), answer)
}

// gather returns the evidence by ink, from the journal or from files, and the number of
// batches of each ink that is not in the configuration.
func (o learnOptions) gather(c *cobra.Command, known sheets) ([]outcomes.Evidence, map[string]int, error) {
	if o.batches == "" {
		return fromData(c.Context(), known, o.lag)
	}
	batches, err := readFrom("learn", o.batches, "--batches", c.InOrStdin(), paper.ReadBatches)
	if err != nil {
		return nil, nil, err
	}
	climates, err := readFrom("learn", o.climate, "--climate", c.InOrStdin(), paper.ReadClimates)
	if err != nil {
		return nil, nil, err
	}
	evidence, unknown, err := paper.Gather(batches, climates, known.pair, o.lag)
	return evidence, unknown, paperFault(err)
}

// fromData reads how batches ended from the journal that the configuration names, and from the
// paper records that were imported beside it.
func fromData(ctx context.Context, known sheets, lag time.Duration) (evidence []outcomes.Evidence, unknown map[string]int, err error) {
	j, err := journal.OpenToRead(ctx, known.dataDir)
	if err != nil {
		return nil, nil, fmt.Errorf("learn: %w", err)
	}
	defer j.Close()
	recorded, err := outcomes.Read(ctx, j)
	if err != nil {
		return nil, nil, fmt.Errorf("learn: %w", err)
	}
	var inks []outcomes.Ink
	for _, id := range slices.Sorted(maps.Keys(known.configured)) {
		k := known.configured[id]
		inks = append(inks, outcomes.Ink{ID: id, Hardener: k.hardener, Sheet: k.life})
	}
	evidence, unknown = outcomes.Sort(recorded, inks)
	past, err := history.OpenToRead(ctx, known.dataDir, j)
	if err != nil {
		return nil, nil, fmt.Errorf("learn: %w", err)
	}
	defer func() { err = errors.Join(err, past.Close()) }()
	onPaper, strange, err := paper.Imported(ctx, past, known.pair, lag)
	if err != nil {
		return nil, nil, fmt.Errorf("learn: %w", err)
	}
	for ink, n := range strange {
		unknown[ink] += n
	}
	return paper.Merged(evidence, onPaper), unknown, nil
}

// check refuses what contradicts itself, and turns flags and configuration into the inks' data sheets.
func (o learnOptions) check(c *cobra.Command) (sheets, error) {
	switch {
	case o.batches == "" && o.climate != "":
		return sheets{}, usage("learn: --batches is missing; the journal has its own air and needs no --climate")
	case o.batches == "" && c.Flags().Changed("lag"):
		return sheets{}, usage("learn: --lag without --batches; the journal knows where each cup stood")
	case o.batches != "" && o.climate == "":
		return sheets{}, usage("learn: --climate is missing; give the CSV file of the air")
	case o.batches == "-" && o.climate == "-":
		return sheets{}, usage("learn: --batches and --climate cannot both be standard input")
	case o.prior != "sheet" && o.prior != "none":
		return sheets{}, usage("learn: --prior %q: want sheet or none", o.prior)
	case o.lag < 0 || o.lag > 24*time.Hour:
		return sheets{}, usage("learn: --lag %v: want 0 to 24h", o.lag)
	}
	said := ""
	for _, flag := range []string{"shortest", "longest", "about", "at", "dry", "humid", "activation-kj-mol"} {
		if c.Flags().Changed(flag) {
			said = flag
		}
	}
	if o.batches == "" || c.Flags().Changed("config") {
		if said != "" {
			return sheets{}, usage("learn: --%s works only with --batches and without --config, since the configuration has the data sheets", said)
		}
		return configuredSheets(o.config)
	}
	if said != "" {
		ink, err := calibrated(c, o.sheet)
		return sheets{all: ink}, err
	}
	ink, err := assumedSheet()
	return sheets{all: ink, assumed: true}, err
}

// sheets are what is known of inks beforehand: one for all, or those of a configuration.
type sheets struct {
	all        cure.Ink
	assumed    bool
	configured map[string]configuredInk // nil without a configuration
	dataDir    string                   // where the configuration keeps the journal
}

type configuredInk struct {
	hardener string
	life     cure.Ink
}

func configuredSheets(file string) (sheets, error) {
	shop, err := readShop(file)
	if err != nil {
		return sheets{}, err
	}
	s := sheets{configured: map[string]configuredInk{}, dataDir: shop.DataDir}
	for _, ink := range shop.Inks {
		s.configured[ink.ID] = configuredInk{hardener: ink.Hardener, life: ink.Life}
	}
	return s, nil
}

// assumedSheet is the trade's usual range, known no better than a single figure.
func assumedSheet() (cure.Ink, error) {
	ink, err := cure.Sheet{Shortest: 6 * time.Hour, Longest: 8 * time.Hour}.Calibrate()
	if err != nil {
		return ink, err
	}
	single, err := cure.Sheet{About: 7 * time.Hour}.Calibrate()
	ink.LifeLnSpread = single.LifeLnSpread
	return ink, err
}

// pair returns an ink without records, false when the configuration does not have it.
func (s sheets) pair(ink string) (learn.Pair, bool) {
	if s.configured == nil {
		return learn.Pair{Ink: ink, Sheet: s.all, Assumed: s.assumed}, true
	}
	known, ok := s.configured[ink]
	return learn.Pair{Ink: ink, Hardener: known.hardener, Sheet: known.life}, ok
}
