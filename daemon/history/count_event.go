package history

import (
	"potlifed/daemon/record"
)

// countOf returns what an event says of prints or rejects; false for another event.
func countOf(r record.Record) (k tallyKey, t tally, ok bool) {
	switch e := r.Body.(type) {
	case record.Printed:
		if e.Add == 0 {
			return k, t, false
		}
		return tallyKey{quarterOf(r.Stamp.At), e.Press, "", e.Batch, Measured}, tally{pieces: int64(e.Add)}, true
	}
	return k, t, false
}
