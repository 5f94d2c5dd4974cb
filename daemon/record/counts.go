package record

import (
	"maps"
	"slices"
	"time"

	"potlifed/daemon/actor"
)

// The kinds about what presses print.
const (
	KindPrinted Kind = "printed"
	KindDefects Kind = "defects"
	KindCounted Kind = "counted"
)

// Printed records the prints of a press in a minute. Journals of versions that recorded each
// report have bodies without Minute.
type Printed struct {
	Press   string    `json:"press" doc:"id of the press"`
	Batch   string    `json:"batch,omitempty" doc:"id of the batch that was loaded; absent when none was, or when it is not known"`
	Add     uint64    `json:"add" doc:"prints in this minute"`
	Counter *uint64   `json:"counter,omitempty" doc:"state of the press's own counter"`
	Minute  time.Time `json:"minute,omitzero" doc:"start of the minute; absent in events of earlier versions, which recorded each report by itself"`
	Day     string    `json:"day,omitempty" doc:"day of the minute on the shop's calendar, YYYY-MM-DD"`
	Last    time.Time `json:"last,omitzero" doc:"when the newest of the minute's reports came"`
	Late    bool      `json:"late,omitempty" doc:"the prints were reported some minutes after they were made"`
	Conditions
}

// Defects records the rejects of a press by one kind of defect in a minute. A negative number
// corrects an earlier one.
type Defects struct {
	Press   string    `json:"press" doc:"id of the press"`
	Defect  string    `json:"defect" doc:"id of the kind of defect"`
	Batch   string    `json:"batch,omitempty" doc:"id of the batch that was loaded; absent when none was, or when it is not known"`
	Add     int64     `json:"add" doc:"rejects in this minute; below 0 for a correction"`
	Counter *uint64   `json:"counter,omitempty" doc:"state of the counting device's own counter"`
	Minute  time.Time `json:"minute" doc:"start of the minute"`
	Day     string    `json:"day" doc:"day of the minute on the shop's calendar, YYYY-MM-DD"`
	Last    time.Time `json:"last" doc:"when the newest of the minute's reports came"`
	Late    bool      `json:"late,omitempty" doc:"the rejects were reported some minutes after they were made"`
	Conditions
}

// Counted is one report of prints or rejects. It brings the report to disk before it is
// answered. It is not an event: the minute's [Printed] or [Defects] contains it, and the journal
// then removes it.
type Counted struct {
	Press   string    `json:"press"`
	Defect  string    `json:"defect,omitempty"` // empty for prints
	Batch   string    `json:"batch,omitempty"`
	Add     int64     `json:"add"`
	Counter *uint64   `json:"counter,omitempty"`
	Minute  time.Time `json:"minute"`
	Day     string    `json:"day"`
	Late    bool      `json:"late,omitempty"`
	// Conditions are those of the minute's first report; nil in the reports after it.
	Conditions *Conditions `json:"conditions,omitempty"`
}

// Conditions are what a press printed with and in: the loaded batch and the air around the
// press. What is not known is absent.
type Conditions struct {
	Ink           string         `json:"ink,omitempty" doc:"id of the ink of the loaded batch"`
	Age           *time.Duration `json:"age_ns,omitempty" doc:"age of the loaded batch"`
	Spent         *float64       `json:"spent,omitempty" doc:"share of the loaded batch's pot life that was used up; 1 is the nominal end"`
	LifeQuality   string         `json:"life_quality,omitempty" doc:"how far age and spent life can be relied on: good, uncertain or bad (lower bounds)"`
	ThinnerPct    *float64       `json:"thinner_pct,omitempty" doc:"thinner poured into the loaded batch in % of ink and hardener"`
	RatioOffPct   *float64       `json:"ratio_off_pct,omitempty" doc:"deviation of the loaded batch's hardener from its target in %; above 0 is too much"`
	Zone          string         `json:"zone,omitempty" doc:"id of the press's zone"`
	TemperatureC  *float64       `json:"temperature_c,omitempty" doc:"air temperature there in °C"`
	HumidityPct   *float64       `json:"humidity_pct,omitempty" doc:"relative humidity there over liquid water in %"`
	VapourDensity *float64       `json:"vapour_density_g_m3,omitempty" doc:"water vapour there in g per m³ of air"`
	AirQuality    string         `json:"air_quality,omitempty" doc:"how far the air's figures can be relied on: good, uncertain or bad (none are given)"`
}

