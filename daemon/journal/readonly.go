package journal

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"syscall"
	"time"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// On a card that takes nothing, as one that is about to fail does after a restart, the service
// reads the journal and goes on from memory. A journal in one file of this layout is read where it
// is. Any other, one with a log or of an earlier layout, is copied into memory first, since SQLite
// does not read a log in a folder in which it cannot write.

// errNoWrites is why nothing is written.
type errNoWrites struct{ why error }

func (e errNoWrites) Error() string {
	return fmt.Sprintf("the disk takes no writes since the start: %v", e.why)
}

func (e errNoWrites) Unwrap() error { return e.why }

// isReadOnly reports whether an error means that a disk takes no writes.
func isReadOnly(err error) bool {
	if errors.Is(err, syscall.EROFS) {
		return true
	}
	var of *sqlite.Error
	return errors.As(err, &of) && of.Code()&0xff == sqlite3.SQLITE_READONLY
}

// openReadOnly opens the journal of a folder that takes no writes.
func openReadOnly(dir string, log *slog.Logger, observe func(time.Duration), why error) (*Journal, error) {
	held, err := lockToRead(dir)
	if err != nil {
		return nil, fmt.Errorf("open journal: %w", err)
	}
	log.Error("the journal is only read, since the disk takes no writes; the service goes on from memory", "err", why)
	j, err := readInPlace(dir, log)
	if err != nil {
		j, err = readCopy(dir, log)
	}
	if err != nil {
		err = fmt.Errorf("open journal %s: %w", filepath.Join(dir, FileName), err)
		if held != nil {
			err = errors.Join(err, held.Close())
		}
		return nil, err
	}
	j.lock, j.observe, j.noWrites = held, observe, errNoWrites{why}
	return j, nil
}

// readInPlace opens a journal that is whole in one file.
func readInPlace(dir string, log *slog.Logger) (*Journal, error) {
	path := filepath.Join(dir, FileName)
	if info, err := os.Stat(path + "-wal"); err == nil && info.Size() > 0 || there(filepath.Join(dir, markFile)) {
		return nil, errors.New("there is more than the file")
	}
	read, err := sql.Open("sqlite", dsn(path, true)+"&immutable=1")
	if err != nil {
		return nil, err
	}
	ctx := context.Background()
	j := newJournal(dir, log)
	j.read.Store(read)
	version, err := layoutOf(read)
	if err == nil && version != len(migrations) {
		err = fmt.Errorf("its layout is %d", version)
	}
	if err == nil {
		err = read.QueryRowContext(ctx, `SELECT value FROM meta WHERE name = 'journal'`).Scan(&j.id)
	}
	known, isKnown, _ := readHead(dir)
	if err == nil && len(known.waiting) > 0 {
		err = errors.New("records wait beside the file")
	}
	if err == nil {
		err = j.prepare(known, isKnown)
	}
	if err != nil {
		return nil, errors.Join(err, read.Close())
	}
	return j, nil
}

// readCopy copies the journal into memory and opens, and if need be rebuilds, the copy.
func readCopy(dir string, log *slog.Logger) (*Journal, error) {
	copied, err := memoryDir()
	if err != nil {
		return nil, err
	}
	for _, name := range []string{FileName, FileName + "-wal", FileName + keptLog, headFile, markFile} {
		if err := copyFile(filepath.Join(dir, name), filepath.Join(copied, name)); err != nil {
			return nil, errors.Join(err, os.RemoveAll(copied))
		}
	}
	j, err := openOrRebuild(copied, log)
	if err != nil {
		return nil, errors.Join(err, os.RemoveAll(copied))
	}
	err = errors.Join(j.head.close(), j.write.Swap(nil).Close())
	j.head, j.dir, j.copied = nil, dir, copied
	return j, err
}

// memoryDir makes a folder that does not lie on the card.
func memoryDir() (dir string, err error) {
	for _, parent := range []string{"/dev/shm", os.Getenv("RUNTIME_DIRECTORY"), os.TempDir()} {
		if parent == "" {
			continue
		}
		if dir, err = os.MkdirTemp(parent, "potlifed-journal-"); err == nil {
			return dir, nil
		}
	}
	return "", err
}

// copyFile copies a file that may not be there.
func copyFile(from, to string) error {
	in, err := openIfThere(from)
	if err != nil || in == nil {
		return err
	}
	out, err := os.OpenFile(to, os.O_CREATE|os.O_WRONLY|os.O_EXCL, 0o600)
	if err != nil {
		return errors.Join(err, in.Close())
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Close(), in.Close())
}

// writable opens the journal for writing once the disk takes writes again. It returns the reason
// why it does not.
func (j *Journal) writable() error {
	if j.noWrites == nil {
		return nil
	}
	if f, err := os.OpenFile(filepath.Join(j.dir, "lock"), os.O_CREATE|os.O_RDWR, 0o640); err != nil {
		return j.noWrites
	} else if err := f.Close(); err != nil {
		return j.noWrites
	}
	if j.lock != nil { // or this process would wait for itself
		if err := j.lock.Close(); err != nil {
			return err
		}
		j.lock = nil
	}
	held, err := lock(j.dir)
	if err != nil {
		return err
	}
	j.lock = held
	again, err := openOrRebuild(j.dir, j.log)
	if err != nil {
		return err
	}
	if again.id != j.id || again.end.seq != j.end.seq || again.end.place != j.end.place {
		return errors.Join(fmt.Errorf("%w: on the disk is another journal than the one that was read", ErrDamaged), again.Close())
	}
	old := j.read.Swap(again.db())
	j.write.Store(again.write.Load())
	j.head, j.end, j.noWrites = again.head, again.end, nil
	j.log.Info("the disk takes writes again")
	return errors.Join(old.Close(), j.dropCopy())
}

// dropCopy removes the copy in memory.
func (j *Journal) dropCopy() error {
	copied := j.copied
	j.copied = ""
	if copied == "" {
		return nil
	}
	return os.RemoveAll(copied)
}

// writer returns the connection for writing, or why there is none.
func (j *Journal) writer() (*sql.DB, error) {
	if w := j.write.Load(); w != nil {
		return w, nil
	}
	return nil, errors.New("journal: the disk takes no writes")
}
