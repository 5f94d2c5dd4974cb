// Package whole writes files that are there completely or not at all: under a temporary name, which
// becomes the file's own when everything is on disk.
package whole

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
)

// Modes of files.
const (
	Private fs.FileMode = 0o600
	Public  fs.FileMode = 0o644 // as a file that a person makes
)

// File is a file that is being written. Call Complete, or for several files Finish, Keep and [SyncDir];
// Discard at the end in any case. Before that only its owner may read it, whatever its mode will be.
type File struct {
	path string
	mode fs.FileMode
	out  *os.File // nil when it was kept or discarded
}

// Create begins a file. It takes the place of one of that name when it is kept. A crash may leave
// its temporary file, whose name [Temporary] matches.
func Create(path string, mode fs.FileMode) (*File, error) {
	out, err := os.CreateTemp(filepath.Dir(path), Temporary(filepath.Base(path)))
	if err != nil {
		return nil, err
	}
	return &File{path, mode, out}, nil
}

// Temporary returns the pattern of the names under which a file of this name is written, in its folder.
func Temporary(name string) string { return "." + name + "-*.partial" }

// Path returns the file's own name.
func (f *File) Path() string { return f.path }

// Write adds to the file.
func (f *File) Write(p []byte) (int, error) { return f.out.Write(p) }

// ReadAt reads back what was written.
func (f *File) ReadAt(p []byte, off int64) (int, error) { return f.out.ReadAt(p, off) }

// Chown changes the owner and the group of the file.
func (f *File) Chown(uid, gid int) error { return f.out.Chown(uid, gid) }

// Finish brings the file to disk under its temporary name, and returns its size in bytes.
func (f *File) Finish() (bytes int64, err error) {
	if f.mode != Private { // it is private, and a file system of another owner, as of a stick, refuses each change
		if err := f.out.Chmod(f.mode); err != nil {
			return 0, err
		}
	}
	if err := f.out.Sync(); err != nil {
		return 0, err
	}
	return f.out.Seek(0, io.SeekEnd)
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

// Complete gives the file its name when it is on disk, and brings the name to disk.
func (f *File) Complete() error {
	_, err := f.Finish()
	if err == nil {
		err = f.Keep()
	}
	if err == nil {
		err = SyncDir(filepath.Dir(f.path))
	}
	if err != nil {
		return fmt.Errorf("write %s: %w", f.path, err)
	}
	return nil
}

// Write writes a whole file, which is on disk under its name when Write returns nil. After an error there
// is none, or the one of before.
func Write(path string, mode fs.FileMode, write func(io.Writer) error) (err error) {
	f, err := Create(path, mode)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Discard()) }()
	if err := write(f); err != nil {
		return err
	}
	return f.Complete()
}

// SyncDir brings the names of a folder to disk. Windows offers no such call, and SyncDir does nothing there.
func SyncDir(dir string) error {
	if runtime.GOOS == "windows" {
		return nil
	}
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}
