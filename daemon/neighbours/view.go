package neighbours

import (
	"maps"
	"slices"
	"strings"
	"time"

	"potlifed/daemon/view"
	"potlifed/model/lifecycle"
	"potlifed/model/light"
)

// Bench is another bench as this one knows it.
type Bench struct {
	ID      string     `json:"bench" doc:"name of the bench"`
	Contact Contact    `json:"contact" enum:"online,offline,silent,waiting,no-broker" doc:"online, offline, silent (no message for too long), waiting (nothing received yet) or no-broker"`
	HeardAt *time.Time `json:"heard_at,omitempty" doc:"when its last live message arrived"`
	Presses []Press    `json:"presses" doc:"its presses"`
	Batches []Batch    `json:"batches" doc:"its open batches"`
}

// Press is a press of another bench. Where its state is out of date, Meaning is unknown, and
// Was is its last meaning, of the time AsOf.
type Press struct {
	ID        string        `json:"id" doc:"id of the press"`
	Meaning   light.Meaning `json:"meaning" doc:"what its light means; unknown when the data is out of date"`
	Flashing  bool          `json:"flashing" doc:"the light flashes"`
	Cause     light.Cause   `json:"cause,omitempty" doc:"why the light has this meaning, as a fixed word; absent when the data is out of date or its bench gives none"`
	Reason    string        `json:"reason" doc:"why the light has this meaning, in a sentence"`
	Batch     string        `json:"batch,omitempty" doc:"id of the batch that is loaded"`
	Was       light.Meaning `json:"was,omitempty" doc:"the last meaning received, when it is out of date"`
	AsOf      *time.Time    `json:"as_of,omitempty" doc:"when that meaning was received"`
	outOfDate bool
}

// Batch is an open batch of another bench. One whose state is out of date has no ends and the
// quality bad; AsOf is the time of its last state.
type Batch struct {
	ID      string          `json:"id" doc:"id of the batch"`
	Ink     string          `json:"ink" doc:"id of the ink"`
	Press   string          `json:"press,omitempty" doc:"id of the press that it is loaded on"`
	Zone    string          `json:"zone" doc:"id of the zone that it is in"`
	State   lifecycle.Phase `json:"state" doc:"phase of the batch: mixing, resting, open or closed"`
	EndsAt  *view.Ends      `json:"ends_at,omitempty" doc:"when the pot life ends, by this bench's clock; absent when the data is out of date"`
	Quality view.Quality    `json:"quality" doc:"how far the figures can be relied on: good, uncertain or bad"`
	Why     string          `json:"why,omitempty" doc:"why the quality is not good"`
	AsOf    *time.Time      `json:"as_of,omitempty" doc:"when its last message arrived; only when the data is out of date"`
}

// The reasons why a press or a batch is out of date.
const (
	whyOffline  = "its bench is offline"
	whySilent   = "its bench is silent"
	whyNoBroker = "no contact with the broker"
	whyOld      = "its last message is too old"
	whyNoLight  = "no light of its bench shows it"
)

// Benches returns what is known now, in the order in which the benches were given.
func (s *Store) Benches() []Bench {
	wall, mono := s.now()
	at := func(m time.Duration) time.Time { return wall.Add(m - mono) }
	s.mu.Lock()
	defer s.mu.Unlock()
	all := make([]Bench, 0, len(s.benches))
	for _, b := range s.benches {
		v := Bench{ID: b.id, Contact: b.contact(s.connected, mono), Presses: []Press{}, Batches: []Batch{}}
		if b.liveAt > 0 {
			v.HeardAt = ptr(at(b.liveAt))
		}
		for _, name := range slices.Sorted(maps.Keys(b.batches)) {
			v.Batches = append(v.Batches, b.batches[name].view(v.Contact, mono, at))
		}
		v.Presses = b.presses(v.Contact, v.Batches, mono, at)
		all = append(all, v)
	}
	return all
}

func ptr[T any](v T) *T { return &v }

// outOfDate returns why a state is no longer trusted, empty while it is.
func (r *received) outOfDate(c Contact, mono time.Duration) string {
	switch {
	case c == NoBroker:
		return whyNoBroker
	case c == Offline:
		return whyOffline
	case c == Silent || c == Waiting:
		return whySilent
	case r.revoked != "":
		return r.revoked
	case !r.live || mono > r.until:
		return whyOld
	}
	return ""
}

// asOf returns the time of a state: when it was received, or for a retained message the time
// that its sender gives, which is nil where it gives none. The sender's clock may be wrong, but
// the time is not in the future.
func (r *received) asOf(mono time.Duration, at func(time.Duration) time.Time) *time.Time {
	switch now := at(mono); {
	case !r.retained:
		return ptr(at(r.at))
	case r.sentAt.IsZero():
		return nil
	case r.sentAt.After(now):
		return &now
	}
	return ptr(r.sentAt.UTC())
}

func (b *batchState) view(c Contact, mono time.Duration, at func(time.Duration) time.Time) Batch {
	v := b.row
	if why := b.outOfDate(c, mono); why != "" {
		v.Quality, v.Why, v.AsOf = view.QualityBad, why, b.asOf(mono, at)
		return v
	}
	if b.ends != nil {
		v.EndsAt = &view.Ends{Expected: at(b.ends.expected), Low: at(b.ends.low), High: at(b.ends.high)}
	}
	return v
}

// presses returns the presses that lights and batches name. Of several lights for one press,
// one that is up to date wins over one that is not, and then the most serious meaning.
func (b *bench) presses(c Contact, batches []Batch, mono time.Duration, at func(time.Duration) time.Time) []Press {
	found := map[string]Press{}
	for _, name := range slices.Sorted(maps.Keys(b.lights)) {
		l := b.lights[name]
		if l.press == "" {
			continue
		}
		p := Press{ID: l.press, Meaning: l.meaning, Flashing: l.flashing, Cause: l.cause, Reason: l.reason, Batch: l.batch}
		if why := l.outOfDate(c, mono); why != "" {
			p.Meaning, p.Flashing, p.Cause, p.Reason, p.Was, p.AsOf = light.Unknown, true, "", why, l.meaning, l.asOf(mono, at)
			p.outOfDate = true
		}
		if other, twice := found[p.ID]; !twice || moreSerious(p, other) {
			found[p.ID] = p
		}
	}
	for _, x := range batches {
		if _, named := found[x.Press]; x.Press != "" && !named {
			found[x.Press] = Press{ID: x.Press, Meaning: light.Unknown, Flashing: true, Reason: whyNoLight, Batch: x.ID, AsOf: x.AsOf}
		}
	}
	all := make([]Press, 0, len(found))
	for _, id := range slices.SortedFunc(maps.Keys(found), strings.Compare) {
		all = append(all, found[id])
	}
	return all
}

func moreSerious(a, b Press) bool {
	if a.outOfDate != b.outOfDate {
		return b.outOfDate
	}
	return light.Worst([]light.Signal{{Meaning: b.Meaning, Flashing: b.Flashing}, {Meaning: a.Meaning, Flashing: a.Flashing}}) == 1
}
