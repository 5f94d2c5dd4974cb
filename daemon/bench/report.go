package bench

import (
	"fmt"
	"time"

	"potlifed/daemon/request"
)

// mostPrints bounds what one report may say: no press prints as much in its life.
const mostPrints = 1e12

// timely is how far a report's time may be from the bench's and still count as now. It covers
// clocks of devices that differ, and a person who corrects what they just reported.
const timely = time.Minute

// report is a report of prints, or of rejects by one kind of defect.
type report struct {
	press, defect string // no defect: prints
	total         *uint64
	add           *int64
	at            *time.Time
}

// reports returns the press that a change is a report of; ok is false for any other change.
func reports(c request.Change) (press string, ok bool) {
	switch c := c.(type) {
	case request.CountPrints:
		return c.Press, true
	case request.CountDefects:
		return c.Press, true
	}
	return "", false
}

// late reports whether the report is about a time before the present minute.
func (r report) late(now time.Time) bool { return r.at != nil && now.Sub(*r.at) > timely }

// of names what a report counts.
func (r report) of() string {
	if r.defect == "" {
		return "prints"
	}
	return "rejects"
}

func tooMany(of, n string) error {
	return request.Refuse(request.Invalid, of, "%s %s: want %d at most", n, of, uint64(mostPrints))
}

// check refuses a report that contradicts itself or is out of range.
func (r report) check(now time.Time) error {
	if (r.total == nil) == (r.add == nil) {
		return request.Refuse(request.Invalid, r.of(), `say either "total", the state of the counter, or "add", how many since the last report`)
	}
	if r.total != nil && *r.total > mostPrints {
		return tooMany(r.of(), fmt.Sprint(*r.total))
	}
	if r.add != nil && (*r.add > mostPrints || *r.add < -mostPrints) {
		return tooMany(r.of(), fmt.Sprint(*r.add))
	}
	switch {
	case r.at == nil:
	case r.at.Sub(now) > timely:
		return request.Refuse(request.Invalid, "time", "at %s is in the future: it is %s on the bench's clock", r.at.Format(time.RFC3339), now.Format(time.RFC3339))
	case now.Sub(*r.at) > request.MaxLate:
		return request.Refuse(request.Invalid, "time", "at %s is more than %.0f minutes ago: it is %s on the bench's clock", r.at.Format(time.RFC3339), request.MaxLate.Minutes(), now.Format(time.RFC3339))
	}
	return nil
}
