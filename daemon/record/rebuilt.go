package record

import (
	"slices"
	"time"

	"potlifed/model/alarm"
)

// KindJournalRebuilt is the kind of the event about a damaged journal.
const KindJournalRebuilt Kind = "journal-rebuilt"

// JournalRebuilt records that the journal was found damaged and was made again from what could be
// read.
type JournalRebuilt struct {
	Reason  string   `json:"reason" doc:"what was found"`
	Former  string   `json:"former,omitempty" doc:"id of the damaged journal; absent where it is not known"`
	Aside   string   `json:"aside,omitempty" doc:"folder in the data directory with the damaged file; absent where there was none"`
	Lost    []Span   `json:"lost,omitempty" doc:"numbers of the events that are lost"`
	Records int      `json:"records,omitempty" doc:"records, of events and of air, that could not be read"`
	State   bool     `json:"state_known" doc:"the state of batches and presses is that of before; only history is lost"`
	Presses []string `json:"presses,omitempty" doc:"ids of the presses of which it is no longer known what stands on them"`
	Day     string   `json:"day" doc:"local date, YYYYMMDD; batches are numbered by the day"`
}

// Span is a range of numbers of events, both ends included.
type Span struct {
	First uint64 `json:"first" doc:"the first number"`
	Last  uint64 `json:"last" doc:"the last number"`
}

// Loss is what is not known since a journal was rebuilt, until a person acknowledges its alarm.
type Loss struct {
	At      time.Time `json:"at"`
	Reason  string    `json:"reason"`
	Aside   string    `json:"aside,omitempty"`
	Events  uint64    `json:"events"` // that are lost
	State   bool      `json:"state_known"`
	Presses []string  `json:"presses,omitempty"` // nobody has said yet what stands on them
}

// numbersLeftOut is how many batch numbers of the day are left out after a loss, so that no lost
// batch has the number of a new one.
const numbersLeftOut = 500

// Kind returns the kind's name.
func (JournalRebuilt) Kind() Kind { return KindJournalRebuilt }

// About returns nothing: the event is about no batch.
func (JournalRebuilt) About() string { return "" }

// apply notes the loss. Where the state is not that of before, the age of each open batch is only
// the least that it can be, and what stands on the presses is not known.
func (e JournalRebuilt) apply(s *State, r Record) {
	s.RebuiltOf = s.Journal
	loss := &Loss{At: r.Stamp.At, Reason: e.Reason, Aside: e.Aside, State: e.State}
	for _, span := range e.Lost {
		loss.Events += span.Last - span.First + 1
	}
	s.Loss = loss
	if e.State {
		return
	}
	loss.Presses = slices.Sorted(slices.Values(e.Presses))
	s.changeAll(func(b *Batch) bool {
		if b.Ensemble == nil {
			return false
		}
		b.Countable, b.Unseen = false, 0
		if !b.AtLeast {
			b.AtLeast = true
			b.Ensemble = b.Ensemble.Clone()
			b.Ensemble.MarkAtLeast()
		}
		return true
	})
	if e.Day > s.Day {
		s.Day, s.Number = e.Day, 0
	}
	s.Number += numbersLeftOut
}

// pressSaid notes that a person has said what stands on a press.
func (s *State) pressSaid(press string) {
	if s.Loss == nil || !slices.Contains(s.Loss.Presses, press) {
		return
	}
	loss := *s.Loss
	loss.Presses = slices.DeleteFunc(slices.Clone(loss.Presses), func(p string) bool { return p == press })
	s.Loss = &loss
}

// lossSeen ends the loss when a person acknowledges its alarm.
func (s *State) lossSeen(name string) {
	if name == alarm.JournalFailing {
		s.Loss = nil
	}
}

// PressUnknown reports whether nobody has said yet what stands on a press since the journal lost it.
func (s State) PressUnknown(press string) bool {
	return s.Loss != nil && slices.Contains(s.Loss.Presses, press)
}
