package record

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"potlifed/model/can"
	"potlifed/model/guide"
	"potlifed/model/message"
	"potlifed/model/mix"
)

// The kinds of what happens to cans.
const (
	KindCanMade     Kind = "can-made"
	KindCanOpened   Kind = "can-opened"
	KindCanStirred  Kind = "can-stirred"
	KindCanEmptied  Kind = "can-emptied"
	KindPouredFrom  Kind = "poured-from"
	KindLeftWeighed Kind = "left-weighed"
)

// CanMade registers a can of ink, hardener or thinner.
type CanMade struct {
	Can      string   `json:"can" doc:"id of the can"`
	Part     mix.Part `json:"part" doc:"what it holds: ink, hardener or thinner"`
	Material string   `json:"material" doc:"id of the ink, hardener or thinner"`
	Lot      string   `json:"lot,omitempty" doc:"lot number, as printed on the can"`
	Colour   string   `json:"colour,omitempty" doc:"colour of the ink"`
	OpenedOn string   `json:"opened_on,omitempty" doc:"date of opening, YYYY-MM-DD"`
	UseBy    string   `json:"use_by,omitempty" doc:"last day of its shelf life, YYYY-MM-DD"`
}

// CanOpened records the date on which a can was opened.
type CanOpened struct {
	Can string `json:"can" doc:"id of the can"`
	On  string `json:"on" doc:"date of opening, YYYY-MM-DD"`
}

// CanStirred records that a can was stirred to the bottom.
type CanStirred struct {
	Can string `json:"can" doc:"id of the can"`
}

// CanEmptied records that a can is empty, or with Undo that it is not.
type CanEmptied struct {
	Can  string `json:"can" doc:"id of the can"`
	Undo bool   `json:"undo,omitempty" doc:"the can is not empty after all"`
}

// PouredFrom records which can a pour came from, and the state of the can at that time.
type PouredFrom struct {
	Batch          string   `json:"batch" doc:"id of the batch"`
	Can            string   `json:"can" doc:"id of the can"`
	Part           mix.Part `json:"part" doc:"ink, hardener or thinner"`
	Material       string   `json:"material" doc:"id of the ink, hardener or thinner"`
	Lot            string   `json:"lot,omitempty" doc:"lot number, as printed on the can"`
	G              float64  `json:"g" doc:"mass poured in g"`
	Assumed        bool     `json:"assumed,omitempty" doc:"nobody named the can; it was the one in use"`
	OpenedOn       string   `json:"opened_on,omitempty" doc:"date of opening, YYYY-MM-DD, when this pour is the first sign of it"`
	NeverStirred   bool     `json:"never_stirred,omitempty" doc:"the can was never stirred"`
	StoodS         *float64 `json:"stood_s,omitempty" doc:"time in s since the can was stirred or used, when that is longer than it may be"`
	ExpiredOn      string   `json:"expired_on,omitempty" doc:"last day of the can, YYYY-MM-DD, when it was past it"`
	ExpiryNotKnown bool     `json:"expiry_not_known,omitempty" doc:"the clock was not set, so nobody could tell whether the can was past its last day"`
	Override       string   `json:"override,omitempty" doc:"reason for using the can nevertheless"`
}

// LeftWeighed records how the mass left in a closed batch's cup was weighed.
type LeftWeighed struct {
	Batch  string  `json:"batch" doc:"id of the batch"`
	Scale  string  `json:"scale" doc:"id of the scale"`
	GrossG float64 `json:"gross_g" doc:"weight on the scale in g"`
	EmptyG float64 `json:"empty_g" doc:"weight of the empty cup in g"`
	LeftG  float64 `json:"left_g" doc:"mass left in g"`
}

func (CanMade) Kind() Kind     { return KindCanMade }
func (CanOpened) Kind() Kind   { return KindCanOpened }
func (CanStirred) Kind() Kind  { return KindCanStirred }
func (CanEmptied) Kind() Kind  { return KindCanEmptied }
func (PouredFrom) Kind() Kind  { return KindPouredFrom }
func (LeftWeighed) Kind() Kind { return KindLeftWeighed }

func (CanMade) About() string       { return "" }
func (CanOpened) About() string     { return "" }
func (CanStirred) About() string    { return "" }
func (CanEmptied) About() string    { return "" }
func (e PouredFrom) About() string  { return e.Batch }
func (e LeftWeighed) About() string { return e.Batch }

// keptEmptied is how many empty cans stay in the state. The journal still has the pours
// from older ones.
const keptEmptied = 200

// NextCanID returns the id of the next can that is registered without one. Numbers are not
// used twice.
func (s State) NextCanID(part mix.Part) string {
	for n := s.CanNumber + 1; ; n++ {
		id := fmt.Sprintf("%s-%d", part, n)
		if _, taken := s.Cans[id]; !taken {
			return id
		}
	}
}

// changeCan replaces a can by a copy that f has altered.
func (s *State) changeCan(id string, f func(c *can.Can)) {
	old, ok := s.Cans[id]
	if !ok {
		return
	}
	c := *old
	f(&c)
	s.Cans = maps.Clone(s.Cans)
	s.Cans[id] = &c
}

// changeCans replaces all cans by copies that f has altered.
func (s *State) changeCans(f func(c *can.Can)) {
	if len(s.Cans) == 0 {
		return
	}
	next := make(map[string]*can.Can, len(s.Cans))
	for id, old := range s.Cans {
		c := *old
		f(&c)
		next[id] = &c
	}
	s.Cans = next
}

