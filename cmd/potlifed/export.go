package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"potlifed/daemon/export"
	"potlifed/daemon/history"
	"potlifed/daemon/journal"
)

// exportOptions are the flags of export.
type exportOptions struct {
	config, from, to, out, format string
	tables                        []string
	describe, json, byDay         bool
}

func exportCommand() *cobra.Command {
	var o exportOptions
	c := &cobra.Command{
		Use:   "export --out DIR [--from TIME] [--to TIME]",
		Short: "Write what the bench has stored as tables",
		Long: `export writes tables of what the bench has stored: air, batches, pours, prints, defects,
checks, scale-checks, flow-times, alarms and events. It only reads, and may run while the service does.

Each table is a file in the directory --out: TABLE.csv, or TABLE.jsonl.gz with
--format jsonl.gz (one JSON object a line, compressed). The files get their names when
all are complete. Names of columns contain their units, and every row names its bench.
export --describe says what the columns mean.

--from and --to are dates such as 2026-06-12, which begin in the shop's time zone, or
times such as 2026-06-12T08:30:00+02:00. The end is not included. Without them
everything is written.

With --by-day it writes whole days of the shop's calendar, as programs for many benches
read them: bench=ID/date=YYYY-MM-DD/TABLE.jsonl.gz in the directory --out, and what the
columns mean as schema.md. A day appears when all its files are complete, and is over
ten minutes after midnight. Without --from it begins after the newest day that is there,
so that a daily timer needs no date; with --from it writes days again. The same data
gives the same bytes.

In CSV, a text that a spreadsheet would take for a formula begins with an apostrophe.
potlifed import removes it again.`,
		Example: `  potlifed export --out tables
  potlifed export --out june --from 2026-06-01 --to 2026-07-01 --tables prints,defects --format jsonl.gz
  potlifed export --out plant --by-day
  potlifed export --describe`,
		Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) error { return runExport(c, o) },
	}
	c.SetFlagErrorFunc(flagFault)
	f := c.Flags()
	configFlag(f, &o.config)
	f.StringVar(&o.out, "out", "", "directory for the files; is made if there is none")
	f.StringVar(&o.from, "from", "", "begin, a date or a time; default: the first record")
	f.StringVar(&o.to, "to", "", "end, a date or a time, which is not included; default: now")
	f.StringVar(&o.format, "format", "csv", "csv or jsonl.gz")
	f.StringSliceVar(&o.tables, "tables", nil, "tables to write, separated by commas; default: all")
	f.BoolVar(&o.byDay, "by-day", false, "write whole days, each into bench=ID/date=YYYY-MM-DD, as jsonl.gz")
	f.BoolVar(&o.describe, "describe", false, "say what the columns of the tables mean, and write nothing")
	f.BoolVar(&o.json, "json", false, "print one JSON object about the files")
	return c
}

func runExport(c *cobra.Command, o exportOptions) (err error) {
	if o.describe {
		return export.Describe(c.OutOrStdout())
	}
	if err := o.check(c); err != nil {
		return err
	}
	shop, err := readShop(o.config)
	if err != nil {
		return err
	}
	set := export.Settings{Bench: shop.Bench, Zone: shop.Zone(), Tables: o.tables, Format: o.format, Dir: o.out}
	first := time.Date(1900, 1, 1, 0, 0, 0, 0, time.UTC)
	if o.byDay {
		first = time.Time{} // see WriteDays
	}
	if set.From, err = dateOf("export", "from", o.from, first, set.Zone); err != nil {
		return err
	}
	if set.To, err = dateOf("export", "to", o.to, time.Now().AddDate(1, 0, 0), set.Zone); err != nil {
		return err
	}
	if !set.From.Before(set.To) {
		return usage("export: --from %s is not before --to %s", o.from, o.to)
	}
	if set.Journal, err = journal.OpenToRead(c.Context(), shop.DataDir); err != nil {
		return dataFault("export", shop.DataDir, err)
	}
	defer func() { err = errors.Join(err, set.Journal.Close()) }()
	if set.History, err = history.OpenToRead(c.Context(), shop.DataDir, set.Journal); err != nil {
		return fmt.Errorf("export: %w", err)
	}
	defer func() { err = errors.Join(err, set.History.Close()) }()
	progress := progressOn(c.ErrOrStderr())
	set.Progress = progress.tell
	if o.byDay {
		days, err := export.WriteDays(c.Context(), set, time.Now())
		progress.end()
		return errors.Join(err, o.tellDays(c.OutOrStdout(), days))
	}
	done, err := export.Write(c.Context(), set)
	progress.end()
	if err != nil {
		return err
	}
	return o.tell(c.OutOrStdout(), done)
}

