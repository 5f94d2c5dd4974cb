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
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"time"

	"potlifed/daemon/access"
	"potlifed/daemon/history"
	"potlifed/daemon/journal"
	"potlifed/daemon/whole"
)

// Options say how a backup is restored.
type Options struct {
	// NewJournal gives the journal a new id, so that readers of events start afresh: what they
	// read after the backup was made is not in it.
	NewJournal bool
	// NoAccess leaves out the PIN, the tokens and the paired devices.
	NoAccess bool
}

// ErrNotEmpty means that the data directory is not empty.
var ErrNotEmpty = errors.New("the data directory is not empty; restore only writes into an empty one")

// FormatError means that a file is not a backup, or is not complete.
type FormatError struct{ Err error }

// Error returns what is wrong with the file.
func (e *FormatError) Error() string { return fmt.Sprintf("this is no complete backup: %v", e.Err) }

// Unwrap returns the cause.
func (e *FormatError) Unwrap() error { return e.Err }

// Restore puts a backup into the directory dir, which must be empty or absent, checks it, and
// returns what it holds, with the journal's new id. The layout of older files is brought up to
// date. On an error the directory is left empty. It returns [ErrNotEmpty], or a [*FormatError].
func Restore(ctx context.Context, dir string, in io.Reader, o Options) (c Contents, err error) {
	if err := os.MkdirAll(dir, 0o750); err != nil {
		return c, fmt.Errorf("restore: %w", err)
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		return c, fmt.Errorf("restore: %w", err)
	}
	if len(entries) > 0 {
		return c, fmt.Errorf("restore: %s: %w", dir, ErrNotEmpty)
	}
	aside, err := os.MkdirTemp(dir, "restoring-*")
	if err != nil {
		return c, fmt.Errorf("restore: %w", err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(aside)) }()
	if c, err = unpack(in, aside); err != nil {
		return c, fmt.Errorf("restore: %w", err)
	}
	if c.Journal, err = prepare(ctx, aside, c, o); err != nil {
		return c, fmt.Errorf("restore: %w", err)
	}
	if err := moveAll(aside, dir); err != nil {
		return c, fmt.Errorf("restore: %w", err)
	}
	return c, nil
}

// Check reads a whole backup and compares all checksums. It returns a [*FormatError] when
// something is wrong.
func Check(in io.Reader) error {
	_, err := unpack(in, "")
	return err
}

// unpack writes the files of a backup into a directory and compares their checksums. Without a
// directory it only compares.
func unpack(in io.Reader, dir string) (c Contents, err error) {
	z, err := gzip.NewReader(in)
	if err != nil {
		return c, &FormatError{err}
	}
	t := tar.NewReader(z)
	first, err := t.Next()
	if err == nil && first.Name != contentsName {
		err = fmt.Errorf("it begins with %q", first.Name)
	}
	if err != nil {
		return c, &FormatError{err}
	}
	if err := json.NewDecoder(io.LimitReader(t, contentsBytes)).Decode(&c); err != nil {
		return c, &FormatError{fmt.Errorf("%s: %w", contentsName, err)}
	}
	if c.Format != format {
		return c, &FormatError{fmt.Errorf("its format is %d, this program reads %d: use the program of version %s or a newer one", c.Format, format, c.Version)}
	}
	known := []string{journal.FileName, history.FileName, access.FileName}
	for _, f := range c.Files {
		h, err := t.Next()
		if err != nil {
			return c, &FormatError{fmt.Errorf("%s: %w", f.Name, err)}
		}
		if h.Name != f.Name || h.Size != f.Bytes || !slices.Contains(known, f.Name) {
			return c, &FormatError{fmt.Errorf("found %q with %d bytes where %q with %d bytes was to come", h.Name, h.Size, f.Name, f.Bytes)}
		}
		if err := place(dir, t, f); err != nil {
			return c, err
		}
	}
	// The end of the stream has a checksum of its own.
	if _, err := io.Copy(io.Discard, z); err != nil {
		return c, &FormatError{err}
	}
	return c, nil
}

// place writes one file of a backup into a directory and compares its checksum.
func place(dir string, in io.Reader, f File) (err error) {
	if dir == "" {
		return copyChecked(io.Discard, in, f)
	}
	out, err := os.OpenFile(filepath.Join(dir, f.Name), os.O_CREATE|os.O_EXCL|os.O_WRONLY, modeOf(f.Name))
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, out.Close()) }()
	if err := copyChecked(out, in, f); err != nil {
		return err
	}
	return out.Sync()
}

func copyChecked(out io.Writer, in io.Reader, f File) error {
	sum := sha256.New()
	read := &reading{in: in}
	if _, err := io.Copy(io.MultiWriter(out, sum), read); err != nil {
		if read.err != nil {
			return &FormatError{fmt.Errorf("%s: %w", f.Name, err)}
		}
		return err
	}
	if got := hex.EncodeToString(sum.Sum(nil)); got != f.SHA256 {
		return &FormatError{fmt.Errorf("%s: its checksum is wrong", f.Name)}
	}
	return nil
}

// reading tells a fault of the backup from one of the disk.
type reading struct {
	in  io.Reader
	err error
}

// Read reads from the backup. It returns the error of reading.
func (r *reading) Read(p []byte) (int, error) {
	n, err := r.in.Read(p)
	if err != nil && !errors.Is(err, io.EOF) {
		r.err = err
	}
	return n, err
}

// modeOf returns the permissions of a file: what lets people in is nobody else's.
func modeOf(name string) os.FileMode {
	if name == access.FileName {
		return 0o600
	}
	return 0o640
}

// prepare opens the restored journal as a start does, checks that it holds what the backup says,
// and returns its id, which it renews if asked to.
func prepare(ctx context.Context, dir string, c Contents, o Options) (string, error) {
	if o.NoAccess {
		if err := os.RemoveAll(filepath.Join(dir, access.FileName)); err != nil {
			return "", err
		}
	}
	if err := access.Open(dir).Check(); err != nil {
		return "", &FormatError{err}
	}
	if o.NewJournal {
		id, err := journal.Renew(ctx, filepath.Join(dir, journal.FileName))
		if err != nil {
			return "", &FormatError{err}
		}
		if past := filepath.Join(dir, history.FileName); fileExists(past) {
			if err := history.Follow(ctx, past, id); err != nil {
				return "", &FormatError{err}
			}
		}
		c.Journal = id
	}
	j, err := journal.Open(dir, slog.New(slog.DiscardHandler), func(time.Duration) {})
	if err != nil {
		return "", &FormatError{err}
	}
	state, err := j.Load(ctx)
	if err := errors.Join(err, j.Close()); err != nil {
		return "", &FormatError{err}
	}
	if state.Seq != c.Seq || state.Journal != c.Journal {
		return "", &FormatError{fmt.Errorf("the journal is %s with %d events, the backup says %s with %d", state.Journal, state.Seq, c.Journal, c.Seq)}
	}
	return c.Journal, nil
}

func fileExists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

// moveAll moves the files of one directory into another, the journal last: a start before that
// finds an empty directory with a history, and nothing half done.
func moveAll(from, to string) error {
	entries, err := os.ReadDir(from)
	if err != nil {
		return err
	}
	slices.SortStableFunc(entries, func(a, b os.DirEntry) int {
		last := func(e os.DirEntry) int {
			if e.Name() == journal.FileName {
				return 1
			}
			return 0
		}
		return last(a) - last(b)
	})
	for _, e := range entries {
		if err := os.Rename(filepath.Join(from, e.Name()), filepath.Join(to, e.Name())); err != nil {
			return err
		}
	}
	return whole.SyncDir(to)
}
