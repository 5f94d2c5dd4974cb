package history

import (
	"database/sql"
	"fmt"
)

// migration is a change of the layout: statements, and what they cannot do.
type migration struct {
	statements string
	then       func(*sql.Tx) error // nil for nothing more
}

// migrations bring the layout from one version to the next, each in a transaction of its own. A
// migration that was released is never changed.
var migrations = []migration{
	{statements: `CREATE TABLE meta (name TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT;

	 -- Whose air a row is: a sensor's or a zone's, measured here or imported.
	 CREATE TABLE series (
	   id     INTEGER PRIMARY KEY,
	   source TEXT NOT NULL,
	   kind   TEXT NOT NULL, -- sensor or zone
	   name   TEXT NOT NULL,
	   UNIQUE (source, kind, name)
	 ) STRICT;

	 -- Readings of some minutes, none over the end of an hour.
	 CREATE TABLE raw (
	   id     INTEGER PRIMARY KEY AUTOINCREMENT,
	   series INTEGER NOT NULL,
	   starts INTEGER NOT NULL, -- ms since 1970
	   body   BLOB NOT NULL
	 ) STRICT;
	 CREATE INDEX raw_starts ON raw (series, starts);

	 -- The 60 minutes of an hour, the 96 quarter-hours of a day (UTC). The key holds the
	 -- series and the number of the hour or day, so that one search finds a span.
	 CREATE TABLE minutes  (key INTEGER PRIMARY KEY, body BLOB NOT NULL) STRICT;
	 CREATE TABLE quarters (key INTEGER PRIMARY KEY, body BLOB NOT NULL) STRICT;

	 -- Prints (kind empty) and rejects of a quarter-hour. The sums are over the pieces for
	 -- which the spent life, and the air, were known.
	 CREATE TABLE tally (
	   quarter INTEGER NOT NULL, -- since 1970
	   press   TEXT NOT NULL,
	   kind    TEXT NOT NULL,
	   batch   TEXT NOT NULL,
	   source  TEXT NOT NULL,
	   ink     TEXT NOT NULL,    -- of the batch; empty where it is not known
	   pieces  INTEGER NOT NULL,
	   lived   INTEGER NOT NULL, -- pieces whose spent life and age were known
	   spent   REAL NOT NULL,
	   age_s   REAL NOT NULL,
	   aired   INTEGER NOT NULL, -- pieces whose air was known
	   celsius REAL NOT NULL,
	   percent REAL NOT NULL,
	   mixed   INTEGER NOT NULL, -- pieces whose mix was known
	   thinner REAL NOT NULL,    -- % of ink and hardener
	   ratio   REAL NOT NULL,    -- deviation of the hardener in %
	   PRIMARY KEY (quarter, press, kind, batch, source)
	 ) STRICT, WITHOUT ROWID;
	 CREATE INDEX tally_batch ON tally (batch, quarter);

	 CREATE TABLE batch (
	   source TEXT NOT NULL,
	   seq    INTEGER NOT NULL, -- of the event that ended it; of the import and row on paper
	   id     TEXT NOT NULL,
	   closed INTEGER NOT NULL, -- ms since 1970
	   body   TEXT NOT NULL,    -- JSON
	   PRIMARY KEY (source, seq)
	 ) STRICT, WITHOUT ROWID;
	 CREATE INDEX batch_closed ON batch (closed);
	 CREATE INDEX batch_id ON batch (id);

	 -- Checks of sensors against a reference.
	 CREATE TABLE verified (
	   seq  INTEGER PRIMARY KEY, -- of the event
	   at   INTEGER NOT NULL,    -- ms since 1970
	   body TEXT NOT NULL        -- JSON
	 ) STRICT;
	 CREATE INDEX verified_at ON verified (at);

	 -- Imported files, and their rows of air as they were recorded.
	 CREATE TABLE import (
	   id     INTEGER PRIMARY KEY AUTOINCREMENT,
	   at     INTEGER NOT NULL,
	   what   TEXT NOT NULL,
	   file   TEXT NOT NULL,
	   sha256 TEXT NOT NULL UNIQUE,
	   rows   INTEGER NOT NULL
	 ) STRICT;
	 CREATE TABLE paper_air (
	   series  INTEGER NOT NULL,
	   at      INTEGER NOT NULL, -- ms since 1970
	   celsius REAL NOT NULL,
	   percent REAL NOT NULL,
	   PRIMARY KEY (series, at)
	 ) STRICT, WITHOUT ROWID;`},

	{statements: `
	 -- The counts of a day (UTC): prints and rejects by quarter-hour, press, kind and batch.
	 CREATE TABLE counts (
	   day    INTEGER NOT NULL, -- since 1970
	   import INTEGER NOT NULL, -- 0: recorded by the bench; -1: of a paper record of layout 1
	   body   BLOB NOT NULL,
	   PRIMARY KEY (day, import)
	 ) STRICT, WITHOUT ROWID;

	 -- Imported files. One that was undone stays, and may be imported again.
	 CREATE TABLE imported (
	   id     INTEGER PRIMARY KEY AUTOINCREMENT,
	   at     INTEGER NOT NULL, -- ms since 1970
	   what   TEXT NOT NULL,
	   file   TEXT NOT NULL,
	   sha256 TEXT NOT NULL,
	   rows   INTEGER NOT NULL,
	   marked INTEGER NOT NULL, -- 1: its rows carry its id
	   undone INTEGER           -- ms since 1970
	 ) STRICT;
	 INSERT INTO imported SELECT id, at, what, file, sha256, rows, what = 'batches', NULL FROM import;
	 DROP TABLE import;
	 ALTER TABLE paper_air ADD COLUMN import INTEGER NOT NULL DEFAULT -1;`, then: packCounts},

	{statements: `
	 -- Readings of the last hour, whose minutes are not stored yet. A row with a few minutes of a sensor is
	 -- short, and next to those of the other sensors: storing them changes one page. After an hour they
	 -- become one row of raw for each sensor.
	 CREATE TABLE recent (
	   id     INTEGER PRIMARY KEY,
	   series INTEGER NOT NULL,
	   starts INTEGER NOT NULL, -- ms since 1970
	   body   BLOB NOT NULL
	 ) STRICT;
	 INSERT INTO recent SELECT * FROM raw WHERE id > coalesce((SELECT CAST(value AS INTEGER) FROM meta WHERE name = 'rolled'), 0);
	 DELETE FROM raw WHERE id IN (SELECT id FROM recent);
	 DELETE FROM meta WHERE name = 'rolled';`},

	{statements: `
	 -- Jars of imported tests of inks. A look is in h after the first hardener; 0 for none.
	 CREATE TABLE paper_jar (
	   ink        TEXT NOT NULL,
	   mixed      INTEGER NOT NULL, -- first hardener, ms since 1970
	   mix        TEXT NOT NULL,    -- name of the mix on paper
	   jar        INTEGER NOT NULL,
	   celsius    REAL NOT NULL,
	   percent    REAL NOT NULL,
	   open       INTEGER NOT NULL, -- 1: it stood open
	   good_h     REAL NOT NULL,
	   gone_off_h REAL NOT NULL,
	   import     INTEGER NOT NULL,
	   PRIMARY KEY (ink, mixed, mix, jar)
	 ) STRICT, WITHOUT ROWID;`},
}

