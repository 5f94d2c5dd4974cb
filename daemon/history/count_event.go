package history

import (
	"time"

	"potlifed/daemon/record"
)

// countOf returns what an event says of prints or rejects; false for another event. A correction
// changes the number alone: the conditions of the pieces that it takes back are not known.
func countOf(r record.Record) (k tallyKey, t tally, ok bool) {
	var minute time.Time
	var c record.Conditions
	switch e := r.Body.(type) {
	case record.Printed:
		k, t.pieces, minute, c = tallyKey{press: e.Press, batch: e.Batch}, int64(e.Add), e.Minute, e.Conditions
	case record.Defects:
		k, t.pieces, minute, c = tallyKey{press: e.Press, batch: e.Batch, kind: e.Defect}, e.Add, e.Minute, e.Conditions
	}
	if t.pieces == 0 {
		return k, t, false
	}
	if minute.IsZero() { // of a version that recorded each report
		minute = r.Stamp.At
	}
	k.quarter, k.source = quarterOf(minute), Measured
	t.ink = c.Ink
	if t.pieces < 0 {
		return k, t, true
	}
	n := float64(t.pieces)
	if c.Spent != nil && c.Age != nil {
		t.lived, t.spent, t.ageS = t.pieces, n**c.Spent, n*c.Age.Seconds()
	}
	if c.TemperatureC != nil && c.HumidityPct != nil {
		t.aired, t.celsius, t.percent = t.pieces, n**c.TemperatureC, n**c.HumidityPct
	}
	if c.ThinnerPct != nil && c.RatioOffPct != nil {
		t.mixed, t.thinner, t.ratio = t.pieces, n**c.ThinnerPct, n**c.RatioOffPct
	}
	return k, t, true
}