func (e CanMade) apply(s *State, r Record) {
	s.Cans = maps.Clone(s.Cans)
	if s.Cans == nil { // no can was registered so far
		s.Cans = map[string]*can.Can{}
	}
	s.CanNumber++
	s.Cans[e.Can] = &can.Can{
		ID: e.Can, Part: e.Part, Material: e.Material, Lot: e.Lot, Colour: e.Colour,
		OpenedOn: e.OpenedOn, UseBy: e.UseBy, MadeAt: r.Stamp.At,
	}
}

func (e CanOpened) apply(s *State, _ Record) {
	s.changeCan(e.Can, func(c *can.Can) { c.OpenedOn = e.On })
}

func (e CanStirred) apply(s *State, r Record) {
	s.changeCan(e.Can, func(c *can.Can) { c.StirredAt, c.Doubt = r.Stamp.At, false })
}

func (e CanEmptied) apply(s *State, r Record) {
	s.changeCan(e.Can, func(c *can.Can) {
		c.EmptiedAt = r.Stamp.At
		if e.Undo {
			c.EmptiedAt = time.Time{}
		}
	})
	var empty []*can.Can
	for _, c := range s.Cans {
		if !c.EmptiedAt.IsZero() {
			empty = append(empty, c)
		}
	}
	slices.SortFunc(empty, func(a, b *can.Can) int {
		return cmp.Or(a.EmptiedAt.Compare(b.EmptiedAt), cmp.Compare(a.ID, b.ID))
	})
	for i := range len(empty) - keptEmptied {
		delete(s.Cans, empty[i].ID) // changeCan has made the map this state's own
	}
}

func (e PouredFrom) apply(s *State, r Record) {
	s.changeCan(e.Can, func(c *can.Can) {
		// Pouring from a can does not stir it: a can that was never stirred, or whose last
		// stirring is in doubt, stays so.
		c.UsedAt = r.Stamp.At
		if c.OpenedOn == "" {
			c.OpenedOn = e.OpenedOn
		}
	})
	s.change(e.Batch, func(b *Batch) {
		b.Draws = append(slices.DeleteFunc(slices.Clone(b.Draws), func(d PouredFrom) bool { return d.Can == e.Can && d.Note().Key == "" }), e)
		s.knowLot(b)
	})
}

func (LeftWeighed) apply(*State, Record) {}

// Note returns a note for the batch when the can should not have been used as it was; its key is
// empty otherwise. Its values are can, part and lot, and why: the reason for using it nevertheless.
// Lot and why may be empty.
func (e PouredFrom) Note() message.Message {
	note := func(key string, values ...any) message.Message {
		return message.New(key, append(values, "part", e.Part, "can", e.Can, "lot", e.Lot, "why", e.Override)...)
	}
	switch {
	case e.ExpiredOn != "":
		return note("expired", "last_on", e.ExpiredOn)
	case e.ExpiryNotKnown:
		return note("expiry-not-known")
	case e.NeverStirred:
		return note("never-stirred")
	case e.StoodS != nil:
		return note("had-stood", "n", int(math.Round(*e.StoodS/86400)))
	}
	return message.Message{}
}

// Components returns what is in the cup by part and can, in g. The masses of a part add up
// to [Batch.Amounts].
func (b *Batch) Components() []mix.Component {
	share := 1 - b.GivenAway
	unnamed := b.Added
	list := []mix.Component{}
	add := func(part mix.Part, can string, g float64) {
		if g <= 0 {
			return
		}
		for i := range list {
			if list[i].Part == part && list[i].Can == can {
				list[i].G += g
				return
			}
		}
		list = append(list, mix.Component{Part: part, Can: can, G: g})
	}
	for _, d := range b.Mix.Drawn() {
		add(d.Part, b.canOf(d), share*d.G)
	}
	for _, c := range b.AddedFrom {
		add(c.Part, c.Can, c.G)
		unnamed = unnamed.Plus(c.Part, -c.G)
	}
	for _, part := range []mix.Part{mix.Ink, mix.Hardener, mix.Thinner} {
		add(part, b.Cans[part], unnamed.Of(part))
	}
	slices.SortStableFunc(list, func(x, y mix.Component) int { return order[x.Part] - order[y.Part] })
	return list
}

var order = map[mix.Part]int{mix.Ink: 0, mix.Hardener: 1, mix.Thinner: 2}

// canOf returns the can that a pour came from, empty when it is not known. Batches of
// older journals have one can for each part.
func (b *Batch) canOf(d guide.Drawn) string {
	if d.Can == "" {
		return b.Cans[d.Part]
	}
	return d.Can
}

// Lots returns the cans whose content is in the cup, with the lots of those that are
// registered, and notes about those that should not have been used as they were.
func (b *Batch) Lots() (lots []can.Lot, notes []message.Message) {
	for _, c := range b.Components() {
		if c.Can == "" {
			continue
		}
		v := can.Lot{Part: c.Part, Can: c.Can}
		for _, d := range b.Draws {
			if d.Can == c.Can {
				v.Material, v.Lot, v.Assumed = d.Material, d.Lot, d.Assumed
				if note := d.Note(); note.Key != "" && !slices.ContainsFunc(notes, note.Equal) {
					notes = append(notes, note)
				}
			}
		}
		lots = append(lots, v)
	}
	return lots, notes
}