func (o exportOptions) check(c *cobra.Command) error {
	if o.out == "" {
		return usage("export: --out is missing; name a directory for the files")
	}
	if o.byDay && o.format == "csv" && c.Flags().Changed("format") {
		return usage("export: --by-day writes jsonl.gz; leave --format out")
	}
	if !slices.Contains(export.Formats, o.format) {
		return usage("export: --format %q; want one of %s", o.format, strings.Join(export.Formats, ", "))
	}
	var names []string
	for _, t := range export.Tables() {
		names = append(names, t.Name)
	}
	for _, name := range o.tables {
		if !slices.Contains(names, name) {
			return usage("export: there is no table %q; the tables are %s", name, strings.Join(names, ", "))
		}
	}
	return nil
}

func (o exportOptions) tell(out io.Writer, done []export.Written) error {
	type written struct {
		Table string `json:"table"`
		File  string `json:"file"`
		Rows  int64  `json:"rows"`
		Bytes int64  `json:"bytes"`
	}
	return tellWritten(out, o.json, "files", done, func(w export.Written) (string, written) {
		return fmt.Sprintf("%s: %d rows, %d bytes", w.Path, w.Rows, w.Bytes), written{w.Table, w.Path, w.Rows, w.Bytes}
	})
}

// tellDays lists the days that were written, those before an error included.
func (o exportOptions) tellDays(out io.Writer, days []export.Day) error {
	type written struct {
		Date   string `json:"date"`
		Folder string `json:"folder"`
		Rows   int64  `json:"rows"`
		Bytes  int64  `json:"bytes"`
	}
	return tellWritten(out, o.json, "days", days, func(d export.Day) (string, written) {
		return fmt.Sprintf("%s: %d rows, %d bytes", d.Path, d.Rows, d.Bytes), written{d.Date, d.Path, d.Rows, d.Bytes}
	})
}

// tellWritten writes a line for each of what was written, or one JSON object with a list below a name.
func tellWritten[T, W any](out io.Writer, asJSON bool, name string, done []T, of func(T) (line string, w W)) error {
	all, lines := []W{}, ""
	for _, d := range done {
		line, w := of(d)
		all, lines = append(all, w), lines+line+"\n"
	}
	if asJSON {
		return json.NewEncoder(out).Encode(map[string]any{name: all})
	}
	_, err := io.WriteString(out, lines)
	return err
}

// dateOf reads a flag that is a date of the shop's calendar or a time.
func dateOf(command, flag, text string, otherwise time.Time, zone *time.Location) (time.Time, error) {
	if text == "" {
		return otherwise, nil
	}
	if at, err := time.Parse(time.RFC3339, text); err == nil {
		return at, nil
	}
	at, err := time.ParseInLocation(time.DateOnly, text, zone)
	if err != nil {
		return at, usage("%s: --%s %q is neither a date such as 2026-06-12 nor a time such as 2026-06-12T08:30:00+02:00", command, flag, text)
	}
	return at, nil
}

// dataFault says that the data of the bench cannot be read.
func dataFault(command, dir string, err error) error {
	if errors.Is(err, os.ErrNotExist) {
		return usage("%s: there is no journal in %s, the data_dir of the configuration: has the service run with it?", command, dir)
	}
	return fmt.Errorf("%s: %w", command, err)
}

// progress shows on a terminal how far a command is. Elsewhere it is silent: a log wants no
// line for every percent.
type progress struct {
	to   io.Writer // nil: silent
	told string
}

func progressOn(w io.Writer) *progress {
	if f, ok := w.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
		return &progress{to: w}
	}
	return &progress{}
}

func (p *progress) tell(what string, share float64) {
	line := fmt.Sprintf("%s %3.0f %%", what, 100*share)
	if p.to == nil || line == p.told {
		return
	}
	fmt.Fprintf(p.to, "\r\033[K%s", line)
	p.told = line
}

// end removes the line.
func (p *progress) end() {
	if p.to != nil && p.told != "" {
		fmt.Fprint(p.to, "\r\033[K")
	}
}
