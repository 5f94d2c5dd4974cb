// Package trace answers questions about all batches that ever were, from the journal: what a
// batch was made of, where it was loaded and what it printed; which batches a can or a lot is
// in; and what was thrown away.
package trace

import (
	"context"
	"encoding/json"
	"errors"
	"maps"
	"math"
	"slices"
	"time"

	"potlifed/daemon/precision"
	"potlifed/daemon/record"
	"potlifed/daemon/view"
	"potlifed/daemon/words"
	"potlifed/model/can"
	"potlifed/model/lifecycle"
	"potlifed/model/mix"
)

// Journal reads the journal. Its lists are of events, oldest first unless said otherwise. The
// errors are those of reading.
type Journal interface {
	// About returns the events of a batch's id, and the splits and top-ups that it was poured
	// from. Ids are used again after a year, so the events may be of several batches.
	About(ctx context.Context, batch string) ([]record.Record, error)
	// Clock returns the events that moved bench time, with numbers from first to last.
	Clock(ctx context.Context, first, last uint64) ([]record.Record, error)
	// PouredFromCan and PouredFromLot return pours before the event of the given number, newest
	// first.
	PouredFromCan(ctx context.Context, can string, before uint64, limit int) ([]record.Record, error)
	PouredFromLot(ctx context.Context, lot string, before uint64, limit int) ([]record.Record, error)
	// Over returns the ends of batches in a span, closed or abandoned.
	Over(ctx context.Context, from, to time.Time, limit int) ([]record.Record, error)
	// Ended returns the events by which batches ended in a span, before the event of the given
	// number, newest first.
	Ended(ctx context.Context, from, to time.Time, before uint64, limit int) ([]record.Record, error)
	// Replay calls each for events and, among them, the closed steps of zones' air since a
	// moment and what moved bench time, in the order in which they were recorded.
	Replay(ctx context.Context, events []uint64, zones []string, since time.Time, each func(record.Record) error) error
}

// ErrUnknown means that the journal has no such batch.
var ErrUnknown = errors.New("the journal knows no such batch")

// Past is a batch as recorded in the journal. What has not happened is absent.
type Past struct {
	ID        string              `json:"id" doc:"id of the batch"`
	Seq       uint64              `json:"seq" doc:"number of the batch's first event; an id is used again after a year"`
	Via       string              `json:"via,omitempty" doc:"id of the batch that brought the lot in, by a split or a top-up"`
	Ink       string              `json:"ink" doc:"id of the ink"`
	Cup       string              `json:"cup,omitempty" doc:"id of the kind of cup"`
	Colour    string              `json:"colour_class,omitempty" doc:"colour class"`
	Artwork   string              `json:"artwork,omitempty" doc:"kind of artwork"`
	State     lifecycle.Phase     `json:"state" doc:"phase of the batch: mixing, resting, open or closed"`
	StartedAt time.Time           `json:"started_at" doc:"when the mix or the record began"`
	MixedAt   *time.Time          `json:"mixed_at,omitempty" doc:"when hardener first touched ink"`
	GoodAt    *time.Time          `json:"good_at,omitempty" doc:"when somebody last looked at the batch and found it good"`
	ClosedAt  *time.Time          `json:"closed_at,omitempty" doc:"when the batch was closed"`
	Outcome   lifecycle.Outcome   `json:"outcome,omitempty" doc:"how the batch ended: used-up, discarded, went-off or not-known"`
	StillGood lifecycle.StillGood `json:"still_good,omitempty" doc:"whether it was still good at the end: yes, no or unknown"`
	LeftG     *float64            `json:"left_g,omitempty" doc:"mass left in the cup at the end, in g"`
	TargetsG  view.Targets        `json:"targets_g" doc:"what was meant to be in the cup: hardener and thinner follow the ink that was really poured"`
	Ratio     *view.Ratio         `json:"ratio,omitempty" doc:"how the mixing ratio came out; absent until ink and hardener are in"`
	Parts     []mix.Component     `json:"components" doc:"what is in the cup, or was at the end, by part and can; what evaporated counts as there"`
	Lots      []can.Lot           `json:"lots" doc:"the cans that are in the batch"`
	Warnings  []string            `json:"warnings" doc:"what was wrong with the mix, in sentences"`
	Presses   []Stay              `json:"presses" doc:"times on presses, in order"`
	Prints    uint64              `json:"prints" doc:"prints made with the batch"`
	Defects   map[string]int64    `json:"defects,omitempty" doc:"rejects among them, by kind of defect; absent when none were reported"`
	Tests     []record.Test       `json:"tests" doc:"tests of what was printed with it"`
	Trend     *record.Trend       `json:"trend,omitempty" doc:"what an instrument that follows the batch has said, such as a torque; absent without one. Experimental"`
	FlowTimes []record.Flow       `json:"flow_times,omitempty" doc:"flow times that count, oldest first; absent when none was measured"`
}

