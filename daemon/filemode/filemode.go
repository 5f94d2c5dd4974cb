// Package filemode keeps files of a bench from other users of the computer.
package filemode

import (
	"errors"
	"io/fs"
	"os"
)

const (
	forGroup fs.FileMode = 0o640 // of a new file
	others   fs.FileMode = 0o007
)

// ForGroup takes all rights of others from the SQLite database at path and from its log and index,
// because it says who did what. It creates the database's file, which its user and group may read,
// if there is none; SQLite gives new logs and indexes the mode of the database. A file of another
// user keeps its rights.
func ForGroup(path string) error {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, forGroup)
	if err != nil {
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	for _, name := range []string{path, path + "-wal", path + "-shm"} {
		info, err := os.Stat(name)
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return err
		}
		if mode := info.Mode().Perm(); mode&others != 0 {
			if err := os.Chmod(name, mode&^others); err != nil && !errors.Is(err, fs.ErrPermission) {
				return err
			}
		}
	}
	return nil
}
