package bench

import (
	"maps"
	"slices"
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/record"
	"potlifed/daemon/words"
)

// tellLoss records once that the journal was rebuilt. Without the state of before, what is on the
// presses is not known until a person says so.
func (b *Bench) tellLoss(at time.Time) {
	made := b.journal.Rebuilt()
	if made == nil || b.state.RebuiltOf == b.state.Journal {
		return
	}
	e := record.JournalRebuilt{
		Reason: made.Reason, Former: made.Former, Aside: made.Aside, Lost: made.Lost, Records: made.Records, State: made.Complete, Day: b.shop.dayOfNumber(at),
	}
	if !made.Complete {
		e.Presses = slices.Sorted(maps.Keys(b.state.Presses))
		for _, p := range b.shop.Presses {
			if !slices.Contains(e.Presses, p.ID) {
				e.Presses = append(e.Presses, p.ID)
			}
		}
	}
	b.decide(at, actor.Bench, e)
}

// lossTrouble says what a damaged journal has left unknown.
func lossTrouble(w words.Locale, loss *record.Loss) trouble {
	detail := loss.Reason
	if loss.Aside != "" {
		detail += "; the damaged file is in " + loss.Aside + " of the data directory"
	}
	if loss.State {
		return trouble{w.Say("alarm-text.journal-rebuilt", "n", loss.Events), detail}
	}
	return trouble{w.Say("alarm-text.journal-lost", "n", loss.Events), detail}
}
