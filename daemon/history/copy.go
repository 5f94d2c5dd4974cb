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
	var mark string
	if err := s.read.QueryRowContext(ctx, `SELECT coalesce((SELECT value FROM meta WHERE name = ?), '')`, metaRecent).Scan(&mark); err != nil {
		return fmt.Errorf("copy history: %w", err)
	}
	recent, _, err := readRecent(dir, markIn(mark)) // before the rows: these may be made of it meanwhile
	if err != nil {
		return err
	}
	if _, err := s.read.ExecContext(ctx, `VACUUM INTO ?`, path); err != nil {
		return fmt.Errorf("copy history: %w", err)
	}
	if err := addRecent(ctx, path, mark, recent); err != nil {
		return fmt.Errorf("copy history: %w", err)
	}
	return nil
}

// addRecent puts recent readings into the table recent of a copy, which has no file for them, unless it has them as rows.
func addRecent(ctx context.Context, path, mark string, recent []sensorReadings) (err error) {
	db, err := sql.Open("sqlite", dsn(path, false))
	if err != nil {
		return err
	}
	copied := &store{write: db}
	defer func() { err = errors.Join(err, db.Close()) }()
	return copied.in(ctx, func(tx *sql.Tx) error {
		var now string
		if err := tx.QueryRow(`SELECT coalesce((SELECT value FROM meta WHERE name = ?), '')`, metaRecent).Scan(&now); err != nil || now != mark {
			return err
		}
		for _, f := range recent {
			if err := copied.insertReadings(tx, "recent", f.sensor, f.readings); err != nil {
				return err
			}
		}
		return putMark(tx, newMark())
	})
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