// packCounts moves the rows of the table tally into days.
func packCounts(tx *sql.Tx) error {
	rows, err := tx.Query(`
		SELECT quarter, press, kind, batch, source, ink, pieces, lived, spent, age_s, aired, celsius, percent, mixed, thinner, ratio
		FROM tally ORDER BY source, quarter`)
	if err != nil {
		return err
	}
	defer rows.Close()
	day, number, open := int64(0), int64(0), map[tallyKey]tally{}
	end := func() error {
		if len(open) == 0 {
			return nil
		}
		err := putCounts(tx, day, number, open)
		open = map[tallyKey]tally{}
		return err
	}
	for rows.Next() {
		var k tallyKey
		var t tally
		if err := rows.Scan(&k.quarter, &k.press, &k.kind, &k.batch, &k.source, &t.ink, &t.pieces, &t.lived, &t.spent, &t.ageS, &t.aired, &t.celsius, &t.percent,
			&t.mixed, &t.thinner, &t.ratio); err != nil {
			return err
		}
		from := benchOwn
		if k.source != Measured {
			from = earlierPaper
		}
		if d := dayOf(k.quarter); d != day || from != number {
			if err := end(); err != nil {
				return err
			}
			day, number = d, from
		}
		open[k] = t
	}
	if err := rows.Err(); err != nil {
		return err
	}
	if err := end(); err != nil {
		return err
	}
	if err := rows.Close(); err != nil { // else the table is in use
		return err
	}
	_, err = tx.Exec(`DROP TABLE tally`)
	return err
}

// migrate brings the file's layout up to date. It returns an error for a layout that is newer
// than this program.
func migrate(db *sql.DB) error {
	var version int
	if err := db.QueryRow(`PRAGMA user_version`).Scan(&version); err != nil {
		return err
	}
	if version > len(migrations) {
		return fmt.Errorf("its layout %d is newer than this program, which knows %d: use the newer program", version, len(migrations))
	}
	for ; version < len(migrations); version++ {
		tx, err := db.Begin()
		if err != nil {
			return err
		}
		_, err = tx.Exec(migrations[version].statements)
		if then := migrations[version].then; err == nil && then != nil {
			err = then(tx)
		}
		if err == nil {
			_, err = tx.Exec(fmt.Sprintf(`PRAGMA user_version = %d`, version+1))
		}
		if err == nil {
			err = tx.Commit()
		}
		if err != nil {
			tx.Rollback()
			return fmt.Errorf("bring layout %d to %d: %w", version, version+1, err)
		}
	}
	return nil
}