// Stay is a time for which a batch was on a press.
type Stay struct {
	Press  string     `json:"press" doc:"id of the press"`
	From   time.Time  `json:"from" doc:"when the batch was loaded"`
	To     *time.Time `json:"to,omitempty" doc:"when it was unloaded; absent while it is loaded"`
	Prints uint64     `json:"prints" doc:"prints made in this time"`
}

// History is a batch with its events.
type History struct {
	Past
	Poured []mix.Component   `json:"poured" doc:"what was poured into the cup, by part and can: components, and what was split off again"`
	Events []json.RawMessage `json:"events" doc:"the batch's events, oldest first, without prints, rejects and changes on the scale's pan"`
}

// mostEvents is the largest number of events in a history.
const mostEvents = 500

// Of returns the newest batch of an id that began at or before the event of the given number; 0
// means the newest of all. Warnings are written in the given language. The error is ErrUnknown or that of the
// journal.
func Of(ctx context.Context, j Journal, id string, seq uint64, from view.Source, in words.Locale) (History, error) {
	if seq == 0 {
		seq = math.MaxUint64
	}
	l, err := follow(ctx, j, id, seq)
	if err != nil {
		return History{}, err
	}
	h := History{Past: l.batch(in), Poured: l.poured(), Events: []json.RawMessage{}}
	for _, r := range l.own[max(0, len(l.own)-mostEvents):] {
		switch r.Body.(type) {
		case record.Printed, record.Defects, record.PanChanged:
			continue
		}
		body, err := json.Marshal(r.Body)
		if err != nil {
			return h, err
		}
		e, err := view.WireEvent(from, r.Seq, r.Stamp.At, string(r.Body.Kind()), r.By, body)
		if err != nil {
			return h, err
		}
		h.Events = append(h.Events, e.JSON)
	}
	return h, nil
}

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

// most is how many batches are replayed at most for one batch.
const most = 60

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

// added returns a list of components with those of another list added times a factor.
func added(list, more []mix.Component, factor float64) []mix.Component {
	list = slices.Clone(list)
	for _, c := range more {
		c.G *= factor
		i := slices.IndexFunc(list, func(known mix.Component) bool { return known.Part == c.Part && known.Can == c.Can })
		if i < 0 {
			list = append(list, c)
		} else {
			list[i].G += c.G
		}
	}
	return list
}

// poured returns what was poured into the batch's cup, with masses as they are published.
func (l *life) poured() []mix.Component {
	list := added(l.is.Components(), l.given, 1)
	for i := range list {
		list[i].G = precision.Grams(list[i].G, l.is.DivisionG())
	}
	return list
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

// batch returns the batch with warnings in the given language.
func (l *life) batch(in words.Locale) Past {
	b := l.is
	lots, notes := b.Lots()
	g := func(x float64) float64 { return precision.Grams(x, b.DivisionG()) }
	v := Past{
		ID: b.ID, Seq: l.own[0].Seq, Ink: b.Ink, Cup: b.Cup, Colour: b.Colour, Artwork: b.Art, State: b.Phase, StartedAt: b.StartedAt,
		MixedAt: some(b.MixedAt), GoodAt: some(b.GoodAt), ClosedAt: some(b.ClosedAt), Outcome: b.Outcome, StillGood: b.StillGood, LeftG: precision.Known(b.LeftG, g),
		Parts: b.Components(), Lots: append([]can.Lot{}, lots...), Warnings: append(in.Warnings(b.Mix.Warnings()), in.CanNotes(notes)...),
		Presses: append([]Stay{}, l.stays...), Tests: append([]record.Test{}, b.Tests...), FlowTimes: b.Flows, Trend: b.Trend,
	}
	v.TargetsG, v.Ratio = view.MixOf(b.Mix, b.DivisionG())
	for i := range v.Parts {
		v.Parts[i].G = g(v.Parts[i].G)
	}
	for _, s := range l.stays {
		v.Prints += s.Prints
	}
	for kind, n := range l.defects {
		if n == 0 { // reported, and corrected since
			continue
		}
		if v.Defects == nil {
			v.Defects = map[string]int64{}
		}
		v.Defects[kind] = n
	}
	return v
}

func some(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	return &t
}