// Count is a count of prints, or of rejects by one kind of defect, of one press.
type Count struct {
	Total   uint64  `json:"total"`
	Counter *uint64 `json:"counter,omitempty"` // the newest total that a device reported
	// Highest is the largest total that a minute ended with. Unlike Total it never falls, and a
	// correction is made up for by later rejects.
	Highest uint64 `json:"highest,omitempty"`
	NoBatch uint64 `json:"no_batch,omitempty"` // counted with no batch that was known
	Day     string `json:"day,omitempty"`      // of Today, on the shop's calendar
	Today   uint64 `json:"today,omitempty"`
	// UnloadedAt is when the press last printed with nothing loaded. The JSON name is that of
	// checkpoints on disk.
	UnloadedAt time.Time `json:"bare,omitzero"`
}

// Tally is the sum of the reports of a minute that has no event yet. It is part of the totals
// already.
type Tally struct {
	Press   string     `json:"press"`
	Defect  string     `json:"defect,omitempty"`
	Batch   string     `json:"batch,omitempty"`
	Add     int64      `json:"add"`
	Counter *uint64    `json:"counter,omitempty"`
	Minute  time.Time  `json:"minute"`
	Day     string     `json:"day"`
	First   time.Time  `json:"first"` // when its first report came
	Last    time.Time  `json:"last"`
	Late    bool       `json:"late,omitempty"`
	By      actor.Name `json:"by"` // of all reports, or the bench when several reported
	Conditions
}

func (Printed) Kind() Kind { return KindPrinted }
func (Defects) Kind() Kind { return KindDefects }
func (Counted) Kind() Kind { return KindCounted }

func (Printed) About() string { return "" }
func (Defects) About() string { return "" }
func (Counted) About() string { return "" }

// Event returns the event that takes the place of the tally's reports.
func (t Tally) Event() Body {
	if t.Defect != "" {
		return Defects{
			Press: t.Press, Defect: t.Defect, Batch: t.Batch, Add: t.Add, Counter: t.Counter,
			Minute: t.Minute, Day: t.Day, Last: t.Last, Late: t.Late, Conditions: t.Conditions,
		}
	}
	return Printed{
		Press: t.Press, Batch: t.Batch, Add: uint64(max(t.Add, 0)), Counter: t.Counter,
		Minute: t.Minute, Day: t.Day, Last: t.Last, Late: t.Late, Conditions: t.Conditions,
	}
}

// sum is a number of prints or rejects with where it belongs, of one report or of a minute.
type sum struct {
	press, defect, batch string
	add                  int64
	counter              *uint64
	minute               time.Time
	day                  string
	last                 time.Time
	late                 bool
}

func (e Counted) apply(s *State, r Record) {
	part := sum{e.Press, e.Defect, e.Batch, e.Add, e.Counter, e.Minute, e.Day, r.Stamp.At, e.Late}
	s.add(part)
	s.Open = slices.Clone(s.Open)
	t := Tally{
		Press: e.Press, Defect: e.Defect, Batch: e.Batch, Minute: e.Minute, Day: e.Day,
		First: r.Stamp.At, Late: e.Late, By: r.By,
	}
	if e.Conditions != nil {
		t.Conditions = *e.Conditions
	}
	if i := s.openTally(part); i >= 0 {
		t = s.Open[i]
		s.Open = slices.Delete(s.Open, i, i+1)
	}
	t.Add += e.Add
	t.Last = r.Stamp.At
	if e.Counter != nil {
		t.Counter = e.Counter
	}
	if t.By != r.By {
		t.By = actor.Bench
	}
	// The tally of the newest report is the last one: the events then leave the newest counter.
	s.Open = append(s.Open, t)
}

// openTally returns the place in Open of the tally that a sum belongs to, -1 when there is none.
func (s *State) openTally(p sum) int {
	return slices.IndexFunc(s.Open, func(t Tally) bool {
		return t.Press == p.press && t.Defect == p.defect && t.Batch == p.batch && t.Minute.Equal(p.minute) && t.Late == p.late
	})
}

