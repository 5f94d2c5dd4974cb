package journal

import (
	"context"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"slices"
	"time"

	"potlifed/daemon/record"
)

// A commit of SQLite changes a page for each record, more for indexes, and five to eight of the log's index,
// which lies in shared memory that is written to the disk too: some 40 kB for a minute of air. Records that nobody
// decided, air, reports of counts and the events of their minutes, therefore wait in the head: one page of 4 kB for
// each group, on disk before the group is answered. The next group with another event brings them into the file, at
// the latest the next checkpoint, or when the pages are full; after a kill the next start does.
//
// Invariant: the records that wait are those after the file's last one, without a gap. The page that is not full is
// written with all that is in it each time, twice in turn, so that a torn write loses only the newest
// group, which nobody was answered. How far readers of events have come stands there too: the events of counts
// come each minute, and a kill would repeat those of an hour.
//
// Every reader gets what waits too. Those that look for events other than the ones of counts need only the file.

// waitsAtMost is how long records wait for a group that cannot. A checkpoint comes each hour, and what goes into the
// file with it is written there once: a commit in between writes the last pages of the table, of its indexes and of
// the log's index one time more.
const waitsAtMost = 70 * time.Minute

// canWait reports whether a group need not go into the file at once. After a commit that failed everything
// goes to the file, so that one fault is not a fault and none in turns.
func (j *Journal) canWait(g Group) bool {
	return g.Checkpoint == nil && g.Thin == nil && len(g.Records) > 0 && !j.direct && j.head != nil &&
		time.Since(j.settled) < waitsAtMost && !slices.ContainsFunc(g.Records, func(r record.Record) bool { return !waits(r.Body.Kind()) })
}

// waits reports whether records of a kind wait.
func waits(k record.Kind) bool {
	return !k.IsEvent() || k == record.KindPrinted || k == record.KindDefects
}

// wait brings a group to disk in the head. ok is false when it has to go into the file.
func (j *Journal) wait(g Group) (ok bool) {
	end, rows := j.end, slices.Clone(j.waiting)
	file := end.place - int64(len(rows))
	for _, r := range g.Records {
		row, err := rowOf(r)
		if err != nil {
			return false // the commit tells
		}
		end.add(&row)
		rows = append(rows, row)
	}
	if err := j.head.write(head{j.id, end.place, end.seq, end.link, file, rows, j.cursors.all()}); err != nil {
		if !errors.Is(err, errFull) {
			j.log.Warn("records cannot wait beside the journal and go into it at once", "err", err)
		}
		return false
	}
	j.end = end
	j.keepWaiting(rows)
	return true
}

// keepWaiting notes the rows that wait, and shows them to readers.
func (j *Journal) keepWaiting(rows []row) {
	j.waiting = rows
	j.waits.Store(&rows)
}

// waitingRows returns the rows that wait. A reader takes them before it reads the file, and leaves out those that
// the file turns out to have.
func (j *Journal) waitingRows() []row {
	if rows := j.waits.Load(); rows != nil {
		return *rows
	}
	return nil
}

// waitingEvents returns the events that wait and that a function wants, oldest first. Ask for them before the
// file is read: it may have them by then.
func (j *Journal) waitingEvents(want func(record.Record) bool) (found []record.Record, err error) {
	for _, w := range j.waitingRows() {
		if w.seq == nil {
			continue
		}
		r, err := w.record()
		if err != nil {
			return nil, fmt.Errorf("journal: record at place %d: %w", w.place, err)
		}
		if want(r) {
			found = append(found, r)
		}
	}
	return found, nil
}

// settle brings what waits into the file, at the end.
func (j *Journal) settle() error {
	if len(j.waiting) == 0 {
		return nil
	}
	return j.commit(Group{})
}

// insertRows inserts rows.
func insertRows(tx *sql.Tx, rows []row) error {
	insert, err := tx.Prepare(insertRow)
	if err != nil {
		return err
	}
	defer insert.Close()
	for _, r := range rows {
		if _, err := insert.Exec(r.args()...); err != nil {
			return fmt.Errorf("%s: %w", r.kind, err)
		}
	}
	return nil
}

