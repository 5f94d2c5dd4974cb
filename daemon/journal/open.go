package journal

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"time"

	"potlifed/daemon/filemode"
)

// Open opens the journal in dir. It creates the file if there is none, and brings its layout up
// to date. observe is called with the time that each commit took. The directory must exist.
//
// A file that is damaged, or that has less than was known, is set aside, and a new journal is made
// of what can be read; [Journal.Rebuilt] then says what was lost. On a disk that takes nothing the
// journal is opened for reading, and each write fails until the disk takes writes again. The error
// says why the file cannot be opened, for instance because another daemon has it.
func Open(dir string, log *slog.Logger, observe func(time.Duration)) (*Journal, error) {
	path := filepath.Join(dir, FileName)
	held, err := lock(dir)
	if isReadOnly(err) {
		return openReadOnly(dir, log, observe, err)
	}
	if err != nil {
		return nil, fmt.Errorf("open journal: %w", err)
	}
	j, err := openOrRebuild(dir, log)
	if isReadOnly(err) {
		if closing := held.Close(); closing != nil {
			return nil, errors.Join(err, closing)
		}
		return openReadOnly(dir, log, observe, err)
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("open journal %s: %w", path, err), held.Close())
	}
	j.lock, j.observe = held, observe
	return j, nil
}

// openOrRebuild opens the journal for writing. A damaged one is rebuilt first.
func openOrRebuild(dir string, log *slog.Logger) (*Journal, error) {
	if err := finishRebuild(dir, log); err != nil {
		return nil, err
	}
	j, err := openWhole(dir, log)
	if !isDamage(err) {
		return j, err
	}
	log.Error("the journal is damaged; it is set aside, and what can be read is made into a new one", "err", err)
	if err := rebuild(dir, err.Error(), log); err != nil {
		return nil, fmt.Errorf("rebuild the damaged journal: %w", err)
	}
	return openWhole(dir, log)
}

// openWhole opens the journal for writing. The error tells of damage, see [isDamage].
func openWhole(dir string, log *slog.Logger) (*Journal, error) {
	if mark, err := os.ReadFile(filepath.Join(dir, markFile)); err == nil {
		return nil, &damagedError{string(mark)}
	}
	known, isKnown, err := readHead(dir)
	if err != nil {
		log.Warn("how far the journal should go cannot be read", "err", err)
	}
	path := filepath.Join(dir, FileName)
	switch info, err := os.Stat(path); {
	case errors.Is(err, os.ErrNotExist) && isKnown && known.place > 0:
		return nil, &damagedError{fmt.Sprintf("the journal is gone; known were %d events", known.seq)}
	case err == nil && info.IsDir():
		return nil, &damagedError{"a folder is in the place of the journal"}
	case err == nil && info.Size() == 0 && isKnown && known.place > 0:
		return nil, &damagedError{fmt.Sprintf("the journal is empty; known were %d events", known.seq)}
	}
	if err := keepLog(path); err != nil {
		return nil, err
	}
	j, err := openFile(path, log)
	if err != nil {
		return nil, err
	}
	if err = takeWaiting(context.Background(), j.write.Load(), j.id, known, false); err == nil {
		err = j.prepare(known, isKnown)
	}
	if err != nil {
		return nil, errors.Join(err, j.Close())
	}
	return j, removed(path + keptLog)
}

// prepare reads a journal as far as a start needs it, and compares it with what was known.
func (j *Journal) prepare(known head, isKnown bool) error {
	ctx := context.Background()
	if err := j.readRebuilt(ctx); err != nil {
		return err
	}
	r, err := j.loadFrom(ctx)
	if err != nil {
		return err
	}
	if isKnown {
		if err := j.agrees(ctx, known, r.end); err != nil {
			return err
		}
	}
	if r.end.reserved, err = j.number(ctx, `SELECT coalesce((SELECT seq FROM sqlite_sequence WHERE name = 'record'), 0)`); err != nil {
		return err
	}
	j.end = r.end
	j.first.Store(&r.state)
	if j.write.Load() == nil {
		return nil
	}
	if j.head, err = openHead(j.dir); err != nil {
		return err
	}
	j.reached()
	return nil
}

// reached writes outside of the file how far it goes.
func (j *Journal) reached() {
	if j.head == nil {
		return
	}
	if err := j.head.write(head{j.id, j.end.place, j.end.seq, j.end.link, j.end.place, nil, nil}); err != nil {
		j.log.Warn("how far the journal goes is not written beside it", "err", err)
	}
}

func (j *Journal) readRebuilt(ctx context.Context) error {
	var text string
	err := j.db().QueryRowContext(ctx, `SELECT value FROM meta WHERE name = 'rebuilt'`).Scan(&text)
	if errors.Is(err, sql.ErrNoRows) {
		return nil
	}
	if err != nil {
		return err
	}
	if err := json.Unmarshal([]byte(text), &j.rebuilt); err != nil {
		return &damagedError{"the note of an earlier damage cannot be read"}
	}
	return nil
}

// openFile opens a file for writing and brings its layout up to date.
func openFile(path string, log *slog.Logger) (*Journal, error) {
	if err := filemode.ForGroup(path); err != nil {
		return nil, err
	}
	write, err := sql.Open("sqlite", dsn(path, false))
	if err != nil {
		return nil, err
	}
	write.SetMaxOpenConns(1) // one writer: SQLite would answer a second "database is locked"
	id, err := migrate(write)
	if err != nil {
		return nil, errors.Join(err, write.Close())
	}
	if err := repage(write, log); err != nil { // it works with any size
		log.Warn("the journal stays in pages of another size, which cost more writes", "err", err)
	}
	read, err := sql.Open("sqlite", dsn(path, true))
	if err != nil {
		return nil, errors.Join(err, write.Close())
	}
	read.SetMaxOpenConns(4)
	read.SetConnMaxIdleTime(time.Minute) // each takes memory
	j := newJournal(filepath.Dir(path), log)
	j.id = id
	j.write.Store(write)
	j.read.Store(read)
	return j, nil
}

// OpenToRead opens the journal in dir for reading only, while a daemon writes it or without one.
// It returns an error when there is no journal, or when its layout is not that of this version.
// Nothing can be written through it.
func OpenToRead(ctx context.Context, dir string) (*Journal, error) {
	path := filepath.Join(dir, FileName)
	if _, err := os.Stat(path); err != nil {
		return nil, fmt.Errorf("open journal: %w", err)
	}
	read, err := sql.Open("sqlite", dsn(path, true))
	if err != nil {
		return nil, fmt.Errorf("open journal %s: %w", path, err)
	}
	j := newJournal(dir, slog.New(slog.DiscardHandler))
	if known, _, err := readHead(dir); err == nil {
		j.keepWaiting(known.waiting)
	}
	j.read.Store(read)
	version, err := layoutOf(read)
	if err == nil && version != len(migrations) {
		err = fmt.Errorf("its layout is %d, this program knows %d: let the service of this version open it once", version, len(migrations))
	}
	if err == nil {
		err = read.QueryRowContext(ctx, `SELECT value FROM meta WHERE name = 'journal'`).Scan(&j.id)
	}
	if err == nil {
		err = j.readRebuilt(ctx)
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("open journal %s: %w", path, err), read.Close())
	}
	return j, nil
}
