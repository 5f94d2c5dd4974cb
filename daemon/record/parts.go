package record

import (
	"maps"
	"slices"
	"strings"
	"time"

	"potlifed/model/cure"
	"potlifed/model/lifecycle"
	"potlifed/model/mix"
)

// The kinds of changes to a finished mix.
const (
	KindMoved    Kind = "moved"
	KindSplit    Kind = "split"
	KindToppedUp Kind = "topped-up"
	KindThinned  Kind = "thinned"
	KindTested   Kind = "tested"
)

// Moved puts a batch into a zone, off its press.
type Moved struct {
	Batch string     `json:"batch" doc:"id of the batch"`
	Press string     `json:"press,omitempty" doc:"id of the press that it was on"`
	Zone  string     `json:"zone" doc:"id of the zone that it is in now"`
	Place cure.Place `json:"place" doc:"how the cup is placed"`
}

// Split pours a part of a batch into another cup. The part has spent as much of its pot
// life as the batch.
type Split struct {
	Batch string     `json:"batch" doc:"id of the new part"`
	From  string     `json:"from" doc:"id of the batch that it comes from"`
	G     float64    `json:"g" doc:"mass of the part in g"`
	Press string     `json:"press,omitempty" doc:"id of the press that the part was loaded on"`
	Zone  string     `json:"zone" doc:"id of the zone that the part is in"`
	Place cure.Place `json:"place" doc:"how the part's cup is placed"`
}

// ToppedUp pours one batch into another. The whole has the pot life of the older one.
type ToppedUp struct {
	Batch string  `json:"batch" doc:"id of the batch that was filled up"`
	From  string  `json:"from" doc:"id of the batch that was poured in"`
	Ink   string  `json:"ink" doc:"id of the ink"`
	G     float64 `json:"g" doc:"mass poured in, in g"`
	Older bool    `json:"older" doc:"the batch poured in had more of its pot life spent, so its life counts for the whole"`
}

// Thinned adds thinner to a batch in use. It does not extend the pot life.
type Thinned struct {
	Batch    string  `json:"batch" doc:"id of the batch"`
	G        float64 `json:"g" doc:"mass of thinner in g"`
	Override string  `json:"override,omitempty" doc:"reason for exceeding the ink's range"`
	Can      string  `json:"can,omitempty" doc:"id of the can that it came from"`
}

// Tested records a test of prints that were made with a batch.
type Tested struct {
	Batch  string `json:"batch" doc:"id of the batch"`
	Test   string `json:"test" doc:"kind of test: adhesion, rub or other"`
	Result string `json:"result" doc:"pass or fail"`
	// PrintedAt, Spent and AgeH are absent where nobody said when the print was made.
	PrintedAt time.Time `json:"printed_at,omitzero" doc:"when the tested print was made; absent when nobody said"`
	Spent     float64   `json:"spent,omitempty" doc:"share of the pot life that was used up when the print was made"`
	AgeH      float64   `json:"age_h,omitempty" doc:"age in h at which as much is used up at 20 °C and 50 % relative humidity"`
	Corrects  uint64    `json:"corrects,omitempty" doc:"number of the event of an earlier test that was wrong and does not count any more"`
}

func (Moved) Kind() Kind    { return KindMoved }
func (Split) Kind() Kind    { return KindSplit }
func (ToppedUp) Kind() Kind { return KindToppedUp }
func (Thinned) Kind() Kind  { return KindThinned }
func (Tested) Kind() Kind   { return KindTested }

func (e Moved) About() string    { return e.Batch }
func (e Split) About() string    { return e.From }
func (e ToppedUp) About() string { return e.Batch }
func (e Thinned) About() string  { return e.Batch }
func (e Tested) About() string   { return e.Batch }

// Test is a test that was logged with a batch.
type Test struct {
	At     time.Time `json:"at" doc:"when the test was made"`
	Kind   string    `json:"kind" doc:"kind of test: adhesion, rub or other"`
	Result string    `json:"result" doc:"pass or fail"`
	// Seq is 0 for a test of an older version.
	Seq       uint64    `json:"seq,omitempty" doc:"number of the event"`
	PrintedAt time.Time `json:"printed_at,omitzero" doc:"when the tested print was made; absent when nobody said"`
	Spent     float64   `json:"spent,omitempty" doc:"share of the pot life that was used up when the print was made"`
}

// TestFailed reports whether the last test of a print of the batch that counts failed. Its prints are then not
// to be trusted, whatever the cause is, until one passes.
func (b *Batch) TestFailed() bool {
	return len(b.Tests) > 0 && b.Tests[len(b.Tests)-1].Result == "fail"
}

// Amounts returns what is in the cup by what was weighed: the share of the mix that was not
// split off, and what was added since.
func (b *Batch) Amounts() mix.Amounts {
	a, share := b.Mix.Poured(), 1-b.GivenAway
	return mix.Amounts{
		InkG:      share*a.InkG + b.Added.InkG,
		HardenerG: share*a.HardenerG + b.Added.HardenerG,
		ThinnerG:  share*a.ThinnerG + b.Added.ThinnerG,
	}
}

// DivisionG returns the division in g of the scale that the batch's masses are known by, 0
// for a mix that was recorded by hand.
func (b *Batch) DivisionG() float64 {
	if b.Mix.ByHand {
		return 0
	}
	return b.Mix.Recipe.DivisionG
}

// Family returns the id that a mix and all its parts have in common.
func (b *Batch) Family() string { return familyOf(b.ID) }

// familyOf returns a batch's id without the letter of a part.
func familyOf(id string) string {
	return strings.TrimRight(id, "abcdefghijklmnopqrstuvwxyz")
}

