package journal

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"potlifed/daemon/record"
	"potlifed/daemon/whole"
)

// A rebuild moves the damaged files into a folder, makes a new journal beside it and puts it into
// its place. It may be cut off at any point; the next start finishes it:
//
//	folder with the ending .partial   no journal     the new journal is to be made
//	folder with the ending .partial   a journal      the new journal is in its place
//	                                                 (an empty folder: nothing was moved yet)
//
// The database is moved first. Nothing makes a journal while there is such a folder but the rebuild.
const (
	asidePrefix  = "journal-damaged-"
	partial      = ".partial"
	rebuiltFile  = "journal.rebuilt"
	whyFile      = "WHY.txt"
	asidePattern = "20060102T150405Z"
)

// companions are the endings of the files of one SQLite database.
var companions = []string{"", "-wal", "-shm"} // and keptLog, which becomes the log

// rebuild sets the journal aside and makes a new one of what can be read of it.
func rebuild(dir, reason string, log *slog.Logger) error {
	found := false
	for _, ending := range companions {
		if _, err := os.Lstat(filepath.Join(dir, FileName+ending)); err == nil {
			found = true
		}
	}
	if !found { // the journal is gone
		if err := renew(dir, "", reason, log); err != nil {
			return err
		}
		return forgetHead(dir)
	}
	aside, err := freeName(dir)
	if err != nil {
		return err
	}
	folder := filepath.Join(dir, aside+partial)
	if err := os.Mkdir(folder, 0o750); err != nil {
		return err
	}
	return finish(dir, aside, reason, log)
}

// freeName returns a name for the folder that no earlier damage has.
func freeName(dir string) (string, error) {
	name := asidePrefix + time.Now().UTC().Format(asidePattern)
	for n := 1; n < 1000; n++ {
		try := name
		if n > 1 {
			try += "-" + strconv.Itoa(n)
		}
		if taken, err := filepath.Glob(filepath.Join(dir, try+"*")); err != nil || len(taken) == 0 {
			return try, err
		}
	}
	return "", fmt.Errorf("%s has a thousand damaged journals of this second", dir)
}

// finishRebuild goes on with a rebuild that was cut off.
func finishRebuild(dir string, log *slog.Logger) error {
	folders, err := filepath.Glob(filepath.Join(dir, asidePrefix+"*"+partial))
	if err != nil {
		return err
	}
	for _, folder := range folders {
		aside := strings.TrimSuffix(filepath.Base(folder), partial)
		moved := there(filepath.Join(folder, FileName))
		if there(filepath.Join(dir, FileName)) {
			if !moved { // it had hardly begun: the journal itself tells whether it is damaged
				if err := os.RemoveAll(folder); err != nil {
					return err
				}
				continue
			}
			if err := settle(dir, aside); err != nil {
				return err
			}
			continue
		}
		reason := "the service was cut off while it rebuilt a damaged journal"
		if text, err := os.ReadFile(filepath.Join(folder, whyFile)); err == nil {
			reason = firstLine(string(text))
		}
		if err := finish(dir, aside, reason, log); err != nil {
			return fmt.Errorf("rebuild the damaged journal: %w", err)
		}
	}
	return nil
}

func there(path string) bool {
	_, err := os.Lstat(path)
	return err == nil
}

func firstLine(text string) string {
	line, _, _ := strings.Cut(text, "\n")
	return line
}

// finish moves what is left of the damaged journal into the folder and makes the new one.
func finish(dir, aside, reason string, log *slog.Logger) error {
	folder := filepath.Join(dir, aside+partial)
	why := firstLine(reason) + "\n\nThis is the journal that was found damaged. What could be read of it is in the new journal.\n" +
		"Keep it until the alarm \"journal\" was looked at; then it may be removed.\n"
	if err := os.WriteFile(filepath.Join(folder, whyFile), []byte(why), 0o640); err != nil {
		return err
	}
	for _, ending := range companions {
		from := filepath.Join(dir, FileName+ending)
		if !there(from) {
			continue
		}
		if err := os.Rename(from, filepath.Join(folder, FileName+ending)); err != nil {
			return err
		}
	}
	if kept := filepath.Join(dir, FileName+keptLog); there(kept) {
		if err := os.Rename(kept, filepath.Join(folder, FileName+"-wal")); err != nil {
			return err
		}
	}
	if err := whole.SyncDir(dir); err != nil {
		return err
	}
	if err := renew(dir, aside, reason, log); err != nil {
		return err
	}
	return settle(dir, aside)
}

