// Package importing reads paper records as CSV and adds them to the history: air, batches, tests in
// jars, prints and rejects from before the bench, or from while it did not run. Either every row of
// every file is added, or none.
package importing

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"time"

	"potlifed/daemon/history"
	"potlifed/daemon/paper"
)

// Known are the ids of the configuration that rows may name, and what the records are for.
type Known struct {
	Bench                       string
	Zones, Presses, Kinds, Inks []string
	Zone                        *time.Location // of the shop, by whose days rejects and prints are compared
	Now                         time.Time
}

// Read is a file that was read.
type Read struct {
	ID   int64 // of the import; 0 where the file was only checked
	File string
	What string // air, batches, jars, prints or defects
	Rows int64
}

// Files reads files and adds their rows to the history in dir; with dryRun it only checks the files
// themselves. progress is told how far it is, 0 to 1. The error is a [*paper.FormatError] when a file is not right.
func Files(ctx context.Context, dir string, files []string, known Known, dryRun bool, progress func(what string, share float64)) ([]Read, error) {
	var all []checked
	for _, name := range files {
		c, err := check(ctx, name, known, progress)
		if err != nil {
			return nil, err
		}
		all = append(all, c)
	}
	if !dryRun {
		var own ownJars
		if slices.ContainsFunc(all, func(c checked) bool { return c.What == "jars" }) {
			var err error
			if own, err = readOwnJars(ctx, dir); err != nil {
				return nil, err
			}
		}
		err := history.ImportInto(ctx, dir, func(to *history.Import) error {
			days := days{zone: known.Zone, first: map[pressDay]string{}}
			for i := range all {
				if err := all[i].add(ctx, known, adding{to, &days, own}, progress); err != nil {
					return err
				}
			}
			return days.compare(to)
		})
		if err != nil {
			return nil, err
		}
	}
	var done []Read
	for _, c := range all {
		done = append(done, c.Read)
	}
	return done, nil
}

// checked is a file whose rows are right by themselves.
type checked struct {
	Read
	sum string
}

// check reads a file without adding its rows.
func check(ctx context.Context, name string, known Known, progress func(string, float64)) (checked, error) {
	c := checked{Read: Read{File: name}}
	sum, err := open(name, func(from io.Reader) (err error) {
		c.What, c.Rows, err = read(ctx, filepath.Base(name), from, known, nothing{})
		return err
	}, func(share float64) { progress("check "+filepath.Base(name), share) })
	c.sum = sum
	return c, err
}

// add reads the file again and adds its rows.
func (c *checked) add(ctx context.Context, known Known, adding adding, progress func(string, float64)) (err error) {
	if c.ID, err = adding.to.File(c.What, filepath.Base(c.File), c.sum, c.Rows, known.Now); err != nil {
		if errors.Is(err, history.ErrImported) {
			return paper.Wrong("%s: %w; nothing was changed", filepath.Base(c.File), err)
		}
		return err
	}
	sum, err := open(c.File, func(from io.Reader) error {
		_, _, err := read(ctx, filepath.Base(c.File), from, known, adding)
		return err
	}, func(share float64) { progress("import "+filepath.Base(c.File), share) })
	if err == nil && sum != c.sum {
		err = fmt.Errorf("%s has changed while it was read; nothing was imported", c.File)
	}
	return err
}

// open lets a file be read and returns the hash of its bytes.
func open(name string, read func(io.Reader) error, progress func(float64)) (sum string, err error) {
	f, err := os.Open(name)
	if err != nil {
		return "", err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return "", err
	}
	hash := sha256.New()
	counted := &counter{from: io.TeeReader(f, hash), size: info.Size(), progress: progress}
	if err := read(counted); err != nil {
		return "", err
	}
	if _, err := io.Copy(io.Discard, counted); err != nil { // a reader may stop before the end
		return "", err
	}
	return hex.EncodeToString(hash.Sum(nil)), nil
}

// counter tells how far a file was read.
type counter struct {
	from       io.Reader
	size, done int64
	progress   func(float64)
}

func (c *counter) Read(p []byte) (int, error) {
	n, err := c.from.Read(p)
	if c.done += int64(n); c.size > 0 {
		c.progress(float64(c.done) / float64(c.size))
	}
	return n, err
}

// sink takes the rows.
type sink interface {
	air(row, zone string, r history.Reading) error
	count(row string, p history.Pieces) error
	batch(b history.Batch) error
	jar(j history.Jar) error
}

// nothing takes rows that are only checked.
type nothing struct{}

func (nothing) air(string, string, history.Reading) error { return nil }
func (nothing) count(string, history.Pieces) error        { return nil }
func (nothing) batch(history.Batch) error                 { return nil }
func (nothing) jar(history.Jar) error                     { return nil }

// adding takes rows that are imported.
type adding struct {
	to   *history.Import
	days *days
	own  ownJars
}

func (a adding) air(_, zone string, r history.Reading) error { return a.to.Air(zone, r.At, r.Air) }

func (a adding) count(row string, p history.Pieces) error {
	if p.Kind != "" {
		a.days.note(row, p)
	}
	return a.to.Count(p)
}

func (a adding) batch(b history.Batch) error { return a.to.Batch(b) }

// days are the days on which there are imported rejects, each with the row that named it first.
type days struct {
	zone  *time.Location
	first map[pressDay]string
	order []pressDay
}

type pressDay struct {
	press string
	begin time.Time
}

func (d *days) note(row string, p history.Pieces) {
	y, m, day := p.At.In(d.zone).Date()
	key := pressDay{p.Press, time.Date(y, m, day, 0, 0, 0, 0, d.zone)}
	if _, known := d.first[key]; !known {
		d.first[key] = row
		d.order = append(d.order, key)
	}
}

// compare refuses a day of a press with more rejects than prints, where prints are known.
func (d *days) compare(to *history.Import) error {
	for _, day := range d.order {
		y, m, n := day.begin.Date()
		prints, defects, err := to.Totals(day.press, day.begin, time.Date(y, m, n+1, 0, 0, 0, 0, d.zone))
		if err != nil {
			return err
		}
		if prints > 0 && defects > prints {
			return paper.Wrong("%s, column defects: %s has %d rejects on %s, and only %d prints", d.first[day], day.press, defects, day.begin.Format(time.DateOnly), prints)
		}
	}
	return nil
}