// takeWaiting brings the records that wait in a head into the file of the same journal: those that waited when
// the service was killed, when the file was copied, or when it was found damaged. Those that the file has are left
// out. Where others do not follow its last one without a gap, none is taken, which the head then tells, or, for a
// rebuild, all are.
func takeWaiting(ctx context.Context, db *sql.DB, id string, known head, rebuild bool) error {
	if len(known.waiting) == 0 || known.id != id {
		return nil
	}
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback() // after a commit it does nothing
	var last int64
	if err := tx.QueryRow(`SELECT max((SELECT coalesce(max(place), 0) FROM record), (SELECT coalesce(max(place), 0) FROM checkpoint))`).Scan(&last); err != nil {
		return err
	}
	rows := slices.DeleteFunc(slices.Clone(known.waiting), func(r row) bool { return r.place <= last })
	if len(rows) == 0 || !rebuild && !follow(rows, last) {
		return nil
	}
	if err := insertRows(tx, rows); err != nil {
		return err
	}
	for name, seq := range known.cursors {
		if err := storeCursor(tx, name, seq); err != nil {
			return err
		}
	}
	return tx.Commit()
}

// packRows returns rows as bytes. A boot is written where it is another than that of the row before.
func packRows(rows []row) (out []byte) {
	boot := ""
	bytesOf := func(b []byte) { out = append(binary.AppendUvarint(out, uint64(len(b))), b...) }
	for _, r := range rows {
		is := byte(0)
		for i, there := range []bool{r.boot != boot, r.answer != nil, r.zone != nil, r.starts != nil, r.seq != nil} {
			if there {
				is |= 1 << i
			}
		}
		out = append(out, is)
		for _, n := range []int64{r.place, r.at, r.mono, r.synced, r.grain} {
			out = binary.AppendVarint(out, n)
		}
		for _, b := range [][]byte{[]byte(r.kind), []byte(r.by), r.body, r.hash} {
			bytesOf(b)
		}
		if r.boot != boot {
			boot = r.boot
			bytesOf([]byte(boot))
		}
		if r.answer != nil {
			bytesOf(r.answer)
		}
		if r.zone != nil {
			bytesOf([]byte(*r.zone))
		}
		if r.starts != nil {
			out = binary.AppendVarint(out, *r.starts)
		}
		if r.seq != nil {
			out = binary.AppendVarint(out, *r.seq)
		}
	}
	return out
}

// unpackRows returns the rows in bytes of packRows; ok is false for other bytes.
func unpackRows(from []byte) (rows []row, ok bool) {
	bad := false
	number := func() int64 {
		n, length := binary.Varint(from)
		if length <= 0 {
			bad, from = true, nil
			return 0
		}
		from = from[length:]
		return n
	}
	bytesOf := func() []byte {
		n, length := binary.Uvarint(from)
		if length <= 0 || n > uint64(len(from)-length) {
			bad, from = true, nil
			return nil
		}
		b := from[length : length+int(n) : length+int(n)]
		from = from[length+int(n):]
		return b
	}
	boot := ""
	for len(from) > 0 && !bad {
		is := from[0]
		from = from[1:]
		r := row{place: number(), at: number(), mono: number(), synced: number(), grain: number()}
		r.kind, r.by, r.body, r.hash = string(bytesOf()), string(bytesOf()), bytesOf(), bytesOf()
		if is&1 != 0 {
			boot = string(bytesOf())
		}
		r.boot = boot
		if is&2 != 0 {
			r.answer = bytesOf()
		}
		if is&4 != 0 {
			r.zone = new(string(bytesOf()))
		}
		if is&8 != 0 {
			r.starts = new(number())
		}
		if is&16 != 0 {
			r.seq = new(number())
		}
		rows = append(rows, r)
	}
	return rows, !bad
}
