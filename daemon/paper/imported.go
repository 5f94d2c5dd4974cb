package paper

import (
	"context"
	"time"

	"potlifed/daemon/history"
	"potlifed/daemon/outcomes"
	"potlifed/daemon/view"
	"potlifed/model/air"
	"potlifed/model/learn"
)

// mostImported bounds how many imported batches are read: more than a shop mixes in decades.
const mostImported = 1_000_000

// Imported returns the evidence of the batches that were imported into a history, each in the air that
// the history has of its zone, as [Gather] does for files.
func Imported(ctx context.Context, h *history.History, pair func(ink string) (learn.Pair, bool), lag time.Duration) ([]outcomes.Evidence, map[string]int, error) {
	ended, err := h.Batches(ctx, history.Search{From: time.Date(1900, 1, 1, 0, 0, 0, 0, time.UTC), To: time.Date(2200, 1, 1, 0, 0, 0, 0, time.UTC)}, mostImported)
	if err != nil {
		return nil, nil, err
	}
	var batches Batches
	spans := map[string]*[2]time.Time{}
	for i, b := range ended {
		if b.Source != history.Paper || b.MixedAt == nil {
			continue
		}
		row := batchRow{row: i, id: b.ID, ink: b.Ink, zone: b.Zone, facts: learn.Facts{Colour: b.Colour, Press: b.Press, Weekday: outcomes.Weekday(*b.MixedAt)}, account: learn.Account{MixedAt: *b.MixedAt, ClosedAt: b.ClosedAt, Outcome: b.Outcome, StillGood: b.StillGood}}
		if b.LastGoodAt != nil {
			row.account.LastGoodAt = *b.LastGoodAt
		}
		if row.evidence, err = row.account.Evidence(); err != nil {
			row.silent = err.Error()
		} else if b.Zone == "" {
			row.silent = "nobody said in which zone it was"
		}
		batches.rows = append(batches.rows, row)
		s := spans[b.Zone]
		if s == nil {
			s = &[2]time.Time{*b.MixedAt, b.ClosedAt}
			spans[b.Zone] = s
		}
		if b.MixedAt.Before(s[0]) {
			s[0] = *b.MixedAt
		}
		if b.ClosedAt.After(s[1]) {
			s[1] = b.ClosedAt
		}
	}
	records := map[string]*recorded{}
	for zone, span := range spans {
		climate, err := climateOf(ctx, h, zone, span[0].Add(-longestAround), span[1].Add(longestAround))
		if err != nil {
			return nil, nil, err
		}
		if len(climate) >= 2 {
			records[zone] = newRecorded(climate)
		}
	}
	return gather(batches, records, pair, lag, func(b batchRow) (string, error) { return b.zone, nil })
}

// longestAround is how far the air around batches is read, so that a row is on each side.
const longestAround = 24 * time.Hour

// climateOf returns the air of a zone in a span, without the times at which there was no reading.
func climateOf(ctx context.Context, h *history.History, zone string, from, to time.Time) (c Climate, err error) {
	if zone == "" {
		return nil, nil
	}
	err = h.EachAir(ctx, zone, from, to, func(p history.AirPoint) error {
		if p.Quality != view.QualityBad {
			c = append(c, Row{At: p.Time, Air: air.State{TemperatureC: p.TemperatureC, HumidityPct: p.HumidityPct}})
		}
		return nil
	}, func(time.Time) {})
	return c, err
}

// Merged adds evidence to other evidence, by ink. What is given is not changed.
func Merged(all, more []outcomes.Evidence) []outcomes.Evidence {
	all = append([]outcomes.Evidence(nil), all...)
	for _, m := range more {
		found := false
		for i := range all {
			e := &all[i]
			if e.Pair.Ink != m.Pair.Ink {
				continue
			}
			found = true
			e.Pair.Records = append(append([]learn.Record(nil), e.Pair.Records...), m.Pair.Records...)
			e.LeftOut = append(append([]learn.LeftOut(nil), e.LeftOut...), m.LeftOut...)
			e.LongestGap = max(e.LongestGap, m.LongestGap)
		}
		if !found {
			all = append(all, m)
		}
	}
	return all
}

// UsualLag is the time constant with which a cup follows the air's temperature, where nobody says.
const UsualLag = 25 * time.Minute