// settle ends a rebuild whose new journal is in its place.
func settle(dir, aside string) error {
	if err := forgetHead(dir); err != nil {
		return err
	}
	if err := os.Rename(filepath.Join(dir, aside+partial), filepath.Join(dir, aside)); err != nil {
		return err
	}
	return whole.SyncDir(dir)
}

// forgetHead removes how far the damaged journal went: the new one says itself what is missing.
func forgetHead(dir string) error {
	return removed(filepath.Join(dir, headFile))
}

// removed removes a file that may be there.
func removed(path string) error {
	if err := os.Remove(path); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	return nil
}

// renew makes the new journal of the damaged one in the folder, or of none, and puts it into place.
func renew(dir, aside, reason string, log *slog.Logger) error {
	known, _, _ := readHead(dir) // without it less is known
	path := filepath.Join(dir, rebuiltFile)
	for _, ending := range companions {
		if err := os.RemoveAll(path + ending); err != nil {
			return err
		}
	}
	j, err := openFile(path, log)
	if err != nil {
		return err
	}
	made, err := j.fill(aside, filepath.Join(dir, aside+partial, FileName), reason, known)
	if err = errors.Join(err, j.Close()); err != nil {
		return err
	}
	log.Error("the journal was rebuilt", "reason", firstLine(reason), "aside", aside, "lost", made.Lost, "records", made.Records, "complete", made.Complete)
	if err := os.Rename(path, filepath.Join(dir, FileName)); err != nil {
		return err
	}
	if err := removed(filepath.Join(dir, markFile)); err != nil {
		return err
	}
	return whole.SyncDir(dir)
}

// fill fills a new journal with what can be read of a damaged one.
func (j *Journal) fill(aside, damaged, reason string, known head) (*Rebuilt, error) {
	ctx := context.Background()
	made := &Rebuilt{Reason: firstLine(reason), Former: known.id, Aside: aside}
	if aside != "" {
		found, err := salvage(ctx, damaged, j.write.Load())
		if err != nil {
			return nil, err
		}
		if err := takeWaiting(ctx, j.write.Load(), known.id, known, true); err != nil {
			return nil, err
		}
		made.Records = found.bad
		if found.former != "" {
			made.Former = found.former
		}
		if err := copyRetained(ctx, damaged, j.write.Load()); err != nil {
			j.log.Warn("retained messages of the built-in broker are lost", "err", err)
		}
	}
	last, err := j.lastEvent(ctx)
	if err != nil {
		return nil, err
	}
	last = max(last, known.seq)
	if made.Lost, err = j.missing(ctx, last); err != nil {
		return nil, err
	}
	if err := j.relink(ctx, made.Lost); err != nil {
		return nil, err
	}
	r, complete, err := j.piece(ctx, known)
	if err != nil {
		return nil, err
	}
	if r.state.Seq > last { // a checkpoint is all that is left of them
		made.Lost, last = append(made.Lost, record.Span{First: last + 1, Last: r.state.Seq}), r.state.Seq
	}
	made.Complete = complete && r.end.seq >= known.seq && (known.id == "" || known.id == made.Former)
	r.state.Journal, r.state.Seq = j.id, last
	if r.end.seq < last {
		r.end.link = seed
	}
	r.end.seq, r.end.place = last, max(r.end.place, known.place)+1
	return made, j.conclude(made, r)
}

func (j *Journal) lastEvent(ctx context.Context) (uint64, error) {
	last, err := j.number(ctx, `SELECT coalesce(max(seq), 0) FROM record`)
	return uint64(last), err
}

