package journal

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
)

// CopyTo writes a copy of the journal as it is now to a new file, while a daemon writes it or
// without one. It returns an error when the copy is not complete; the file is then of no use.
func (j *Journal) CopyTo(ctx context.Context, path string) error {
	if _, err := j.db().ExecContext(ctx, `VACUUM INTO ?`, path); err != nil {
		return fmt.Errorf("copy journal: %w", err)
	}
	return nil
}

// Renew gives the journal in a file, which no program has open, a new id, and brings its layout
// up to date. Readers of its events then start afresh. It returns the new id.
func Renew(ctx context.Context, path string) (id string, err error) {
	db, err := sql.Open("sqlite", dsn(path, false))
	if err != nil {
		return "", fmt.Errorf("renew journal: %w", err)
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	if _, err := migrate(db); err != nil {
		return "", fmt.Errorf("renew journal: %w", err)
	}
	id = newID()
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return "", fmt.Errorf("renew journal: %w", err)
	}
	defer tx.Rollback()
	if _, err := tx.ExecContext(ctx, `UPDATE meta SET value = ? WHERE name = 'journal'`, id); err != nil {
		return "", fmt.Errorf("renew journal: %w", err)
	}
	if err := renewCheckpoints(ctx, tx, id); err != nil {
		return "", fmt.Errorf("renew journal: checkpoints: %w", err)
	}
	return id, tx.Commit()
}

// renewCheckpoints writes the journal's id into the states of the checkpoints. One that is not as
// it was written stays so.
func renewCheckpoints(ctx context.Context, tx *sql.Tx, id string) error {
	rows, err := tx.QueryContext(ctx, `
		SELECT place, at, model, state, link, hash, CAST(json_set(CAST(state AS TEXT), '$.journal', ?) AS BLOB)
		FROM checkpoint WHERE json_valid(CAST(state AS TEXT))`, id)
	if err != nil {
		return err
	}
	type renewed struct {
		savedCheckpoint
		now []byte
	}
	var all []renewed
	for rows.Next() {
		var c renewed
		if err := rows.Scan(&c.place, &c.at, &c.model, &c.state, &c.link, &c.hash, &c.now); err != nil {
			return errors.Join(err, rows.Close())
		}
		all = append(all, c)
	}
	if err := errors.Join(rows.Err(), rows.Close()); err != nil {
		return err
	}
	for _, c := range all {
		hash := c.hash
		switch {
		case hash != nil && !c.whole():
			continue
		case hash != nil:
			hash = checkpointHash(c.place, c.at, c.model, c.link, c.now)
		}
		if _, err := tx.ExecContext(ctx, `UPDATE checkpoint SET state = ?, hash = ? WHERE place = ?`, c.now, hash, c.place); err != nil {
			return err
		}
	}
	return nil
}
