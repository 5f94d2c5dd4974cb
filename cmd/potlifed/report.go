package main

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"potlifed/daemon/config"
	"potlifed/daemon/history"
	"potlifed/daemon/journal"
	"potlifed/daemon/report"
	"potlifed/daemon/study"
	"potlifed/daemon/whole"
)

// reportOptions are the flags of report.
type reportOptions struct{ config, from, to, lot, out string }

func reportCommand() *cobra.Command {
	var o reportOptions
	c := &cobra.Command{
		Use:   "report --out FILE [--from TIME] [--to TIME] [--lot LOT]",
		Short: "Write a report of a week, a month or a lot as one HTML file",
		Long: `report writes one HTML file about a period or a lot: the air and the batches that lived in
it, rejects and control charts, what humid air does to the rejects, the checks of the
sensors, and how the forecasts of pot life were kept. The file opens without a network and
prints on A4 and Letter. The page /report of the bench shows the same.

report only reads, and may run while the service does.`,
		Example: `  potlifed report --out june.html --from 2026-06-01 --to 2026-07-01
  potlifed report --out lot.html --lot HA-0915`,
		Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) error { return runReport(c, o) },
	}
	c.SetFlagErrorFunc(flagFault)
	f := c.Flags()
	configFlag(f, &o.config)
	f.StringVar(&o.out, "out", "", "file to write; - is standard output")
	f.StringVar(&o.from, "from", "", "begin, a date or a time; default: a week before the end, with --lot the first record")
	f.StringVar(&o.to, "to", "", "end, a date or a time, which is not included; default: now")
	f.StringVar(&o.lot, "lot", "", "report only batches that have this lot in them")
	return c
}

func runReport(c *cobra.Command, o reportOptions) (err error) {
	if o.out == "" {
		return usage("report: --out is missing; name a file for the report")
	}
	shop, err := readShop(o.config)
	if err != nil {
		return err
	}
	q := report.Request{Lot: o.lot}
	if q.To, err = dateOf("report", "to", o.to, time.Now(), shop.Zone()); err != nil {
		return err
	}
	begin := q.To.AddDate(0, 0, -7)
	if o.lot != "" {
		begin = q.To.AddDate(-10, 0, 0)
	}
	if q.From, err = dateOf("report", "from", o.from, begin, shop.Zone()); err != nil {
		return err
	}
	if !q.From.Before(q.To) {
		return usage("report: --from %s is not before --to %s", o.from, o.to)
	}
	j, err := journal.OpenToRead(c.Context(), shop.DataDir)
	if err != nil {
		return dataFault("report", shop.DataDir, err)
	}
	defer func() { err = errors.Join(err, j.Close()) }()
	past, err := history.OpenToRead(c.Context(), shop.DataDir, j)
	if err != nil {
		return fmt.Errorf("report: %w", err)
	}
	defer func() { err = errors.Join(err, past.Close()) }()
	write := func(w io.Writer) error { return report.Write(c.Context(), w, reportSources(shop, past), q) }
	if o.out == "-" {
		return write(c.OutOrStdout())
	}
	if err := whole.Write(o.out, whole.Public, write); err != nil {
		return fmt.Errorf("report: %w", err)
	}
	return nil
}

// reportSources are what a report is made from without a running service.
func reportSources(shop config.Shop, past *history.History) report.Sources {
	locale := shop.Locale()
	stored := study.Stored{History: past, Bench: shop.Bench, Now: time.Now, Open: func() []study.Mix { return nil }}
	runner := study.NewRunner(stored, shop.Zone(), time.Now)
	runner.Alone = true
	from := report.Sources{
		Bench: shop.Bench, History: past, Study: runner, Locale: locale, Kind: shop.DefectWords,
	}
	for _, sensor := range shop.Sensors {
		if !slices.Contains(from.Zones, sensor.Zone) {
			from.Zones = append(from.Zones, sensor.Zone)
		}
	}
	for _, p := range shop.Presses {
		from.Presses = append(from.Presses, report.Press{ID: p.ID, Zone: p.Zone})
	}
	return from
}
