package bench

import (
	"slices"
	"time"

	"potlifed/daemon/record"
)

// takenOff is the batch that was last taken off a press.
type takenOff struct {
	at       time.Time
	with     conditions // the last that were noted with the batch
	reported bool       // prints were counted to the batch since
}

// noteTakenOff remembers what has been taken off the presses, given what was on them before. It is
// kept in memory only: after a restart a press that stands empty has printed without a batch.
func (b *Bench) noteTakenOff(were map[string]record.Press, now time.Time) {
	for press, was := range were {
		if was.Batch == "" || b.state.Presses[press].Batch == was.Batch {
			continue
		}
		off := takenOff{at: now, with: conditions{batch: was.Batch}}
		for _, c := range slices.Backward(b.conditions[press]) {
			if c.batch == was.Batch {
				off.with = c
				break
			}
		}
		b.takenOff[press] = off
	}
}

// ofTakenOff returns the batch that a report of an empty press belongs to, if that was taken off
// after the prints were made. A press that reports its counter once a minute reports the prints of
// a batch after that was taken off, so the first report within that time belongs to the batch; the
// next one is about prints without a batch. A report that says an earlier time always belongs to
// it. Rejects are sorted out later than they are printed, so all of that time belong to it.
func (b *Bench) ofTakenOff(r report, now time.Time) (off takenOff, ok bool) {
	off, known := b.takenOff[r.press]
	if !known || r.late(now) || b.state.Presses[r.press].Batch != "" {
		return off, false
	}
	return off, r.at != nil && !r.at.After(off.at) || now.Sub(off.at) <= timely && (r.defect != "" || !off.reported)
}
