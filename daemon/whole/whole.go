// Package whole writes files that are there completely or not at all: under a temporary name, which
// becomes the file's own when everything is on disk.
package whole

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

// File is a file that is being written. Call Finish, then Keep; Discard at the end in any case.
type File struct {
	path string
	out  *os.File // nil when it was kept or discarded
}

// Create begins a file. It takes the place of one of that name when it is kept.
func Create(path string) (*File, error) {
	out, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+"-*.partial")
	if err != nil {
		return nil, err
	}
	return &File{path, out}, nil
}

// Path returns the file's own name.
func (f *File) Path() string { return f.path }

// Write adds to the file.
func (f *File) Write(p []byte) (int, error) { return f.out.Write(p) }

// Finish brings the file to disk under its temporary name, and returns its size in bytes.
func (f *File) Finish() (bytes int64, err error) {
	if err := f.out.Sync(); err != nil {
		return 0, err
	}
	if bytes, err = f.out.Seek(0, io.SeekEnd); err != nil {
		return 0, err
	}
	return bytes, f.out.Chmod(0o644) // as a file that a person makes; the temporary one is private
}

// Keep gives the file its name.
func (f *File) Keep() error {
	name := f.out.Name()
	err := f.out.Close()
	if err == nil {
		err = os.Rename(name, f.path)
	}
	if err == nil {
		f.out = nil
	}
	return err
}

// Discard removes the temporary file. Without one it does nothing.
func (f *File) Discard() error {
	if f.out == nil {
		return nil
	}
	name := f.out.Name()
	f.out.Close() // it may be closed
	f.out = nil
	if err := os.Remove(name); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	return nil
}

// Write writes a whole file. After an error there is none, or the one of before.
func Write(path string, write func(io.Writer) error) (err error) {
	f, err := Create(path)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Discard()) }()
	if err := write(f); err != nil {
		return err
	}
	if _, err := f.Finish(); err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	if err := f.Keep(); err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	return SyncDir(filepath.Dir(path))
}

// SyncDir brings the names of a folder to disk.
func SyncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}
