// Package backup writes everything that a bench has stored into one file, while the service
// runs, and puts it into an empty data directory again.
//
// The file is a compressed tar archive: first contents.json, which lists the other files with
// their checksums, then these files. The configuration is not in it.
package backup

import (
	"archive/tar"
	"compress/gzip"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"time"

	"potlifed/daemon/access"
	"potlifed/daemon/history"
	"potlifed/daemon/journal"
)

// Contents says what a backup holds.
type Contents struct {
	Format  int       `json:"format"`
	Bench   string    `json:"bench"`
	Version string    `json:"version"` // of the program that wrote it
	Made    time.Time `json:"made"`
	Journal string    `json:"journal"` // the journal's id
	Seq     uint64    `json:"seq"`     // its newest event
	Files   []File    `json:"files"`
}

// File is a file of a backup.
type File struct {
	Name   string `json:"name"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
}

const (
	contentsName = "contents.json"
	// format changes when an older program could not read the file.
	format = 1
	// contentsBytes is the largest size of contents.json.
	contentsBytes = 64 << 10
)

// Write writes a backup of the data directory dir to out, while the service runs or without it.
// It needs room for a copy of the files in scratch. Whatever was answered before it began is in
// the backup, except up to five minutes of readings that are not in the journal. The error says
// why the backup is not complete.
func Write(ctx context.Context, dir, scratch string, c Contents, out io.Writer) (Contents, error) {
	if err := copies(ctx, dir, scratch, &c); err != nil {
		return c, err
	}
	c.Format = format
	for _, name := range []string{journal.FileName, history.FileName, access.FileName} {
		f, err := describe(filepath.Join(scratch, name))
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return c, fmt.Errorf("backup: %w", err)
		}
		c.Files = append(c.Files, f)
	}
	z := gzip.NewWriter(out)
	if err := pack(z, scratch, c); err != nil {
		return c, fmt.Errorf("backup: %w", err)
	}
	if err := z.Close(); err != nil {
		return c, fmt.Errorf("backup: %w", err)
	}
	return c, nil
}

// copies puts a copy of each file of dir into scratch. The history comes first: it follows the
// journal, and so must not know more than it.
func copies(ctx context.Context, dir, scratch string, c *Contents) (err error) {
	j, err := journal.OpenToRead(ctx, dir)
	if err != nil {
		return fmt.Errorf("backup: %w", err)
	}
	defer func() { err = errors.Join(err, j.Close()) }()
	if err := history.CopyTo(ctx, dir, filepath.Join(scratch, history.FileName)); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("backup: %w", err)
	}
	if err := j.CopyTo(ctx, filepath.Join(scratch, journal.FileName)); err != nil {
		return fmt.Errorf("backup: %w", err)
	}
	may, err := os.ReadFile(filepath.Join(dir, access.FileName))
	if err == nil {
		err = os.WriteFile(filepath.Join(scratch, access.FileName), may, 0o600)
	}
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("backup: %w", err)
	}
	c.Journal, c.Seq, err = newest(ctx, scratch)
	if err != nil {
		return fmt.Errorf("backup: the copy of the journal: %w", err)
	}
	return nil
}

// newest returns the id and the newest event of the journal in a directory, by loading it as a
// start does.
func newest(ctx context.Context, dir string) (id string, seq uint64, err error) {
	j, err := journal.Open(dir, slog.New(slog.DiscardHandler), func(time.Duration) {})
	if err != nil {
		return "", 0, err
	}
	defer func() { err = errors.Join(err, j.Close()) }()
	state, err := j.Load(ctx)
	return j.ID(), state.Seq, err
}

func describe(path string) (File, error) {
	f, err := os.Open(path)
	if err != nil {
		return File{}, err
	}
	defer f.Close()
	sum := sha256.New()
	n, err := io.Copy(sum, f)
	return File{filepath.Base(path), n, hex.EncodeToString(sum.Sum(nil))}, err
}

func pack(out io.Writer, scratch string, c Contents) error {
	t := tar.NewWriter(out)
	text, err := json.MarshalIndent(c, "", "  ")
	if err != nil {
		return err
	}
	header := func(name string, bytes int64) error {
		return t.WriteHeader(&tar.Header{Name: name, Mode: 0o600, Size: bytes, ModTime: c.Made, Format: tar.FormatPAX})
	}
	if err := header(contentsName, int64(len(text))); err != nil {
		return err
	}
	if _, err := t.Write(text); err != nil {
		return err
	}
	for _, f := range c.Files {
		if err := header(f.Name, f.Bytes); err != nil {
			return err
		}
		if err := appendFile(t, filepath.Join(scratch, f.Name)); err != nil {
			return err
		}
	}
	return t.Close()
}

func appendFile(out io.Writer, path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	_, err = io.Copy(out, f)
	return err
}
