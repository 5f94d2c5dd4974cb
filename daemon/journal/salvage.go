package journal

import (
	"context"
	"database/sql"
	"fmt"
	"slices"

	"potlifed/daemon/record"
)

// salvaged counts what was read from a damaged journal.
type salvaged struct {
	former string // the id of the damaged journal; empty where it is not known
	bad    int    // rows that are not as they were written
}

// salvage copies what can be read of a damaged journal into an empty one: records, checkpoints and
// cursors. Of several images of a row it takes the newest that is whole.
func salvage(ctx context.Context, path string, into *sql.DB) (salvaged, error) {
	var found salvaged
	tx, err := into.BeginTx(ctx, nil)
	if err != nil {
		return found, err
	}
	defer tx.Rollback() // after a commit it does nothing
	bad := map[int64]bool{}
	err = images(path, func(page []byte, first bool, overflow func(uint32) []byte) error {
		return leaf(page, first, overflow, func(rowid int64, columns []value) error {
			if r, ok := rowIn(rowid, columns); ok {
				if !usable(r) {
					bad[r.place] = true
					return nil
				}
				return keepRow(tx, r)
			}
			if c, ok := checkpointIn(rowid, columns); ok {
				return keepCheckpoint(tx, c)
			}
			return keepSmall(tx, columns, &found)
		})
	})
	if err != nil {
		return found, err
	}
	for place := range bad {
		var there int
		if err := tx.QueryRow(`SELECT count(*) FROM record WHERE place = ?`, place).Scan(&there); err != nil {
			return found, err
		}
		if there == 0 {
			found.bad++
		}
	}
	if err := dropStale(tx); err != nil {
		return found, err
	}
	return found, tx.Commit()
}

// usable reports whether a row is as it was written, and is understood.
func usable(r row) bool {
	if !r.whole() || r.seq != nil && *r.seq <= 0 || r.place <= 0 {
		return false
	}
	if _, err := record.DecodeBody(record.Kind(r.kind), r.body); err != nil {
		return false
	}
	return true
}

// rowIn returns the record in a row of 13 columns, or of 14 with its hash.
func rowIn(rowid int64, c []value) (r row, ok bool) {
	if len(c) != 13 && len(c) != 14 || c[0] != nil {
		return r, false
	}
	r.place = rowid
	ok = true
	take(&ok, c[2], &r.at)
	take(&ok, c[3], &r.boot)
	take(&ok, c[4], &r.mono)
	take(&ok, c[5], &r.synced)
	take(&ok, c[6], &r.kind)
	take(&ok, c[7], &r.by)
	take(&ok, c[8], &r.body)
	take(&ok, c[12], &r.grain)
	r.seq = takeOrNull[int64](&ok, c[1])
	r.zone = takeOrNull[string](&ok, c[10])
	r.starts = takeOrNull[int64](&ok, c[11])
	if c[9] != nil {
		take(&ok, c[9], &r.answer)
	}
	if len(c) == 14 && c[13] != nil {
		take(&ok, c[13], &r.hash)
	}
	return r, ok
}

func take[V any](ok *bool, from value, into *V) {
	v, is := from.(V)
	*into, *ok = v, *ok && is
}

func takeOrNull[V any](ok *bool, from value) *V {
	if from == nil {
		return nil
	}
	var v V
	take(ok, from, &v)
	return &v
}

func keepRow(tx *sql.Tx, r row) error {
	// A finer step was there before it was thinned; what was read first is the newest.
	_, err := tx.Exec(insertRow+` ON CONFLICT DO UPDATE SET
		seq = excluded.seq, at = excluded.at, boot = excluded.boot, mono = excluded.mono, synced = excluded.synced, kind = excluded.kind,
		by_whom = excluded.by_whom, body = excluded.body, answer = excluded.answer, zone = excluded.zone, starts = excluded.starts,
		grain = excluded.grain, hash = excluded.hash WHERE excluded.place = place AND excluded.grain > grain`, r.args()...)
	if err != nil {
		return fmt.Errorf("keep the record at place %d: %w", r.place, err)
	}
	return nil
}

// dropStale removes what lay in pages that the damaged journal had given up: air that stands in
// thinned steps too, and reports that their events contain.
func dropStale(tx *sql.Tx) error {
	const known = `(SELECT coalesce(max(place), 0) FROM checkpoint)`
	if _, err := tx.Exec(`
		DELETE FROM record WHERE seq IS NULL AND kind = 'counted' AND place <= ` + known + `;
		UPDATE meta SET value = CAST(` + known + ` AS TEXT) WHERE name = 'counted'`); err != nil {
		return err
	}
	_, err := tx.Exec(fmt.Sprintf(`
		DELETE FROM record WHERE zone IS NOT NULL AND EXISTS (
			SELECT 1 FROM record AS thick WHERE thick.seq IS NULL AND thick.kind = '%s' AND thick.grain IN (%d, %d)
			AND thick.zone = record.zone AND thick.grain > record.grain AND thick.at >= record.at AND thick.at < record.at + 900000000000 AND thick.starts <= record.starts AND thick.place <> record.place)`,
		record.KindAirStep, toMinutes, toQuarters))
	return err
}

// savedCheckpoint is a row of checkpoints.
type savedCheckpoint struct {
	place, at, model  int64
	state, link, hash []byte
}

func (c savedCheckpoint) whole() bool {
	return c.hash != nil && slices.Equal(c.hash, checkpointHash(c.place, c.at, c.model, c.link, c.state))
}

func checkpointIn(rowid int64, v []value) (c savedCheckpoint, ok bool) {
	if len(v) != 4 && len(v) != 6 || v[0] != nil {
		return c, false
	}
	c.place = rowid
	ok = true
	take(&ok, v[1], &c.at)
	take(&ok, v[2], &c.model)
	take(&ok, v[3], &c.state)
	if len(v) == 6 && v[4] != nil && v[5] != nil {
		take(&ok, v[4], &c.link)
		take(&ok, v[5], &c.hash)
	}
	return c, ok
}

func keepCheckpoint(tx *sql.Tx, c savedCheckpoint) error {
	if c.hash != nil && !c.whole() {
		return nil
	}
	_, err := tx.Exec(`INSERT OR IGNORE INTO checkpoint (place, at, model, state, link, hash) VALUES (?, ?, ?, ?, ?, ?)`,
		c.place, c.at, c.model, c.state, c.link, c.hash)
	return err
}

// keepSmall keeps the id of the journal and the furthest cursors.
func keepSmall(tx *sql.Tx, c []value, found *salvaged) error {
	if len(c) != 2 {
		return nil
	}
	name, ok := c[0].(string)
	if !ok {
		return nil
	}
	switch v := c[1].(type) {
	case string:
		if name == "journal" && found.former == "" {
			found.former = v
		}
	case int64:
		if name == "record" { // SQLite's own count of places
			return nil
		}
		_, err := tx.Exec(`INSERT INTO cursor (name, seq) VALUES (?, ?) ON CONFLICT (name) DO UPDATE SET seq = max(seq, excluded.seq)`, name, v)
		return err
	}
	return nil
}
