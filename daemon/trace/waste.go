package trace

import (
	"context"
	"errors"
	"slices"
	"time"

	"potlifed/daemon/precision"
	"potlifed/daemon/record"
	"potlifed/model/lifecycle"
)

// Waste is what was thrown away of one kind in one month.
type Waste struct {
	Month      string    `json:"month" doc:"month on the shop's calendar, YYYY-MM"`
	Kind       WasteKind `json:"kind" enum:"left-over,went-off,discarded,not-known,abandoned" doc:"left-over (left of a batch that was used up), went-off, discarded, not-known, or abandoned (a mix that was given up)"`
	Grams      float64   `json:"grams" doc:"mass that was weighed or reported, in g"`
	Batches    int       `json:"batches" doc:"number of batches"`
	NotWeighed int       `json:"not_weighed" doc:"how many of the batches were closed without a mass"`
}

// WasteKind is why something was thrown away: the outcome of its batch, or LeftOver.
type WasteKind lifecycle.Outcome

// LeftOver is what was left in the cup of a batch that was used up.
const LeftOver WasteKind = "left-over"

// wasteKinds are the kinds in the order of the list.
var wasteKinds = []WasteKind{
	LeftOver, WasteKind(lifecycle.WentOff), WasteKind(lifecycle.Discarded), WasteKind(lifecycle.NotKnown), WasteKind(lifecycle.Abandoned),
}

// ErrTooMany means that more batches ended in the span than are read at once.
var ErrTooMany = errors.New("too many batches ended in that span; ask for a shorter one")

const mostEnds = 50_000

// Wasted returns what was thrown away in a span, by month of the zone and kind, oldest first. Cleaning
// solvent and ink in cups that nobody weighed are not included. The error is ErrTooMany or that
// of the journal.
func Wasted(ctx context.Context, j Journal, from, to time.Time, zone *time.Location) ([]Waste, error) {
	over, err := j.Over(ctx, from, to, mostEnds)
	if err != nil {
		return nil, err
	}
	if len(over) == mostEnds {
		return nil, ErrTooMany
	}
	rows := []Waste{}
	for _, r := range over {
		kind, grams := WasteKind(""), (*float64)(nil)
		switch e := r.Body.(type) {
		case record.Closed:
			kind, grams = WasteKind(e.Outcome), e.LeftG
			if e.Outcome == lifecycle.UsedUp {
				kind = LeftOver
			}
		case record.Abandoned:
			if e.WasteG <= 0 { // nothing was poured
				continue
			}
			kind, grams = WasteKind(lifecycle.Abandoned), &e.WasteG
		}
		month := r.Stamp.At.In(zone).Format("2006-01")
		i := slices.IndexFunc(rows, func(w Waste) bool { return w.Month == month && w.Kind == kind })
		if i < 0 {
			rows = append(rows, Waste{Month: month, Kind: kind})
			i = len(rows) - 1
		}
		rows[i].Batches++
		if grams == nil {
			rows[i].NotWeighed++
			continue
		}
		rows[i].Grams += *grams
	}
	for i := range rows {
		rows[i].Grams = precision.Grams(rows[i].Grams, 0) // of batches of several scales
	}
	slices.SortFunc(rows, func(a, b Waste) int {
		if a.Month != b.Month {
			if a.Month < b.Month {
				return -1
			}
			return 1
		}
		return slices.Index(wasteKinds, a.Kind) - slices.Index(wasteKinds, b.Kind)
	})
	return rows, nil
}
