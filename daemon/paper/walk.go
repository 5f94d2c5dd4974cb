package paper

import (
	"fmt"
	"regexp"
	"slices"
	"time"

	"potlifed/daemon/outcomes"
	"potlifed/model/cure"
	"potlifed/model/learn"
)

// Gather lets every batch age along its climate and returns the evidence by ink, in the order
// in which the inks first appear. pair returns an ink's data sheet, false for an ink that is
// not known; the batches of unknown inks are counted by its id. lag is the time constant with
// which the cups follow the air's temperature.
func Gather(batches Batches, air Climates, pair func(ink string) (learn.Pair, bool), lag time.Duration) ([]outcomes.Evidence, map[string]int, error) {
	records := map[string]*recorded{}
	for key, climate := range air.of {
		records[key] = newRecorded(climate)
	}
	return gather(batches, records, pair, lag, func(b batchRow) (string, error) { return air.keyOf(batches, b) })
}

// gather is Gather with records that may be missing, and a function that says which one a batch
// lived in.
func gather(batches Batches, records map[string]*recorded, pair func(ink string) (learn.Pair, bool), lag time.Duration, keyOf func(batchRow) (string, error)) ([]outcomes.Evidence, map[string]int, error) {
	var all []outcomes.Evidence
	unknown := map[string]int{}
	place := map[string]int{}
	for _, b := range batches.rows {
		at, there := place[b.ink]
		if !there {
			p, ok := pair(b.ink)
			if !ok {
				unknown[b.ink]++
				continue
			}
			at = len(all)
			place[b.ink] = at
			all = append(all, outcomes.Evidence{Pair: p})
		}
		key, err := keyOf(b)
		if err != nil {
			return nil, nil, err
		}
		e, why := &all[at], b.silent
		if why == "" {
			var one learn.Record
			if one, why = records[key].walk(b, lag); why == "" {
				e.Pair.Records = append(e.Pair.Records, one)
				e.LongestGap = max(e.LongestGap, records[key].longestIn(b.account.MixedAt, b.evidence.To))
			}
		}
		if why != "" {
			e.LeftOut = append(e.LeftOut, learn.LeftOut{ID: b.id, Why: why})
		}
	}
	return all, unknown, nil
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
	rows Climate
	gap  time.Duration // a longer time between two rows is a gap
}

func newRecorded(c Climate) *recorded {
	between := make([]time.Duration, 0, len(c)-1)
	for i := 1; i < len(c); i++ {
		if d := c[i].At.Sub(c[i-1].At); d > 0 {
			between = append(between, d)
		}
	}
	usual := time.Duration(0)
	if slices.Sort(between); len(between) > 0 {
		usual = between[len(between)/2]
	}
	first, last := c[0], c[len(c)-1]
	first.At, last.At = first.At.Add(-heldAtEnds), last.At.Add(heldAtEnds)
	return &recorded{rows: slices.Concat(Climate{first}, c, Climate{last}), gap: max(gapLongerThan, gapLongerThanUsual*usual)}
}

// longestIn is the longest time between two rows that a batch lived through.
func (r *recorded) longestIn(from time.Time, age time.Duration) time.Duration {
	return r.rows.From(from).longestGap(from.Add(age))
}

// partOfAMix is a bench's batch number, with a letter for a part split off.
var partOfAMix = regexp.MustCompile(`^([0-9]{4}-[0-9]+)[a-z]?$`)

// walk lets a batch live through the record up to what is known of its end, or says why that cannot be.
func (r *recorded) walk(b batchRow, lag time.Duration) (learn.Record, string) {
	mixed, until := b.account.MixedAt, b.account.MixedAt.Add(b.evidence.To)
	if r == nil {
		return learn.Record{}, "no air on record for it"
	}
	if !r.rows.Covers(mixed) || !r.rows.Covers(until) {
		return learn.Record{}, fmt.Sprintf("no air on record for all of it; the record is from %s to %s", toTheSecond(r.rows.Start().Add(heldAtEnds)),
			toTheSecond(r.rows.End().Add(-heldAtEnds)))
	}
	one := learn.Record{ID: b.id, Kind: b.evidence.Kind, Noted: b.evidence.Noted, Facts: b.facts}
	if mix := partOfAMix.FindStringSubmatch(b.id); mix != nil {
		one.Mix = mix[1] + " " + mixed.UTC().Format(time.RFC3339Nano)
	}
	rows := r.rows.From(mixed)
	journey, place := learn.NewJourney(rows[0].Air), cure.Place{Exposure: 1, Lag: lag}
	looked := mixed.Add(b.evidence.From)
	for i := 0; i+1 < len(rows) && rows[i].At.Before(until); i++ {
		from, to := rows[i], rows[i+1]
		if to.At.Sub(from.At) > r.gap {
			return learn.Record{}, fmt.Sprintf("a gap in the air: nothing known between %s and %s", toTheSecond(from.At), toTheSecond(to.At))
		}
		step := cure.Step{Duration: to.At.Sub(from.At), From: from.Air, To: to.Air, Kind: cure.Measured}
		// The part up to the look, then the part up to the end.
		for _, moment := range []time.Time{looked, until} {
			if !moment.After(from.At) || !moment.Before(from.At.Add(step.Duration)) {
				continue
			}
			first := step.Part(moment.Sub(from.At))
			journey.Advance(place, first)
			step.Duration, step.From, from.At = step.Duration-first.Duration, first.To, moment
			if moment.Equal(looked) {
				one.From = journey.Lived()
			}
		}
		if from.At.Before(until) {
			journey.Advance(place, step)
		}
		if to.At.Equal(looked) {
			one.From = journey.Lived()
		}
	}
	one.To = journey.Lived()
	return one, ""
}

// toTheSecond writes an instant to the second.
func toTheSecond(t time.Time) string { return t.Round(time.Second).Format(time.RFC3339) }