// piece returns the state by the records that are there. complete reports whether none is missing
// after the checkpoint from which it begins.
func (j *Journal) piece(ctx context.Context, known head) (r reading, complete bool, err error) {
	state, from, link, err := j.newestCheckpoint(ctx, math.MaxInt64)
	if err != nil {
		return r, false, err
	}
	newest, err := j.number(ctx, `SELECT coalesce(max(place), 0) FROM checkpoint`)
	if err != nil {
		return r, false, err
	}
	r.state, r.end = state, end{place: from, seq: state.Seq, link: link}
	complete = true
	err = j.rowsAfter(ctx, from, func(row row) error {
		rec, err := row.record()
		if err != nil {
			return err
		}
		if rec.IsEvent() && rec.Seq != r.end.seq+1 || row.place != r.end.place+1 && row.place > newest {
			complete = false
		}
		if rec.IsEvent() {
			r.end.seq, r.end.link = max(r.end.seq, rec.Seq), linkOf(row)
		}
		r.end.place = row.place
		next, err := tried(r.state, rec)
		if err != nil {
			j.log.Warn("a record of the damaged journal cannot be applied", "place", row.place, "err", err)
			complete = false
			return nil
		}
		r.state = next
		return nil
	})
	return r, complete && max(r.end.place, newest) >= known.place, err
}

// relink gives the rows hashes again that are whole and do not follow the event before them: the
// damage was in the half of the hash that links them.
func (j *Journal) relink(ctx context.Context, lost []record.Span) error {
	s := sweep{link: seed, lost: map[uint64]uint64{}}
	for _, span := range lost {
		s.lost[span.First] = span.Last
	}
	var broken []row
	err := j.rowsAfter(ctx, 0, func(r row) error {
		if _, missing := s.lost[s.seq+1]; !missing && !r.follows(s.link) {
			r.hash = r.hashed(s.link)
			broken = append(broken, r)
		}
		if r.seq != nil {
			s.seq, s.link = uint64(*r.seq), linkOf(r)
		}
		return nil
	})
	for _, r := range broken {
		if err == nil {
			_, err = j.write.Load().ExecContext(ctx, `UPDATE record SET hash = ? WHERE place = ?`, r.hash, r.place)
		}
	}
	return err
}

// missing returns the numbers of the events that are not there, up to the last one known.
func (j *Journal) missing(ctx context.Context, last uint64) (lost []record.Span, err error) {
	rows, err := j.db().QueryContext(ctx, `SELECT seq FROM record WHERE seq IS NOT NULL ORDER BY seq`)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	next := uint64(1)
	for rows.Next() {
		var seq int64
		if err := rows.Scan(&seq); err != nil {
			return nil, err
		}
		if uint64(seq) > next {
			lost = append(lost, record.Span{First: next, Last: uint64(seq) - 1})
		}
		next = uint64(seq) + 1
	}
	if next <= last {
		lost = append(lost, record.Span{First: next, Last: last})
	}
	return lost, rows.Err()
}

// conclude writes what was lost and a checkpoint of the state.
func (j *Journal) conclude(made *Rebuilt, r reading) error {
	tx, err := j.write.Load().Begin()
	if err != nil {
		return err
	}
	defer tx.Rollback() // after a commit it does nothing
	for _, span := range made.Lost {
		if _, err := tx.Exec(`INSERT INTO lost (first, last) VALUES (?, ?)`, int64(span.First), int64(span.Last)); err != nil {
			return err
		}
	}
	note, err := json.Marshal(made)
	if err != nil {
		return err
	}
	if _, err := tx.Exec(`INSERT INTO meta VALUES ('rebuilt', ?)`, string(note)); err != nil {
		return err
	}
	// Salvaged records of before hashes were stored have none.
	if _, err := tx.Exec(`UPDATE meta SET value = ? WHERE name = 'hashed'`, strconv.FormatInt(r.end.place, 10)); err != nil {
		return err
	}
	body, err := packed(r.state)
	if err != nil {
		return err
	}
	if _, err := tx.Exec(`DELETE FROM checkpoint`); err != nil {
		return err
	}
	if err := checkpoint(tx, r.state, body, r.end); err != nil {
		return err
	}
	return tx.Commit()
}

// copyRetained copies the built-in broker's retained messages, where SQLite can read them.
func copyRetained(ctx context.Context, damaged string, into *sql.DB) error {
	from, err := sql.Open("sqlite", dsn(damaged, true))
	if err != nil {
		return err
	}
	old := new(Journal)
	old.read.Store(from)
	old.write.Store(into)
	messages, err := old.Retained(ctx)
	if err = errors.Join(err, from.Close()); err != nil || len(messages) == 0 {
		return err
	}
	return old.KeepRetained(ctx, messages)
}
