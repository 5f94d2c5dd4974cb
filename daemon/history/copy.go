package history

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
)

// CopyTo writes a copy of the history in dir as it is on disk now to a new file, while a daemon
// writes it or without one. The last minutes of readings may still be in the daemon's memory. It
// returns an error that is [io/fs.ErrNotExist] where there is no history.
func CopyTo(ctx context.Context, dir, path string) (err error) {
	s, err := openStoreToRead(ctx, dir)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, s.close()) }()
	if _, err := s.read.ExecContext(ctx, `VACUUM INTO ?`, path); err != nil {
		return fmt.Errorf("copy history: %w", err)
	}
	return nil
}

// Follow makes the history in a file, which no program has open, that of the journal with the
// given id, which is a copy of the one that it followed so far.
func Follow(ctx context.Context, path, journal string) (err error) {
	db, err := sql.Open("sqlite", dsn(path, false))
	if err != nil {
		return fmt.Errorf("history: %w", err)
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	if _, err := db.ExecContext(ctx, `UPDATE meta SET value = ? WHERE name = 'journal'`, journal); err != nil {
		return fmt.Errorf("history: %w", err)
	}
	return nil
}
