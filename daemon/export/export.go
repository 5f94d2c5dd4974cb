// Package export writes what a bench has stored as tables, for spreadsheets, databases and
// statistics programs. It only reads: a daemon may go on writing meanwhile.
package export

import (
	"bufio"
	"compress/gzip"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"time"

	"potlifed/daemon/history"
	"potlifed/daemon/journal"
	"potlifed/daemon/table"
	"potlifed/daemon/whole"
)

// Formats are the file formats.
var Formats = []string{"csv", "jsonl.gz"}

// Settings are what is exported, and where to.
type Settings struct {
	Bench    string
	Journal  *journal.Journal
	History  *history.History
	From, To time.Time // To is not included
	Zone     *time.Location
	Tables   []string // names; all where empty
	Format   string   // of Formats
	Dir      string   // is made if there is none
	// Progress is told how far a table is, 0 to 1; may be nil.
	Progress func(table string, share float64)
}

// Written is a file that was written.
type Written struct {
	Table, Path string
	Rows, Bytes int64
}

// source is where the rows come from.
type source struct {
	Settings
	of      Of
	quarter history.Step
	// reach is how far before and after the span events are read for the mixes in it; 0: all.
	reach time.Duration
}

func (s *source) progress(name string, share float64) {
	if s.Progress != nil {
		s.Progress(name, share)
	}
}

// Write writes the tables. Each is written under a temporary name and gets its own when all
// are complete, so that an old export is replaced as a whole. The memory in use does not
// depend on the amount. After an error the files are gone, but for those in done: some may have got their names
// before another one could not.
func Write(ctx context.Context, set Settings) (done []Written, err error) { return write(ctx, set, 0) }

func write(ctx context.Context, set Settings, reach time.Duration) (done []Written, err error) {
	quarter, err := history.StepOf("", set.Zone)
	if err != nil {
		return nil, err
	}
	if err := os.MkdirAll(set.Dir, 0o755); err != nil {
		return nil, fmt.Errorf("export: %w", err)
	}
	s := &source{Settings: set, of: Of{set.Bench}, quarter: quarter, reach: reach}
	files := map[string]*file{}
	defer func() {
		for _, f := range files {
			err = errors.Join(err, f.out.Discard())
		}
	}()
	var wanted, fromEvents []Table
	var zip *gzip.Writer // of one table after another: each takes 0.8 MB
	for _, t := range Tables() {
		if len(set.Tables) > 0 && !slices.Contains(set.Tables, t.Name) {
			continue
		}
		wanted = append(wanted, t)
		if t.rows == nil {
			fromEvents = append(fromEvents, t)
			continue
		}
		f, err := create(set.Dir, t, set.Format, zip)
		if err != nil {
			return nil, fmt.Errorf("export %s: %w", t.Name, err)
		}
		files[t.Name], zip = f, f.zipped
		if err = t.rows(s, ctx, f.put); err == nil {
			err = f.finish()
		}
		if err != nil {
			return nil, fmt.Errorf("export %s: %w", t.Name, err)
		}
	}
	for _, t := range fromEvents {
		f, err := create(set.Dir, t, set.Format, zip)
		if err != nil {
			return nil, fmt.Errorf("export %s: %w", t.Name, err)
		}
		files[t.Name], zip = f, nil
	}
	if err := s.events(ctx, files); err != nil {
		return nil, fmt.Errorf("export events: %w", err)
	}
	for _, t := range fromEvents {
		if err := files[t.Name].finish(); err != nil {
			return nil, fmt.Errorf("export %s: %w", t.Name, err)
		}
	}
	for _, t := range wanted {
		w, err := files[t.Name].keep()
		if err != nil {
			return done, fmt.Errorf("export %s: %w", t.Name, err)
		}
		done = append(done, w)
	}
	return done, whole.SyncDir(set.Dir)
}

// file is a table that is being written.
type file struct {
	table  Table
	out    *whole.File
	buffer *bufio.Writer
	zipped *gzip.Writer // nil for CSV
	csv    *table.CSV
	json   *json.Encoder
	rows   int64
	bytes  int64
}

// create begins the file of a table. zip, which may be nil, is used in place of a new compressor.
func create(dir string, t Table, format string, zip *gzip.Writer) (*file, error) {
	out, err := whole.Create(filepath.Join(dir, t.Name+"."+format), whole.Public)
	if err != nil {
		return nil, err
	}
	f := &file{table: t, out: out, buffer: bufio.NewWriterSize(out, 1<<16)}
	if format == "csv" {
		f.csv = table.NewCSV(f.buffer, t.Row)
		return f, nil
	}
	if zip == nil {
		zip = gzip.NewWriter(nil)
	}
	f.zipped = zip
	f.zipped.Reset(f.buffer)
	f.json = json.NewEncoder(f.zipped)
	f.json.SetEscapeHTML(false)
	return f, nil
}

func (f *file) put(row any) error {
	f.rows++
	if f.csv != nil {
		return f.csv.Write(row)
	}
	return f.json.Encode(row)
}

// finish brings the file to disk under its temporary name.
func (f *file) finish() error {
	var err error
	if f.csv != nil {
		err = f.csv.Header()
	} else {
		err = f.zipped.Close()
	}
	err = errors.Join(err, f.buffer.Flush())
	if err == nil {
		f.bytes, err = f.out.Finish()
	}
	return err
}

// keep gives the file its name.
func (f *file) keep() (Written, error) {
	err := f.out.Keep()
	return Written{f.table.Name, f.out.Path(), f.rows, f.bytes}, err
}
