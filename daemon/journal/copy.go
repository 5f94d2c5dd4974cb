package journal

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
)

// CopyTo writes a copy of the journal as it is now to a new file, while a daemon writes it or
// without one. It returns an error when the copy is not complete; the file is then of no use.
func (j *Journal) CopyTo(ctx context.Context, path string) (err error) {
	known, _, _ := readHead(j.dir) // before: what is brought into the file meanwhile is in the copy
	if _, err := j.db().ExecContext(ctx, `VACUUM INTO ?`, path); err != nil {
		return fmt.Errorf("copy journal: %w", err)
	}
	if len(known.waiting) == 0 {
		return nil
	}
	db, err := sql.Open("sqlite", dsn(path, false))
	if err != nil {
		return fmt.Errorf("copy journal: %w", err)
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	if err := takeWaiting(ctx, db, j.id, known, false); err != nil {
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
		SELECT place, at, model, state, link, hash FROM checkpoint`)
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
		if err := rows.Scan(&c.place, &c.at, &c.model, &c.state, &c.link, &c.hash); err != nil {
			return errors.Join(err, rows.Close())
		}
		if c.now, err = renamed(c.state, id); err == nil {
			all = append(all, c)
		}
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

// renamed returns a stored state with another id of the journal. The error says that it cannot be read.
func renamed(stored []byte, id string) ([]byte, error) {
	text, err := unpacked(stored)
	if err != nil {
		return nil, err
	}
	var fields map[string]json.RawMessage
	if err := json.Unmarshal(text, &fields); err != nil {
		return nil, err
	}
	if fields == nil {
		return nil, errors.New("no object")
	}
	if fields["journal"], err = json.Marshal(id); err != nil {
		return nil, err
	}
	return packed(fields)
}
