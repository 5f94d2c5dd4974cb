package journal

import (
	"crypto/rand"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"log/slog"
	"strconv"
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

	// A hash for each record and checkpoint, see hash.go. Records of before have none: meta's
	// 'hashed' is the first place that must have one. Numbers of events that were lost with a
	// damaged file are listed.
	`ALTER TABLE record ADD COLUMN hash BLOB;
	 ALTER TABLE checkpoint ADD COLUMN link BLOB; -- hash of the last event that the state knows
	 ALTER TABLE checkpoint ADD COLUMN hash BLOB;
	 CREATE TABLE lost (first INTEGER PRIMARY KEY, last INTEGER NOT NULL) STRICT;
	 INSERT INTO meta SELECT 'hashed', CAST(coalesce(max(place), 0) + 1 AS TEXT) FROM record;`,

	// Fewer pages for each commit: records that are no events are left out of the index of numbers,
	// and the air of all zones has one index in place of two. SQLite cannot drop the index of a
	// UNIQUE column, so the table is made again.
	`CREATE TABLE record_8 (
	   place   INTEGER PRIMARY KEY AUTOINCREMENT, -- never reused, so a checkpoint's place stays true
	   seq     INTEGER,               -- of an event; null for air steps and reports
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
	   grain   INTEGER NOT NULL DEFAULT 0, -- of an air step: what it was thinned to, ns
	   hash    BLOB
	 ) STRICT;
	 INSERT INTO record_8 SELECT * FROM record ORDER BY place;
	 DELETE FROM sqlite_sequence WHERE name = 'record_8';
	 INSERT INTO sqlite_sequence (name, seq) SELECT 'record_8', seq FROM sqlite_sequence WHERE name = 'record';
	 DROP TABLE record;
	 ALTER TABLE record_8 RENAME TO record;
	 CREATE UNIQUE INDEX record_seq ON record (seq) WHERE seq IS NOT NULL;
	 CREATE INDEX record_loose ON record (kind, grain, at, zone) WHERE seq IS NULL; -- air steps and reports
	 CREATE INDEX record_batch ON record (json_extract(CAST(body AS TEXT), '$.batch'), seq) WHERE seq IS NOT NULL;
	 CREATE INDEX record_from ON record (json_extract(CAST(body AS TEXT), '$.from'), seq) WHERE kind IN ('split', 'topped-up');
	 CREATE INDEX record_can ON record (json_extract(CAST(body AS TEXT), '$.can'), seq) WHERE kind = 'poured-from';
	 CREATE INDEX record_lot ON record (json_extract(CAST(body AS TEXT), '$.lot') COLLATE NOCASE, seq) WHERE kind = 'poured-from';
	 CREATE INDEX record_over ON record (at) WHERE kind IN ('closed', 'abandoned');
	 CREATE INDEX record_clock ON record (seq) WHERE kind IN ('clock-changed', 'started');
	 CREATE INDEX record_undone ON record (json_extract(CAST(body AS TEXT), '$.undoes')) WHERE kind = 'undone';
	 CREATE INDEX record_ended ON record (at) WHERE kind IN ('closed', 'abandoned', 'topped-up');`,

	// Reports of counts are in no index: they are removed within hours, and meta's 'counted' is a place before
	// which none is left. From here on, the bodies of air steps and reports are packed, see package record.
	`INSERT INTO meta SELECT 'counted', CAST(coalesce((SELECT min(place) FROM record WHERE seq IS NULL AND kind = 'counted'), (SELECT max(place) FROM record), 0) AS TEXT);
	 DROP INDEX record_loose;
	 CREATE INDEX record_air ON record (grain, at, zone) WHERE seq IS NULL AND kind = 'air-step';`,
}

// layoutInMeta is the first layout that is named in meta too. A user_version that says something
// else is then known to be damaged.
const layoutInMeta = 7

// migrate brings the file's layout up to date and returns the journal's id. It returns an error
// for a layout that is newer than this program, and a [*damagedError] for one that cannot be.
func migrate(db *sql.DB) (id string, err error) {
	version, err := layoutOf(db)
	if err != nil {
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
	if errors.Is(err, sql.ErrNoRows) || err == nil && id == "" {
		err = &damagedError{"the journal's id is missing"}
	}
	return id, err
}

// layoutOf returns the layout of a file, 0 for an empty one.
func layoutOf(db *sql.DB) (version int, err error) {
	if err := db.QueryRow(`PRAGMA user_version`).Scan(&version); err != nil {
		return 0, err
	}
	var tables int
	if err := db.QueryRow(`SELECT count(*) FROM sqlite_schema`).Scan(&tables); err != nil {
		return 0, err
	}
	if version < 0 || version == 0 && tables > 0 || version > 0 && tables == 0 {
		return 0, &damagedError{fmt.Sprintf("the journal's layout is %d, with %d tables", version, tables)}
	}
	if version == 0 {
		return 0, nil
	}
	var named int
	err = db.QueryRow(`SELECT CAST(value AS INTEGER) FROM meta WHERE name = 'layout'`).Scan(&named)
	switch {
	case errors.Is(err, sql.ErrNoRows) && version >= layoutInMeta && version <= len(migrations), err == nil && named != version:
		return 0, &damagedError{fmt.Sprintf("the journal's layout is said to be %d and %d", version, named)}
	case err != nil && !errors.Is(err, sql.ErrNoRows):
		return 0, err
	}
	return version, nil
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
		if _, err := tx.Exec(`INSERT INTO meta VALUES ('journal', ?)`, newID()); err != nil {
			return err
		}
	}
	if from+1 >= layoutInMeta {
		if _, err := tx.Exec(`INSERT INTO meta VALUES ('layout', ?) ON CONFLICT (name) DO UPDATE SET value = excluded.value`, strconv.Itoa(from+1)); err != nil {
			return err
		}
	}
	if _, err := tx.Exec(fmt.Sprintf(`PRAGMA user_version = %d`, from+1)); err != nil {
		return err
	}
	return tx.Commit()
}

func newID() string {
	var id [8]byte
	rand.Read(id[:])
	return hex.EncodeToString(id[:])
}

// repage writes a journal of an earlier version again, in pages of the size that new ones have. SQLite
// does that outside of its log only. It may be cut off at any point: the journal is then as it was.
func repage(db *sql.DB, log *slog.Logger) error {
	var size int
	if err := db.QueryRow(`PRAGMA page_size`).Scan(&size); err != nil || size == pageBytes {
		return err
	}
	log.Info("the journal is written again in smaller pages; with years of records this takes some seconds")
	// With the small cache of a connection SQLite would sync a thousand times.
	_, err := db.Exec(fmt.Sprintf(`PRAGMA cache_size = -16384; PRAGMA journal_mode = DELETE; PRAGMA page_size = %d; VACUUM`, pageBytes))
	_, back := db.Exec(fmt.Sprintf(`PRAGMA journal_mode = WAL; PRAGMA cache_size = -%d; PRAGMA shrink_memory`, cacheKB))
	return errors.Join(err, back)
}
