package journal

import (
	"crypto/rand"
	"database/sql"
	"encoding/hex"
	"fmt"
)

// migrations bring the layout from one version to the next, each in a transaction of its own. A
// migration that was released is never changed.
var migrations = []string{
	`CREATE TABLE meta (name TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT;
	 CREATE TABLE record (
	   place   INTEGER PRIMARY KEY AUTOINCREMENT, -- never reused, so a checkpoint's place stays true
	   seq     INTEGER UNIQUE,        -- of an event; null for an air step
	   at      INTEGER NOT NULL,      -- bench time, ns since 1970
	   boot    TEXT NOT NULL,
	   mono    INTEGER NOT NULL,      -- ns since that boot
	   synced  INTEGER NOT NULL,
	   kind    TEXT NOT NULL,
	   by_whom TEXT NOT NULL,
	   body    BLOB NOT NULL,
	   answer  BLOB,
	   zone    TEXT,                  -- of an air step
	   starts  INTEGER,               -- of an air step, ns since 1970
	   grain   INTEGER NOT NULL DEFAULT 0 -- of an air step: what it was thinned to, ns
	 ) STRICT;
	 CREATE INDEX record_air ON record (zone, at) WHERE zone IS NOT NULL;
	 CREATE INDEX record_grain ON record (grain, at) WHERE zone IS NOT NULL;
	 CREATE TABLE checkpoint (place INTEGER PRIMARY KEY, at INTEGER NOT NULL, model INTEGER NOT NULL, state BLOB NOT NULL) STRICT;
	 CREATE TABLE cursor (name TEXT PRIMARY KEY, seq INTEGER NOT NULL) STRICT;`,

	// Indexes for following a lot to its batches and back, and for what was thrown away. The
	// bodies are bytes, which SQLite would read as its own binary form of JSON.
	`CREATE INDEX record_batch ON record (json_extract(CAST(body AS TEXT), '$.batch'), seq) WHERE seq IS NOT NULL;
	 CREATE INDEX record_from ON record (json_extract(CAST(body AS TEXT), '$.from'), seq) WHERE kind IN ('split', 'topped-up');
	 CREATE INDEX record_can ON record (json_extract(CAST(body AS TEXT), '$.can'), seq) WHERE kind = 'poured-from';
	 CREATE INDEX record_lot ON record (json_extract(CAST(body AS TEXT), '$.lot') COLLATE NOCASE, seq) WHERE kind = 'poured-from';
	 CREATE INDEX record_over ON record (at) WHERE kind IN ('closed', 'abandoned');
	 CREATE INDEX record_clock ON record (seq) WHERE kind IN ('clock-changed', 'started');`,

	// The retained messages that the built-in broker stores for clients.
	`CREATE TABLE retained (topic TEXT PRIMARY KEY, payload BLOB NOT NULL) STRICT;`,

	// The undone events, by the number of the event that was undone.
	`CREATE INDEX record_undone ON record (json_extract(CAST(body AS TEXT), '$.undoes')) WHERE kind = 'undone';`,

	// How batches end, those included that were poured into another.
	`CREATE INDEX record_ended ON record (at) WHERE kind IN ('closed', 'abandoned', 'topped-up');`,

	// Reports of counts, which are removed once the events of their minutes contain them.
	`CREATE INDEX record_counted ON record (at) WHERE kind = 'counted';`,
}

// migrate brings the file's layout up to date and returns the journal's id. It returns an error
// for a layout that is newer than this program.
func migrate(db *sql.DB) (id string, err error) {
	var version int
	if err := db.QueryRow(`PRAGMA user_version`).Scan(&version); err != nil {
		return "", err
	}
	if version > len(migrations) {
		return "", fmt.Errorf("its layout %d is newer than this program, which knows %d: use the newer program", version, len(migrations))
	}
	for ; version < len(migrations); version++ {
		if err := step(db, version); err != nil {
			return "", fmt.Errorf("bring layout %d to %d: %w", version, version+1, err)
		}
	}
	err = db.QueryRow(`SELECT value FROM meta WHERE name = 'journal'`).Scan(&id)
	return id, err
}

func step(db *sql.DB, from int) error {
	tx, err := db.Begin()
	if err != nil {
		return err
	}
	defer tx.Rollback()
	if _, err := tx.Exec(migrations[from]); err != nil {
		return err
	}
	if from == 0 {
		var id [8]byte
		rand.Read(id[:])
		if _, err := tx.Exec(`INSERT INTO meta VALUES ('journal', ?)`, hex.EncodeToString(id[:])); err != nil {
			return err
		}
	}
	if _, err := tx.Exec(fmt.Sprintf(`PRAGMA user_version = %d`, from+1)); err != nil {
		return err
	}
	return tx.Commit()
}
