package journal

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"potlifed/daemon/record"
)

// ErrDamaged is the error of a part of the journal that found the file damaged while the service
// runs. Opening the journal again rebuilds it.
var ErrDamaged = errors.New("the journal is damaged")

// damagedError says what is wrong with a file.
type damagedError struct{ what string }

func (e *damagedError) Error() string { return e.what }

// isDamage reports whether an error means that the file is not as it was written. A full or slow
// disk, one that is read-only and a write that failed are no damage.
func isDamage(err error) bool {
	var own *damagedError
	if errors.As(err, &own) || errors.Is(err, ErrDamaged) {
		return true
	}
	var of *sqlite.Error
	if !errors.As(err, &of) {
		return false
	}
	switch of.Code() {
	case sqlite3.SQLITE_IOERR_READ, sqlite3.SQLITE_IOERR_SHORT_READ, sqlite3.SQLITE_IOERR_CORRUPTFS:
		return true // sectors that cannot be read
	}
	switch of.Code() & 0xff {
	case sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB,
		sqlite3.SQLITE_ERROR,                               // a table or a column is missing
		sqlite3.SQLITE_CONSTRAINT, sqlite3.SQLITE_MISMATCH: // the file knows events that the state does not
		return true
	}
	return false
}

// markFile asks the next start to rebuild the journal. Its text says why.
const markFile = "journal.damaged"

// condemn marks the journal as damaged and returns the error with which a part of it ends. The
// mark is lost with a disk that takes nothing; the next start then finds the damage itself.
func (j *Journal) condemn(err error) error {
	path := filepath.Join(j.dir, markFile)
	if failed := os.WriteFile(path, []byte(err.Error()+"\n"), 0o640); failed != nil {
		j.log.Error("the damaged journal cannot be marked", "err", failed)
	}
	return fmt.Errorf("%w: %w", ErrDamaged, err)
}

// Rebuilt says what became of a journal that was found damaged.
type Rebuilt struct {
	Reason string `json:"reason"`          // what was found
	Former string `json:"former"`          // the id of the damaged journal, empty where it is not known
	Aside  string `json:"aside,omitempty"` // where in the data directory the damaged file is; empty where there was none
	// Lost are the numbers of the events that are lost, from first to last.
	Lost []record.Span `json:"lost,omitempty"`
	// Records counts damaged records, events and air, that could not be read.
	Records int `json:"records,omitempty"`
	// Complete: the state is that of before. What was lost was in a checkpoint.
	Complete bool `json:"complete"`
}

// Rebuilt returns what became of the journal before this one, nil unless this one was made from a
// damaged one.
func (j *Journal) Rebuilt() *Rebuilt { return j.rebuilt }

// Continues reports whether this journal continues the one with the given id: places and numbers
// of events have the same meaning in both.
func (j *Journal) Continues(id string) bool {
	return id == j.id || j.rebuilt != nil && j.rebuilt.Former != "" && id == j.rebuilt.Former
}
