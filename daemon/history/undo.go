package history

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"
)

// The reasons for which an import is not undone.
var (
	ErrNoImport      = errors.New("there is no import of this id")
	ErrUndone        = errors.New("it was undone before")
	ErrEarlierImport = errors.New("an earlier version imported it, which did not note what belongs to which import")
)

// Imported is a file that was imported.
type Imported struct {
	ID     int64      `json:"id"`
	At     time.Time  `json:"at"`
	What   string     `json:"what"` // air, batches, jars, prints or defects
	File   string     `json:"file"`
	Rows   int64      `json:"rows"`
	Undone *time.Time `json:"undone_at,omitempty"`

	marked bool
}

const importedColumns = `SELECT id, at, what, file, rows, undone, marked FROM imported`

// scan reads a row of importedColumns.
func (i *Imported) scan(row interface{ Scan(...any) error }) error {
	var at int64
	var undone *int64
	if err := row.Scan(&i.ID, &at, &i.What, &i.File, &i.Rows, &undone, &i.marked); err != nil {
		return err
	}
	i.At = time.UnixMilli(at).UTC()
	if undone != nil {
		when := time.UnixMilli(*undone).UTC()
		i.Undone = &when
	}
	return nil
}

// Imports returns the files that were imported into the history in dir, oldest first, those that were undone
// included. A daemon may be running. The error is [ErrNoFile] where there is no history.
func Imports(ctx context.Context, dir string) ([]Imported, error) {
	s, err := openStoreToRead(ctx, dir)
	if errors.Is(err, os.ErrNotExist) {
		return nil, ErrNoFile
	} else if err != nil {
		return nil, err
	}
	defer s.close()
	rows, err := s.read.QueryContext(ctx, importedColumns+` ORDER BY id`)
	if err != nil {
		return nil, fmt.Errorf("history: read imports: %w", err)
	}
	defer rows.Close()
	list := []Imported{}
	for rows.Next() {
		var i Imported
		if err := i.scan(rows); err != nil {
			return nil, fmt.Errorf("history: read imports: %w", err)
		}
		list = append(list, i)
	}
	return list, rows.Err()
}

// UndoImports takes the rows of imports out of the history in dir, all of them or none, and returns the
// imports. Their files may be imported again. A daemon may be running. The error names the import, and is
// ErrNoFile, ErrNoImport, ErrUndone, ErrEarlierImport, or that of the file.
func UndoImports(ctx context.Context, dir string, ids []int64, at time.Time) (undone []Imported, err error) {
	if _, err := os.Stat(filepath.Join(dir, FileName)); errors.Is(err, os.ErrNotExist) {
		return nil, ErrNoFile
	} else if err != nil {
		return nil, err
	}
	s, err := openStore(dir)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, s.close()) }()
	err = s.in(ctx, func(tx *sql.Tx) error {
		undone = nil
		for _, id := range ids {
			i, err := undoImport(ctx, tx, id, at)
			if err != nil {
				return fmt.Errorf("import %d: %w", id, err)
			}
			undone = append(undone, i)
		}
		return nil
	})
	return undone, err
}

func undoImport(ctx context.Context, tx *sql.Tx, id int64, at time.Time) (i Imported, err error) {
	switch err := i.scan(tx.QueryRowContext(ctx, importedColumns+` WHERE id = ?`, id)); {
	case errors.Is(err, sql.ErrNoRows):
		return i, ErrNoImport
	case err != nil:
		return i, err
	case i.Undone != nil:
		return i, ErrUndone
	case !i.marked:
		return i, ErrEarlierImport
	}
	spans, err := airOf(ctx, tx, id)
	if err != nil {
		return i, err
	}
	for _, change := range []struct {
		statement string
		values    []any
	}{
		{`DELETE FROM batch WHERE source = ? AND seq >= ? AND seq < ?`, []any{string(Paper), id << batchRowBits, (id + 1) << batchRowBits}},
		{`DELETE FROM counts WHERE import = ?`, []any{id}},
		{`DELETE FROM paper_air WHERE import = ?`, []any{id}},
		{`DELETE FROM paper_jar WHERE import = ?`, []any{id}},
		{`UPDATE imported SET undone = ? WHERE id = ?`, []any{at.UnixMilli(), id}},
	} {
		if _, err := tx.ExecContext(ctx, change.statement, change.values...); err != nil {
			return i, err
		}
	}
	for _, s := range spans {
		if err := s.again(tx); err != nil {
			return i, err
		}
	}
	when := time.UnixMilli(at.UnixMilli()).UTC()
	i.Undone = &when
	return i, nil
}

// airOf returns the spans of the air that an import added.
func airOf(ctx context.Context, tx *sql.Tx, id int64) (spans []span, err error) {
	rows, err := tx.QueryContext(ctx, `SELECT series, min(at), max(at) FROM paper_air WHERE import = ? GROUP BY series`, id)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var s span
		if err := rows.Scan(&s.series, &s.first, &s.last); err != nil {
			return nil, err
		}
		spans = append(spans, s)
	}
	return spans, rows.Err()
}