func (e Printed) apply(s *State, r Record) {
	if e.Minute.IsZero() {
		s.addReport(e, r)
		return
	}
	s.close(sum{e.Press, "", e.Batch, int64(e.Add), e.Counter, e.Minute, e.Day, e.Last, e.Late})
}

func (e Defects) apply(s *State, _ Record) {
	s.close(sum{e.Press, e.Defect, e.Batch, e.Add, e.Counter, e.Minute, e.Day, e.Last, e.Late})
}

// addReport adds a report of a journal in which each report is an event.
func (s *State) addReport(e Printed, r Record) {
	s.count(e.Press, "", func(c *Count) {
		c.Total += e.Add
		if e.Counter != nil {
			c.Counter = e.Counter
		}
		if e.Batch == "" && e.Add > 0 {
			c.UnloadedAt = r.Stamp.At
		}
	})
}

// close adds what a minute's event counts beyond the reports that were applied, which is all of
// it where the journal has removed them, and ends the minute's tally.
func (s *State) close(minute sum) {
	rest := minute
	if i := s.openTally(minute); i >= 0 {
		rest.add -= s.Open[i].Add
		s.Open = slices.Delete(slices.Clone(s.Open), i, i+1)
	}
	s.add(rest)
	still := int64(0) // reports of minutes that are not closed yet
	for _, t := range s.Open {
		if t.Press == minute.press && t.Defect == minute.defect {
			still += t.Add
		}
	}
	s.count(minute.press, minute.defect, func(c *Count) { c.Highest = max(c.Highest, plus(c.Total, -still)) })
}

// add adds a sum to the counts of its press and of its batch.
func (s *State) add(p sum) {
	s.count(p.press, p.defect, func(c *Count) {
		c.Total = plus(c.Total, p.add)
		if p.counter != nil {
			c.Counter = p.counter
		}
		if p.batch == "" {
			c.NoBatch = plus(c.NoBatch, p.add)
		}
		switch {
		case p.day == c.Day:
			c.Today = plus(c.Today, p.add)
		case !p.late: // also back to an earlier day, when the clock was wrong
			c.Day, c.Today = p.day, plus(0, p.add)
		}
		c.Today = min(c.Today, c.Total) // a correction after the clock went back to another day
		if p.batch == "" && p.add > 0 && !p.late && p.last.After(c.UnloadedAt) {
			c.UnloadedAt = p.last
		}
	})
	s.changeKnown(p.batch, func(b *Batch) {
		if p.defect == "" {
			b.Prints = plus(b.Prints, p.add)
			return
		}
		b.Defects = maps.Clone(b.Defects)
		if b.Defects == nil {
			b.Defects = map[string]uint64{}
		}
		b.Defects[p.defect] = plus(b.Defects[p.defect], p.add)
	})
}

// count replaces a count by one that f has altered.
func (s *State) count(press, defect string, f func(c *Count)) {
	if defect == "" {
		c := s.Prints[press]
		f(&c)
		s.Prints = withKey(s.Prints, press, c)
		return
	}
	c := s.Defects[press][defect]
	f(&c)
	s.Defects = withKey(s.Defects, press, withKey(s.Defects[press], defect, c))
}

// plus returns a count after a change; it never falls below zero.
func plus(n uint64, add int64) uint64 {
	if add < 0 && uint64(-add) > n {
		return 0
	}
	return n + uint64(add)
}

// withKey returns a copy of m, which may be nil, with a value.
func withKey[V any](m map[string]V, key string, value V) map[string]V {
	m = maps.Clone(m)
	if m == nil {
		m = map[string]V{}
	}
	m[key] = value
	return m
}

// ChangesPresses reports whether applying a body may change what is loaded on a press.
func ChangesPresses(b Body) bool {
	switch b.(type) {
	case Loaded, Unloaded, Moved, Split, ToppedUp, Closed, Abandoned, Undone:
		return true
	}
	return false
}

// Tallies reports whether a report's minute has a tally already.
func (s State) Tallies(e Counted) bool {
	return s.openTally(sum{press: e.Press, defect: e.Defect, batch: e.Batch, minute: e.Minute, late: e.Late}) >= 0
}
