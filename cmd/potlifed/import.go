package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"potlifed/daemon/config"
	"potlifed/daemon/history"
	"potlifed/daemon/importing"
	"potlifed/daemon/paper"
	"potlifed/model/defect"
)

func importCommand() *cobra.Command {
	var file string
	var dryRun, list, asJSON bool
	var undo []int64
	c := &cobra.Command{
		Use:   "import [--config FILE] FILE... | --list | --undo ID",
		Short: "Add paper records to the history",
		Long: `import reads CSV files of paper records and adds them to the history: air, batches, tests
in jars, prints and rejects from before the bench, or from while it did not run. The
columns say what a file holds:

  air      time,zone,temperature_c,humidity_pct
  batches  id,ink,mixed_at,closed_at,outcome and, where they are known, still_good,
           last_good_at, zone, press, ink_g, hardener_g, thinner_g, left_g, lots
  jars     ink,mixed_at,temperature_c,humidity_pct,last_good_h,gone_off_h and, where they
           are known, jar, mix, open: the form of "potlifed jars", filled in
  prints   time,press,prints and, where they are known, batch, temperature_c,
           humidity_pct, spent
  defects  time,press,kind,defects and the same; with a column prints, both at once

Times have a zone, as 2026-06-12T08:30:00+02:00. Rows of a zone or press are in the order
of time. The first row names the columns; others are ignored. Commas separate columns,
and numbers have a point. Hours of jars count from mixed_at, the first hardener; a row
without any is a jar that nobody used.

Either every row of every file is added, or none; an error names the row and the column.
A file that was imported before is refused, and so are rows that would double what was
imported before or what the bench recorded itself. Imported rows have the source paper.
The history's answers, learn and study use them. They never change the bench's state:
no batch, light or alarm of the present depends on them. The service may run meanwhile.

Each file has an id, which --list shows. --undo takes the rows of a file out of the
history again; the file may then be corrected and imported again. With several ids,
either all files are undone, or none.`,
		Example: `  potlifed import climate-2025.csv batches-2025.csv prints-2025.csv defects-2025.csv
  potlifed import --dry-run prints-2025.csv
  potlifed import --list
  potlifed import --undo 3,4`,
		RunE: func(c *cobra.Command, files []string) error {
			ways := 0
			for _, asked := range []bool{len(files) > 0, list, len(undo) > 0} {
				if asked {
					ways++
				}
			}
			switch {
			case ways > 1, dryRun && len(files) == 0:
				return usage("import: name CSV files, or give --list, or give --undo")
			case list:
				return listImports(c, file, asJSON)
			case len(undo) > 0:
				return undoImports(c, file, undo, asJSON)
			}
			if len(files) == 0 {
				return usage("import: name one or more CSV files")
			}
			return runImport(c, file, files, dryRun, asJSON)
		},
	}
	c.SetFlagErrorFunc(flagFault)
	f := c.Flags()
	configFlag(f, &file)
	f.BoolVar(&dryRun, "dry-run", false, "check the files by themselves, and change nothing")
	f.BoolVar(&list, "list", false, "show the files that were imported")
	f.Int64SliceVar(&undo, "undo", nil, "take the rows of the file with this `ID` out again")
	f.BoolVar(&asJSON, "json", false, "print one JSON object")
	return c
}

// listImports shows what was imported.
func listImports(c *cobra.Command, config string, asJSON bool) error {
	shop, err := readShop(config)
	if err != nil {
		return err
	}
	list, err := history.Imports(c.Context(), shop.DataDir)
	if err != nil {
		return importFault(err, shop.DataDir)
	}
	out := c.OutOrStdout()
	if asJSON {
		return json.NewEncoder(out).Encode(map[string]any{"imports": list})
	}
	if len(list) == 0 {
		_, err := fmt.Fprintln(out, "Nothing was imported.")
		return err
	}
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "ID\tIMPORTED\tROWS\tWHAT\tFILE\tUNDONE")
	for _, i := range list {
		undone := ""
		if i.Undone != nil {
			undone = i.Undone.In(shop.Zone()).Format(time.DateTime)
		}
		fmt.Fprintf(w, "%d\t%s\t%d\t%s\t%s\t%s\n", i.ID, i.At.In(shop.Zone()).Format(time.DateTime), i.Rows, i.What, i.File, undone)
	}
	return w.Flush()
}

