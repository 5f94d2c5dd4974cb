package journal

import (
	"context"
	"fmt"
	"time"
)

const (
	// Rows in one portion: with five times as many, a sweep took a third of a percent of a core as long
	// as it lasted, and each portion a processor for seven milliseconds (amd64).
	sweepRows  = 100
	sweepEvery = 2 * time.Second // between two portions: a year of records takes five hours
	sweepRest  = 20 * time.Hour  // between two sweeps
)

// Sweep reads all records slowly, again and again, until ctx is done: what is old is read by
// nobody else, and a damage is to be found while what it needs is still known. It returns an
// [ErrDamaged] when something is not as it was written. The service then stops in good order,
// with a checkpoint, and opening the journal rebuilds it.
func (j *Journal) Sweep(ctx context.Context) error {
	timer := time.NewTimer(sweepEvery)
	defer timer.Stop()
	var s sweep
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-timer.C:
		}
		wait := sweepEvery
		if j.write.Load() != nil { // of a disk that takes nothing there is nothing to rebuild
			more, err := s.portion(ctx, j)
			switch {
			case ctx.Err() != nil:
				return nil
			case isDamage(err):
				j.log.Error("a part of the journal is not as it was written; the service starts again to rebuild it", "err", err)
				return j.condemn(err)
			case err != nil:
				j.log.Warn("the journal is not looked through at present", "err", err)
			case !more:
				wait, s = sweepRest, sweep{}
			}
		}
		timer.Reset(wait)
	}
}

// sweep is one walk over all records.
type sweep struct {
	place  int64
	seq    uint64
	link   []byte
	hashed int64
	lost   map[uint64]uint64
}

// sweepAll makes a whole sweep at once.
func (j *Journal) sweepAll(ctx context.Context) error {
	var s sweep
	for {
		more, err := s.portion(ctx, j)
		if err != nil || !more {
			return err
		}
	}
}

// portion looks at the next rows; more reports whether there are more. After the last row it looks
// at the file as a whole, indexes included.
func (s *sweep) portion(ctx context.Context, j *Journal) (more bool, err error) {
	if s.place == 0 {
		s.link = seed
		if s.hashed, err = j.number(ctx, `SELECT value FROM meta WHERE name = 'hashed'`); err != nil {
			return false, err
		}
		if s.lost, err = j.lost(ctx); err != nil {
			return false, err
		}
	}
	n, last, err := j.some(ctx, s.place, sweepRows, s.look)
	if err != nil {
		return false, err
	}
	if n == sweepRows {
		s.place = last
		return true, nil
	}
	return false, j.quickCheck(ctx)
}

// look checks a row by itself and with the event before it.
func (s *sweep) look(r row) error {
	what := fmt.Sprintf("record %d", r.place)
	// What has the hash that it was written with needs no reading: that costs four times as much.
	if r.hash == nil && (r.place >= s.hashed || !usable(r)) || !r.whole() || r.place <= 0 {
		return &damagedError{what + " is not as it was written"}
	}
	last, missing := s.lost[s.seq+1]
	if r.seq != nil && uint64(*r.seq) != s.seq+1 && (!missing || uint64(*r.seq) != last+1) {
		return &damagedError{fmt.Sprintf("event %d follows event %d", *r.seq, s.seq)}
	}
	if !missing && !r.follows(s.link) {
		return &damagedError{what + " does not follow the event before it"}
	}
	if r.seq != nil {
		s.seq, s.link = uint64(*r.seq), linkOf(r)
	}
	return nil
}

// quickCheck has SQLite look at its pages.
func (j *Journal) quickCheck(ctx context.Context) error {
	var said string
	if err := j.db().QueryRowContext(ctx, `PRAGMA integrity_check(1)`).Scan(&said); err != nil {
		return err
	}
	if said != "ok" {
		return &damagedError{said}
	}
	return nil
}
