package main

import (
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"
	"time"

	"potlifed/model/cure"
	"potlifed/model/learn"
)

// gathered is an ink with its batches, and what was left out before the fit.
type gathered struct {
	pair       learn.Pair
	leftOut    []learn.LeftOut
	longestGap time.Duration
}

// strangers are batches of an ink that the configuration does not have.
type strangers struct {
	Ink     string `json:"ink"`
	Batches int    `json:"batches"`
}

// gather walks every batch through its air, by ink in the order in which the inks first appear.
func gather(batches batchRows, air climates, known sheets, lag time.Duration) ([]*gathered, []strangers, error) {
	var pairs []*gathered
	var unknown []strangers
	place := map[string]int{}
	records := map[string]*recorded{}
	for _, key := range slices.Sorted(maps.Keys(air.of)) {
		records[key] = newRecorded(air.of[key])
	}
	for _, b := range batches.rows {
		at, there := place[b.ink]
		if !there {
			pair, ok := known.pair(b.ink)
			if !ok {
				unknown = countStranger(unknown, b.ink)
				continue
			}
			at = len(pairs)
			place[b.ink] = at
			pairs = append(pairs, &gathered{pair: pair})
		}
		key, err := air.keyOf(batches, b)
		if err != nil {
			return nil, nil, err
		}
		g, why := pairs[at], b.silent
		if why == "" {
			var one learn.Record
			if one, why = records[key].walk(b, lag); why == "" {
				g.pair.Records = append(g.pair.Records, one)
				g.longestGap = max(g.longestGap, records[key].longestIn(b.account.MixedAt, b.evidence.To))
			}
		}
		if why != "" {
			g.leftOut = append(g.leftOut, learn.LeftOut{ID: b.id, Why: why})
		}
	}
	return pairs, unknown, nil
}

// pair is an ink without records yet.
func (s sheets) pair(ink string) (learn.Pair, bool) {
	if s.configured == nil {
		return learn.Pair{Ink: ink, Sheet: s.all, Assumed: s.assumed}, true
	}
	known, ok := s.configured[ink]
	return learn.Pair{Ink: ink, Hardener: known.hardener, Sheet: known.life}, ok
}

func countStranger(unknown []strangers, ink string) []strangers {
	for i := range unknown {
		if unknown[i].Ink == ink {
			unknown[i].Batches++
			return unknown
		}
	}
	return append(unknown, strangers{Ink: ink, Batches: 1})
}

// keyOf says which climate a batch lived in.
func (c climates) keyOf(batches batchRows, b batchRow) (string, error) {
	switch c.by {
	case "":
		return "", nil
	case "batch":
		return b.id, nil
	}
	zones := slices.Sorted(maps.Keys(c.of))
	if b.zone == "" && len(zones) == 1 {
		return zones[0], nil
	}
	if _, there := c.of[b.zone]; there {
		return b.zone, nil
	}
	if !batches.zone {
		return "", usage("%s: no column zone, and %s has the air of %s; say where each batch stood", batches.name, c.name, strings.Join(zones, ", "))
	}
	return "", usage("%s: row %d, column zone: %q has no air in %s; it has %s", batches.name, b.row, b.zone, c.name, strings.Join(zones, ", "))
}

const (
	// heldAtEnds: before the first and after the last row its air holds a little, as the daemon lets it.
	heldAtEnds = 5 * time.Minute
	// A gap is longer than both, the second in usual times between two rows.
	gapLongerThan      = 3 * time.Hour
	gapLongerThanUsual = 6
)

// recorded is a climate ready to be walked; nil for one that does not exist.
type recorded struct {
	rows climate
	gap  time.Duration // a longer time between two rows is a gap
}

func newRecorded(c climate) *recorded {
	between := make([]time.Duration, 0, len(c)-1)
	for i := 1; i < len(c); i++ {
		between = append(between, c[i].at.Sub(c[i-1].at))
	}
	slices.Sort(between)
	usual := between[len(between)/2]
	first, last := c[0], c[len(c)-1]
	first.at, last.at = first.at.Add(-heldAtEnds), last.at.Add(heldAtEnds)
	return &recorded{rows: slices.Concat(climate{first}, c, climate{last}), gap: max(gapLongerThan, gapLongerThanUsual*usual)}
}

// longestIn is the longest time between two rows that a batch lived through.
func (r *recorded) longestIn(from time.Time, age time.Duration) time.Duration {
	return r.rows.from(from).longestGap(from.Add(age))
}

// partOfAMix is a bench's batch number, with a letter for a part split off.
var partOfAMix = regexp.MustCompile(`^([0-9]{4}-[0-9]+)[a-z]?$`)

// walk lets a batch live through the record up to what is known of its end, or says why that cannot be.
func (r *recorded) walk(b batchRow, lag time.Duration) (learn.Record, string) {
	mixed, until := b.account.MixedAt, b.account.MixedAt.Add(b.evidence.To)
	if r == nil {
		return learn.Record{}, "no air on record for it"
	}
	if !r.rows.covers(mixed) || !r.rows.covers(until) {
		return learn.Record{}, fmt.Sprintf("no air on record for all of it; the record is from %s to %s", clockTime(r.rows.start().Add(heldAtEnds)),
			clockTime(r.rows.end().Add(-heldAtEnds)))
	}
	one := learn.Record{ID: b.id, Kind: b.evidence.Kind}
	if mix := partOfAMix.FindStringSubmatch(b.id); mix != nil {
		one.Mix = mix[1] + " " + mixed.UTC().Format(time.RFC3339Nano)
	}
	rows := r.rows.from(mixed)
	journey, place := learn.NewJourney(rows[0].air), cure.Place{Exposure: 1, Lag: lag}
	looked := mixed.Add(b.evidence.From)
	for i := 0; i+1 < len(rows) && rows[i].at.Before(until); i++ {
		from, to := rows[i], rows[i+1]
		if to.at.Sub(from.at) > r.gap {
			return learn.Record{}, fmt.Sprintf("a gap in the air: nothing known between %s and %s", clockTime(from.at), clockTime(to.at))
		}
		step := cure.Step{Duration: to.at.Sub(from.at), From: from.air, To: to.air, Kind: cure.Measured}
		// The part up to the look, then the part up to the end.
		for _, moment := range []time.Time{looked, until} {
			if !moment.After(from.at) || !moment.Before(from.at.Add(step.Duration)) {
				continue
			}
			first := part(step, moment.Sub(from.at))
			journey.Advance(place, first)
			step.Duration, step.From, from.at = step.Duration-first.Duration, first.To, moment
			if moment.Equal(looked) {
				one.From = journey.Lived()
			}
		}
		if from.at.Before(until) {
			journey.Advance(place, step)
		}
		if to.at.Equal(looked) {
			one.From = journey.Lived()
		}
	}
	one.To = journey.Lived()
	return one, ""
}

// fitGathered fits the inks together and puts what was left out before beside what the fit left out.
func fitGathered(inks []*gathered, options []learn.Option) []learn.Result {
	pairs := make([]learn.Pair, len(inks))
	for i, g := range inks {
		pairs[i] = g.pair
	}
	results := learn.FitShop(pairs, options...)
	for i, g := range inks {
		results[i].LeftOut = append(g.leftOut, results[i].LeftOut...)
	}
	return results
}