// undoImports takes the rows of imports out again.
func undoImports(c *cobra.Command, config string, ids []int64, asJSON bool) error {
	shop, err := readShop(config)
	if err != nil {
		return err
	}
	undone, err := history.UndoImports(c.Context(), shop.DataDir, ids, time.Now())
	if err != nil {
		return importFault(err, shop.DataDir)
	}
	out := c.OutOrStdout()
	if asJSON {
		return json.NewEncoder(out).Encode(map[string]any{"undone": undone})
	}
	for _, i := range undone {
		if _, err := fmt.Fprintf(out, "%s: import %d, %d rows of %s, undone\n", i.File, i.ID, i.Rows, i.What); err != nil {
			return err
		}
	}
	return nil
}

// importFault is an error of the history as the command reports it.
func importFault(err error, dir string) error {
	switch {
	case errors.Is(err, history.ErrNoFile):
		return usage("import: %w (data_dir %s)", err, dir)
	case errors.Is(err, history.ErrNoImport), errors.Is(err, history.ErrUndone):
		return usage("import: %w; import --list shows what was imported", err)
	}
	return fmt.Errorf("import: %w", err)
}

func runImport(c *cobra.Command, config string, files []string, dryRun, asJSON bool) error {
	shop, err := readShop(config)
	if err != nil {
		return err
	}
	progress := progressOn(c.ErrOrStderr())
	done, err := importing.Files(c.Context(), shop.DataDir, files, knownTo(shop), dryRun, progress.tell)
	progress.end()
	var wrong *paper.FormatError
	switch {
	case errors.As(err, &wrong), errors.Is(err, os.ErrNotExist):
		return usage("import: %w", err)
	case err != nil:
		return importFault(err, shop.DataDir)
	}
	return tellImport(c.OutOrStdout(), done, dryRun, asJSON)
}

// knownTo returns what rows may name.
func knownTo(shop config.Shop) importing.Known {
	k := importing.Known{Bench: shop.Bench, Zone: shop.Zone(), Now: time.Now(), Kinds: defect.Trade()}
	for _, i := range shop.Inks {
		k.Inks = append(k.Inks, i.ID)
	}
	for _, d := range shop.Defects {
		k.Kinds = append(k.Kinds, d.ID)
	}
	zones := map[string]bool{}
	zone := func(id string) {
		if id != "" && !zones[id] {
			zones[id] = true
			k.Zones = append(k.Zones, id)
		}
	}
	for _, s := range shop.Sensors {
		zone(s.Zone)
	}
	for _, s := range shop.Scales {
		zone(s.Zone)
	}
	for _, p := range shop.Presses {
		zone(p.Zone)
		k.Presses = append(k.Presses, p.ID)
	}
	return k
}

func tellImport(out io.Writer, done []importing.Read, dryRun, asJSON bool) error {
	if asJSON {
		type read struct {
			ID   int64  `json:"id,omitempty"`
			File string `json:"file"`
			What string `json:"what"`
			Rows int64  `json:"rows"`
		}
		all := []read{}
		for _, d := range done {
			all = append(all, read{d.ID, d.File, d.What, d.Rows})
		}
		return json.NewEncoder(out).Encode(map[string]any{"files": all, "imported": !dryRun})
	}
	for _, d := range done {
		verb := fmt.Sprintf("imported; import --undo %d takes them out again", d.ID)
		if dryRun {
			verb = "in order; nothing was changed"
		}
		if _, err := fmt.Fprintf(out, "%s: %d rows of %s %s\n", d.File, d.Rows, d.What, verb); err != nil {
			return err
		}
	}
	return nil
}
