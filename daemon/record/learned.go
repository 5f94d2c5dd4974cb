package record

import (
	"maps"
	"slices"
	"time"

	"potlifed/daemon/actor"
	"potlifed/model/cure"
	"potlifed/model/learn"
	"potlifed/model/mix"
)

// The kinds about an ink's learned parameters.
const (
	KindLearnedAccepted Kind = "learned-accepted"
	KindLearnedRevoked  Kind = "learned-revoked"
)

// LearnedAccepted records that a person accepted an ink's learned parameters. They are used
// for batches mixed from then on.
type LearnedAccepted struct {
	Ink     string   `json:"ink" doc:"id of the ink"`
	Sheet   cure.Ink `json:"sheet" doc:"parameters by the data sheet"`
	Life    cure.Ink `json:"life" doc:"parameters that new batches use"`
	Verdict string   `json:"verdict" doc:"what the batches showed, in sentences"`
	Ends    int      `json:"ends" doc:"number of batches whose end was seen"`
	Alive   int      `json:"alive" doc:"number of batches that were used up while still good"`
	Assumed []string `json:"assumed,omitempty" doc:"the parameters that are still assumed"`
	// Lots moves the bands of batches whose lots it knows, of open ones too.
	Lots learn.Lots `json:"lots,omitzero" doc:"what the batches showed of the lots of ink and hardener; absent where nothing"`
}

// LearnedRevoked returns to the ink's data sheet for batches mixed from then on.
type LearnedRevoked struct {
	Ink string `json:"ink" doc:"id of the ink"`
}

// Learned holds the accepted parameters of an ink.
type Learned struct {
	At      time.Time  `json:"at"`
	By      actor.Name `json:"by"`
	Sheet   cure.Ink   `json:"sheet"`
	Life    cure.Ink   `json:"life"`
	Verdict string     `json:"verdict"`
	Assumed []string   `json:"assumed,omitempty"`
	Lots    learn.Lots `json:"lots,omitzero"`
}

func (LearnedAccepted) Kind() Kind { return KindLearnedAccepted }
func (LearnedRevoked) Kind() Kind  { return KindLearnedRevoked }

func (LearnedAccepted) About() string { return "" }
func (LearnedRevoked) About() string  { return "" }

func (e LearnedAccepted) apply(s *State, r Record) {
	s.Learned = maps.Clone(s.Learned)
	if s.Learned == nil { // a checkpoint of a version without learned inks
		s.Learned = map[string]Learned{}
	}
	s.Learned[e.Ink] = Learned{At: r.Stamp.At, By: r.By, Sheet: e.Sheet, Life: e.Life, Verdict: e.Verdict, Assumed: e.Assumed, Lots: e.Lots}
	s.knowLots(e.Ink)
}

func (e LearnedRevoked) apply(s *State, _ Record) {
	s.Learned = maps.Clone(s.Learned)
	delete(s.Learned, e.Ink)
	s.knowLots(e.Ink)
}

// knowLots brings all open batches of an ink to what is known of their lots.
func (s *State) knowLots(ink string) {
	for _, id := range slices.Sorted(maps.Keys(s.Batches)) {
		if s.Batches[id].Ink == ink {
			s.change(id, s.knowLot)
		}
	}
}

// knowLot brings a batch to what is known of its lots. A batch that began with the parameters that are
// in effect has the life and the scatter of its lots; one that began with others has their effect on its
// own life. No lot makes a life longer than both the data sheet and the ink's own say.
func (s *State) knowLot(b *Batch) {
	if b.Ensemble == nil {
		return
	}
	own := b.WithoutLots
	if own == (cure.Ink{}) {
		own = b.Ensemble.Ink()
	}
	life := own
	if l, ok := s.Learned[b.Ink]; ok {
		ink, hardener := b.LotNames()
		if of := l.Lots.Of(l.Life, ink, hardener); l.Life == own {
			life = of
		} else {
			life.LRefH *= of.LRefH / l.Life.LRefH
		}
		life.LRefH = min(life.LRefH, max(l.Sheet.LRefH, own.LRefH))
	}
	if life == b.Ensemble.Ink() {
		return
	}
	moved := b.Ensemble.Clone()
	if !moved.Become(life) {
		return
	}
	if spent := b.Ensemble.Spent(); b.Trend != nil && spent > 0 {
		b.Trend = b.Trend.scaled(moved.Spent() / spent)
	}
	b.Ensemble, b.WithoutLots = moved, own
	if life == own {
		b.WithoutLots = cure.Ink{}
	}
}

// LotNames returns the lots of ink and hardener in the cup, empty where one is not known. A second lot
// came in by topping up; the first is most of the cup.
func (b *Batch) LotNames() (ink, hardener string) {
	lots, _ := b.Lots()
	for _, l := range lots {
		switch {
		case l.Part == mix.Ink && ink == "":
			ink = l.Lot
		case l.Part == mix.Hardener && hardener == "":
			hardener = l.Lot
		}
	}
	return ink, hardener
}