// NextPart returns the id of the next part of a batch; empty when all letters are used.
func (s State) NextPart(of string) string {
	family := familyOf(of)
	for letter := 'b'; letter <= 'z'; letter++ {
		id := family + string(letter)
		if _, known := s.Find(id); !known {
			return id
		}
	}
	return ""
}

func (e Moved) apply(s *State, _ Record) {
	if e.Press != "" {
		s.setPress(e.Press, Press{})
	}
	s.change(e.Batch, func(b *Batch) {
		b.Used = b.Used || b.Press != ""
		b.Press, b.Zone, b.Basis.Place = "", e.Zone, e.Place
	})
}

func (e Split) apply(s *State, r Record) {
	from, ok := s.Batches[e.From]
	if !ok {
		return
	}
	part := *from
	part.ID, part.StartedAt, part.Press, part.Zone, part.Basis.Place = e.Batch, r.Stamp.At, "", e.Zone, e.Place
	part.For, part.Scale, part.Trend = "", "", nil
	part.Prints, part.Defects = 0, nil
	total := from.Amounts().TotalG()
	f := 0.0
	if total > 0 {
		f = min(e.G/total, 1)
	}
	part.GivenAway = 1 - f*(1-from.GivenAway)
	part.Added, part.AddedFrom = scaled(from.Added, f), scaledFrom(from.AddedFrom, f)
	part.Solvent = share(from.Solvent, f)
	s.change(e.From, func(b *Batch) {
		b.GivenAway = 1 - (1-f)*(1-b.GivenAway)
		b.Added, b.AddedFrom = scaled(b.Added, 1-f), scaledFrom(b.AddedFrom, 1-f)
		b.Solvent = share(b.Solvent, 1-f)
	})
	s.Batches = maps.Clone(s.Batches)
	s.Batches[part.ID] = &part
	if e.Press != "" {
		Loaded{Batch: part.ID, Press: e.Press, Zone: e.Zone, Place: e.Place}.apply(s, r)
	}
}

func scaled(a mix.Amounts, f float64) mix.Amounts {
	return mix.Amounts{InkG: f * a.InkG, HardenerG: f * a.HardenerG, ThinnerG: f * a.ThinnerG}
}

func scaledFrom(list []mix.Component, f float64) []mix.Component {
	list = slices.Clone(list)
	for i := range list {
		list[i].G *= f
	}
	return list
}

func (e ToppedUp) apply(s *State, r Record) {
	from, ok := s.Batches[e.From]
	if !ok {
		return
	}
	in := from.Amounts()
	s.change(e.Batch, func(b *Batch) {
		b.Added = mix.Amounts{
			InkG: b.Added.InkG + in.InkG, HardenerG: b.Added.HardenerG + in.HardenerG, ThinnerG: b.Added.ThinnerG + in.ThinnerG,
		}
		for _, c := range from.Components() {
			if c.Can != "" {
				b.AddedFrom = append(slices.Clip(b.AddedFrom), c)
			}
		}
		b.Draws = slices.Concat(b.Draws, from.Draws)
		b.Solvent = joined(b.Solvent, from.Solvent)
		if e.Older {
			b.Ensemble, b.WithoutLots, b.MixedAt, b.GoodAt = from.Ensemble, from.WithoutLots, from.MixedAt, from.GoodAt
			b.AtLeast, b.Countable, b.Unseen = from.AtLeast, from.Countable, from.Unseen
		}
		if b.Ensemble != nil { // the whole has another viscosity than either
			b.Ensemble = b.Ensemble.Clone()
			b.Ensemble.PouredIn()
		}
		b.PartWentOff, b.YoungerThanDead = b.PartWentOff || from.PartWentOff, b.YoungerThanDead || from.YoungerThanDead
	})
	Closed{Batch: e.From, Ink: e.Ink, Press: from.Press, Outcome: lifecycle.UsedUp, StillGood: lifecycle.GoodUnknown, Seen: lifecycle.SeenEarlier}.apply(s, r)
}

func (e Thinned) apply(s *State, _ Record) {
	s.change(e.Batch, func(b *Batch) {
		b.Added.ThinnerG += e.G
		if e.Can != "" {
			b.AddedFrom = append(slices.Clip(b.AddedFrom), mix.Component{Part: mix.Thinner, Can: e.Can, G: e.G})
		}
		if b.Solvent != nil {
			c := b.Solvent.Thinned(e.G)
			b.Solvent = &c
		}
	})
}

func (e Tested) apply(s *State, r Record) {
	ink := ""
	s.changeKnown(e.Batch, func(b *Batch) {
		ink = b.Ink
		b.Tests = slices.DeleteFunc(slices.Clone(b.Tests), func(t Test) bool { return e.Corrects != 0 && t.Seq == e.Corrects })
		b.Tests = append(b.Tests, Test{At: r.Stamp.At, Kind: e.Test, Result: e.Result, Seq: r.Seq, PrintedAt: e.PrintedAt, Spent: e.Spent})
	})
	if ink != "" {
		s.learnAdhesion(ink, e, r.Seq)
	}
}

// markParts marks the other open parts of a mix when one part went off. Parts that have
// spent as much of their pot life must not be used any more; younger parts must be checked.
func (s *State) markParts(dead Batch) {
	if dead.Ensemble == nil {
		return
	}
	s.changeAll(func(b *Batch) bool {
		if b.ID == dead.ID || b.Family() != dead.Family() || b.Ensemble == nil {
			return false
		}
		b.PartWentOff = b.PartWentOff || b.Ensemble.Spent() >= dead.Ensemble.Spent()
		b.YoungerThanDead = !b.PartWentOff
		return true
	})
}
