// Package trace answers questions about all batches that ever were, from the journal: what a
// batch was made of, where it was loaded and what it printed; which batches a can or a lot is
// in; and what was thrown away.
package trace

import (
	"context"
	"encoding/json"
	"errors"
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
