package export

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"potlifed/daemon/journal"
	"potlifed/daemon/record"
	"potlifed/daemon/whole"
)

// Day is a day that was written.
type Day struct {
	Date        string // of the shop's calendar, YYYY-MM-DD
	Path        string // folder of its files
	Rows, Bytes int64
}

const (
	// mixReach is how long before and after a day the events of its mixes are read: a mix lasts hours, and a
	// cup may be left standing over a weekend.
	mixReach = 3 * 24 * time.Hour
	// settled is how long after midnight a day is taken to be over: prints are recorded by the minute.
	settled = 10 * time.Minute

	daysFormat = "jsonl.gz"
	schemaFile = "schema.md"
)

// WriteDays writes each whole day of the shop's calendar in [set.From, set.To) that is over by now,
// oldest first, to set.Dir/bench=ID/date=YYYY-MM-DD/TABLE.jsonl.gz, and what the columns mean to
// set.Dir/schema.md. set.Format is not used. A zero From begins after the newest day that is
// there, else with the first record of the journal.
//
// A day gets its name when all of its files are complete; a day that is there is replaced file by file.
// The same data gives the same bytes. After an error the days before are kept.
func WriteDays(ctx context.Context, set Settings, now time.Time) (done []Day, err error) {
	bench := filepath.Join(set.Dir, "bench="+set.Bench)
	if err := os.MkdirAll(bench, 0o755); err != nil {
		return nil, fmt.Errorf("export: %w", err)
	}
	if err := whole.Write(filepath.Join(set.Dir, schemaFile), whole.Public, Describe); err != nil {
		return nil, fmt.Errorf("export: %w", err)
	}
	from := set.From
	if from.IsZero() {
		if from, err = firstDay(ctx, bench, set.Journal, set.Zone, now); err != nil {
			return nil, fmt.Errorf("export: %w", err)
		}
	}
	end := now.Add(-settled)
	if set.To.Before(end) {
		end = set.To
	}
	day := midnight(from, set.Zone, 0)
	if day.Before(from) {
		day = midnight(from, set.Zone, 1)
	}
	for next := midnight(day, set.Zone, 1); !next.After(end); day, next = next, midnight(next, set.Zone, 1) {
		set.From, set.To = day, next
		written, err := writeDay(ctx, set, bench)
		if err != nil {
			return done, err
		}
		done = append(done, written)
	}
	return done, nil
}

// midnight returns the begin of the day that is some days after that of a time.
func midnight(at time.Time, zone *time.Location, after int) time.Time {
	y, m, d := at.In(zone).Date()
	return time.Date(y, m, d+after, 0, 0, 0, 0, zone)
}

// firstDay returns where to begin: after the newest day in the folder of the bench, else with the first record.
// Without a record that is now.
func firstDay(ctx context.Context, bench string, j *journal.Journal, zone *time.Location, now time.Time) (first time.Time, err error) {
	list, err := os.ReadDir(bench)
	if err != nil {
		return first, err
	}
	for _, entry := range list { // in the order of their names
		date, is := strings.CutPrefix(entry.Name(), "date=")
		if at, err := time.ParseInLocation(time.DateOnly, date, zone); is && err == nil {
			first = midnight(at, zone, 1)
		}
	}
	if !first.IsZero() {
		return first, nil
	}
	first = now
	err = j.Since(ctx, 0, 1, func(_ int64, r record.Record) error {
		first = midnight(r.Stamp.At, zone, 0)
		return nil
	})
	return first, err
}

// writeDay writes the files of a day aside, and gives them their names.
func writeDay(ctx context.Context, set Settings, bench string) (d Day, err error) {
	d.Date = set.From.In(set.Zone).Format(time.DateOnly)
	d.Path = filepath.Join(bench, "date="+d.Date)
	aside := filepath.Join(bench, ".date="+d.Date+".partial")
	if err := os.RemoveAll(aside); err != nil { // of an export that was cut off
		return d, fmt.Errorf("export: %w", err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(aside)) }()
	set.Dir, set.Format = aside, daysFormat
	files, err := write(ctx, set, mixReach)
	if err != nil {
		return d, fmt.Errorf("%s: %w", d.Date, err)
	}
	for _, f := range files {
		d.Rows, d.Bytes = d.Rows+f.Rows, d.Bytes+f.Bytes
	}
	if _, err := os.Lstat(d.Path); errors.Is(err, fs.ErrNotExist) {
		if err := os.Rename(aside, d.Path); err != nil {
			return d, fmt.Errorf("export: %w", err)
		}
		return d, whole.SyncDir(bench)
	}
	for _, f := range files {
		if err := os.Rename(f.Path, filepath.Join(d.Path, filepath.Base(f.Path))); err != nil {
			return d, fmt.Errorf("export %s: %w", f.Table, err)
		}
	}
	return d, whole.SyncDir(d.Path)
}
