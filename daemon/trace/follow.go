package trace

import (
	"context"
	"errors"
	"maps"
	"math"
	"slices"
	"time"

	"potlifed/daemon/record"
	"potlifed/model/lifecycle"
	"potlifed/model/mix"
)

// most is how many batches are replayed at most for one batch.
const most = 60

// life is the history of one batch.
type life struct {
	own   []record.Record          // its events
	all   map[uint64]record.Record // those, of what was poured into it, and of the clock, by number
	zones map[string]bool          // where it and what was poured into it stood
	is    *record.Batch
	given []mix.Component // what was split off
	stays []Stay
	// defects are the rejects by kind of defect.
	defects map[string]int64
}

// follow reads the events of a batch, and of those that were poured into it, and applies them as
// when they happened. It leaves the air out.
func follow(ctx context.Context, j Journal, id string, seq uint64) (life, error) {
	own, err := begun(ctx, j, id, seq)
	if err != nil {
		return life{}, err
	}
	all := map[uint64]record.Record{}
	if err := gather(ctx, j, own, id, all, map[string]bool{id: true}); err != nil {
		return life{}, err
	}
	first, until := slices.Min(slices.Collect(maps.Keys(all))), own[len(own)-1].Seq
	if !ends(own, id) {
		until = math.MaxUint64 // it is open: the clock may still move it
	}
	moved, err := j.Clock(ctx, first, until)
	if err != nil {
		return life{}, err
	}
	for _, r := range moved {
		all[r.Seq] = r
	}
	l := life{own: own, all: all, zones: map[string]bool{}}
	l.replay(id)
	if l.is == nil {
		return l, ErrUnknown
	}
	return l, nil
}

// begun returns the events of the batch of an id that began at or before the given number, up to
// the beginning of the next batch of that id.
func begun(ctx context.Context, j Journal, id string, seq uint64) ([]record.Record, error) {
	about, err := j.About(ctx, id)
	if err != nil {
		return nil, err
	}
	first, end := -1, len(about)
	for i, r := range about {
		if !begins(r.Body, id) {
			continue
		}
		if r.Seq > seq {
			end = i
			break
		}
		first = i
	}
	if first < 0 {
		return nil, ErrUnknown
	}
	return about[first:end], nil
}

func begins(b record.Body, id string) bool {
	switch e := b.(type) {
	case record.MixStarted:
		return e.Batch == id
	case record.Recorded:
		return e.Batch == id
	case record.Split:
		return e.Batch == id
	}
	return false
}

// ends reports whether a batch's events end it. Events that were undone do not count.
func ends(own []record.Record, id string) bool {
	taken := map[uint64]bool{}
	for _, r := range own {
		if e, ok := r.Body.(record.Undone); ok {
			taken[e.Undoes] = true
		}
	}
	return slices.ContainsFunc(own, func(r record.Record) bool {
		if taken[r.Seq] {
			return false
		}
		switch e := r.Body.(type) {
		case record.Closed, record.Abandoned:
			return true
		case record.ToppedUp:
			return e.From == id
		}
		return false
	})
}

// gather adds the events of a batch, and of those that were poured into it.
func gather(ctx context.Context, j Journal, own []record.Record, id string, all map[uint64]record.Record, seen map[string]bool) error {
	for _, r := range own {
		all[r.Seq] = r
		from := ""
		switch e := r.Body.(type) {
		case record.Split:
			from = e.From
		case record.ToppedUp:
			from = e.From
		}
		if from == "" || from == id || seen[from] || len(seen) >= most {
			continue
		}
		seen[from] = true
		more, err := begun(ctx, j, from, r.Seq)
		if errors.Is(err, ErrUnknown) {
			continue
		}
		if err == nil {
			err = gather(ctx, j, more, from, all, seen)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// replay applies events in their order and records where the batch was loaded.
func (l *life) replay(id string) {
	state, undone := record.NewState(""), l.undone()
	for _, seq := range slices.Sorted(maps.Keys(l.all)) {
		r := l.all[seq]
		if l.isAnother(r, id) {
			continue
		}
		before := l.is
		state = record.Apply(state, paired(state, r))
		for _, b := range state.Batches {
			l.zones[b.Zone] = true
		}
		b, ok := state.Find(id)
		if !ok {
			continue
		}
		l.is = b
		if before != nil && before.Phase != lifecycle.Closed {
			l.shift(b.StartedAt.Sub(before.StartedAt))
		}
		if e, ok := r.Body.(record.Split); ok && e.From == id && !undone[seq] && before != nil {
			l.given = added(l.given, added(before.Components(), b.Components(), -1), 1)
		}
		l.stand(r)
	}
}

// undone returns the numbers of the events that were undone.
func (l *life) undone() map[uint64]bool {
	undone := map[uint64]bool{}
	for _, r := range l.all {
		if e, ok := r.Body.(record.Undone); ok {
			undone[e.Undoes] = true
		}
	}
	return undone
}

// isAnother reports whether an event begins another batch of the same id, a year earlier.
func (l *life) isAnother(r record.Record, id string) bool {
	return r.Seq < l.own[0].Seq && begins(r.Body, id)
}

// paired returns an undo as it affects this batch alone. A change of two batches at once, one
// off the press and another onto it, is undone by the number of the second event.
func paired(s record.State, r record.Record) record.Record {
	e, ok := r.Body.(record.Undone)
	if !ok {
		return r
	}
	if _, known := s.Undoable(e.Undoes); known {
		return r
	}
	if first, ok := s.Undoable(e.Undoes - 1); ok && first.Kind == record.KindUnloaded && (e.Of == record.KindLoaded || e.Of == record.KindSplit) {
		e.Undoes--
	}
	r.Body = e
	return r
}

// shift moves the stays when the clock is moved.
func (l *life) shift(d time.Duration) {
	for i := range l.stays {
		s := &l.stays[i]
		s.From = s.From.Add(d)
		if s.To != nil {
			to := s.To.Add(d)
			s.To = &to
		}
	}
}

func (l *life) stand(r record.Record) {
	press := l.is.Press
	if l.is.Phase == lifecycle.Closed {
		press = ""
	}
	n := len(l.stays)
	stands := n > 0 && l.stays[n-1].To == nil
	if stands && l.stays[n-1].Press != press {
		at := r.Stamp.At
		l.stays[n-1].To = &at
		stands = false
	}
	if press != "" && !stands {
		l.stays = append(l.stays, Stay{Press: press, From: r.Stamp.At})
	}
	if e, rejected := r.Body.(record.Defects); rejected && e.Batch == l.is.ID {
		if l.defects == nil {
			l.defects = map[string]int64{}
		}
		l.defects[e.Defect] += e.Add
	}
	e, printed := r.Body.(record.Printed)
	if !printed || e.Batch != l.is.ID {
		return
	}
	for i := range slices.Backward(l.stays) {
		if l.stays[i].Press == e.Press {
			l.stays[i].Prints += e.Add
			return
		}
	}
}
