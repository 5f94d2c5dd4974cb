package trace

import (
	"context"
	"errors"
	"math"
	"slices"
	"strings"
	"sync"
	"time"

	"potlifed/daemon/precision"
	"potlifed/daemon/record"
	"potlifed/daemon/words"
	"potlifed/model/can"
	"potlifed/model/lifecycle"
	"potlifed/model/mix"
)

// Ended is a batch that has ended, with what it had lived through. What has not happened, or
// is not known, is absent.
type Ended struct {
	ID               string              `json:"id" doc:"id of the batch"`
	Seq              uint64              `json:"seq" doc:"number of the batch's first event; an id is used again after a year"`
	Ink              string              `json:"ink" doc:"id of the ink"`
	Cup              string              `json:"cup,omitempty" doc:"id of the kind of cup"`
	Colour           string              `json:"colour_class,omitempty" doc:"colour class"`
	Artwork          string              `json:"artwork,omitempty" doc:"kind of artwork"`
	Presses          []Stay              `json:"presses" doc:"times on presses, in order"`
	MixedAt          *time.Time          `json:"mixed_at,omitempty" doc:"when hardener first touched ink"`
	ClosedAt         time.Time           `json:"closed_at" doc:"when the batch ended"`
	Outcome          lifecycle.Outcome   `json:"outcome" enum:"used-up,discarded,went-off,not-known,abandoned" doc:"how the batch ended: used-up, discarded, went-off, not-known, or abandoned (a mix that was given up)"`
	StillGood        lifecycle.StillGood `json:"still_good,omitempty" doc:"whether it was still good at the end: yes, no or unknown"`
	PouredInto       string              `json:"poured_into,omitempty" doc:"id of the batch that it was poured into at its end"`
	LeftG            *float64            `json:"left_g,omitempty" doc:"mass left in the cup at the end, in g"`
	AgeS             *float64            `json:"age_s,omitempty" doc:"age at the end, since mixed_at, in s"`
	AtLeast          bool                `json:"at_least,omitempty" doc:"the age and the share are lower bounds, since the clock was not set at some time"`
	Spent            *float64            `json:"spent,omitempty" doc:"share of the pot life that was used up at the end; 1 is the nominal end"`
	Risk             *float64            `json:"risk,omitempty" doc:"probability, by its forecast, that it was past its pot life at the end, 0 to 1"`
	MeanTemperatureC *float64            `json:"mean_temperature_c,omitempty" doc:"mean temperature of the air that it stood in from mixed_at to the end, in °C; time without a reading does not count"`
	MeanHumidityPct  *float64            `json:"mean_humidity_pct,omitempty" doc:"mean relative humidity of that air over liquid water, in %"`
	Prints           uint64              `json:"prints" doc:"prints made with the batch"`
	Defects          map[string]int64    `json:"defects,omitempty" doc:"rejects among them, by kind of defect; absent when none were reported"`
}

// Search says which of the ended batches are asked for. Empty fields ask for any.
type Search struct {
	From, To time.Time // when it ended; To is not included
	Press    string    // that it stood on at some time
	Ink      string
	Outcome  lifecycle.Outcome
	// Text is looked for in ids of the batch, its ink, cup, presses, cans and lots, and in its
	// colour class and artwork; upper and lower case are the same.
	Text string
}

// EndedPage is a part of a list of ended batches, newest first.
type EndedPage struct {
	Batches []Ended
	Next    uint64 // what to ask for as before, for those further back; 0: there are none
}

const (
	endsAtOnce = 50  // how many ends are read from the journal at once
	endsAPage  = 400 // how many ends one page looks at
)

// Ends tells of the batches that have ended. It remembers what they had lived through, which
// takes longest to find out and does not change. Its methods may be called concurrently.
type Ends struct {
	journal Journal
	mu      sync.Mutex
	known   map[uint64]lived // by the number of the event that ended the batch
}

// NewEnds returns Ends that read the given journal.
func NewEnds(j Journal) *Ends { return &Ends{journal: j, known: map[uint64]lived{}} }

// mostKnown bounds how many batches' lives are remembered, some hundred bytes each.
const mostKnown = 2000

// lived returns what the batch that an event ended had lived through.
func (e *Ends) lived(ctx context.Context, l *life, by uint64) (lived, error) {
	e.mu.Lock()
	through, ok := e.known[by]
	e.mu.Unlock()
	if ok {
		return through, nil
	}
	through, err := l.breathe(ctx, e.journal)
	if err != nil {
		return through, err
	}
	e.mu.Lock()
	defer e.mu.Unlock()
	if len(e.known) >= mostKnown {
		clear(e.known)
	}
	e.known[by] = through
	return through, nil
}

// List returns at most limit batches that a search finds, newest end first, of those that
// ended by an event before the given number; 0 stands for the newest. It looks at a bounded
// number of ends, so that a page may hold fewer although Next is not 0.
func (e *Ends) List(ctx context.Context, find Search, before uint64, limit int) (EndedPage, error) {
	if before == 0 {
		before = math.MaxUint64
	}
	page := EndedPage{Batches: []Ended{}}
	for looked := 0; looked < endsAPage; {
		ends, err := e.journal.Ended(ctx, find.From, find.To, before, endsAtOnce)
		if err != nil {
			return page, err
		}
		for _, r := range ends {
			if len(page.Batches) == limit {
				page.Next = before
				return page, nil
			}
			before = r.Seq
			b, found, err := e.look(ctx, find, r)
			if err != nil {
				return page, err
			}
			if found {
				page.Batches = append(page.Batches, b)
			}
		}
		if len(ends) < endsAtOnce {
			return page, nil
		}
		looked += len(ends)
	}
	page.Next = before
	return page, nil
}

// look returns the batch that an event ended, and whether it is asked for.
func (e *Ends) look(ctx context.Context, s Search, r record.Record) (b Ended, found bool, err error) {
	end := endOf(r.Body)
	if end.id == "" || s.Ink != "" && s.Ink != end.ink || s.Outcome != "" && s.Outcome != end.outcome {
		return b, false, nil
	}
	l, err := follow(ctx, e.journal, end.id, r.Seq)
	if errors.Is(err, ErrUnknown) || err == nil && l.is.Phase != lifecycle.Closed {
		return b, false, nil
	}
	if err != nil {
		return b, false, err
	}
	told := l.batch(words.Locale{}) // without its warnings
	if !s.holds(told) {
		return b, false, nil
	}
	through, err := e.lived(ctx, &l, r.Seq)
	if err != nil {
		return b, false, err
	}
	return ended(told, end.into, through), true, nil
}

// end is what an event says of the batch that it ends.
type end struct {
	id, ink, into string
	outcome       lifecycle.Outcome
}

func endOf(b record.Body) end {
	switch e := b.(type) {
	case record.Closed:
		return end{id: e.Batch, ink: e.Ink, outcome: e.Outcome}
	case record.Abandoned:
		return end{id: e.Batch, ink: e.Ink, outcome: lifecycle.Abandoned}
	case record.ToppedUp:
		return end{id: e.From, ink: e.Ink, into: e.Batch, outcome: lifecycle.UsedUp}
	}
	return end{}
}

// holds reports whether a batch is asked for by press and text.
func (s Search) holds(b Past) bool {
	if s.Press != "" && !slices.ContainsFunc(b.Presses, func(p Stay) bool { return p.Press == s.Press }) {
		return false
	}
	text := strings.ToLower(strings.TrimSpace(s.Text))
	if text == "" {
		return true
	}
	in := []string{b.ID, b.Ink, b.Cup, b.Colour, b.Artwork}
	for _, p := range b.Presses {
		in = append(in, p.Press)
	}
	for _, l := range b.Lots {
		in = append(in, l.Can, l.Lot)
	}
	return slices.ContainsFunc(in, func(v string) bool { return strings.Contains(strings.ToLower(v), text) })
}

// ended returns the row of a batch that has ended.
func ended(b Past, into string, through lived) Ended {
	row := Ended{
		ID: b.ID, Seq: b.Seq, Ink: b.Ink, Cup: b.Cup, Colour: b.Colour, Artwork: b.Artwork, Presses: b.Presses, MixedAt: b.MixedAt,
		Outcome: b.Outcome, StillGood: b.StillGood, PouredInto: into, LeftG: b.LeftG, Prints: b.Prints, Defects: b.Defects,
	}
	if b.ClosedAt != nil {
		row.ClosedAt = *b.ClosedAt
	}
	if through.age == nil {
		return row
	}
	age, spent, risk := precision.Seconds(through.age.Seconds()), precision.Share(through.spent), precision.Share(through.risk)
	row.AgeS, row.AtLeast, row.Spent, row.Risk = &age, through.atLeast, &spent, &risk
	if m := through.air; m.hours > 0 {
		t, h := precision.Celsius(m.celsiusHours/m.hours), precision.Percent(m.humidityHours/m.hours)
		row.MeanTemperatureC, row.MeanHumidityPct = &t, &h
	}
	return row
}

// Whole is a batch that ended, with what it was made of.
type Whole struct {
	Ended
	Zone        string // where it was at its end
	GoodAt      *time.Time
	Lots        []can.Lot
	Amounts     mix.Amounts // in the cup, what was printed included
	DivisionG   float64     // of the scale that the masses are known by; 0 where it is not known
	RatioOffPct *float64    // nil where there was no ink or no hardener
}

// Of returns the batch that an event ended. found is false for an event that ended none, and for
// one that was undone.
func (e *Ends) Of(ctx context.Context, r record.Record) (w Whole, found bool, err error) {
	end := endOf(r.Body)
	if end.id == "" {
		return w, false, nil
	}
	l, err := follow(ctx, e.journal, end.id, r.Seq)
	if errors.Is(err, ErrUnknown) || err == nil && l.is.Phase != lifecycle.Closed {
		return w, false, nil
	}
	if err != nil {
		return w, false, err
	}
	told := l.batch(words.Locale{}) // without its warnings
	through, err := e.lived(ctx, &l, r.Seq)
	if err != nil {
		return w, false, err
	}
	w = Whole{Ended: ended(told, end.into, through), Zone: l.is.Zone, GoodAt: told.GoodAt, Lots: told.Lots, Amounts: l.is.Amounts(), DivisionG: l.is.DivisionG()}
	if poured := l.is.Mix.Poured(); poured.InkG > 0 && poured.HardenerG > 0 {
		if off := 100 * mix.Deviation(poured, l.is.Mix.Recipe.Ratio); !math.IsNaN(off) && !math.IsInf(off, 0) {
			w.RatioOffPct = &off
		}
	}
	return w, true, nil
}
