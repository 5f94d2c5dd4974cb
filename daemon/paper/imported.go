package paper

import (
	"context"
	"slices"
	"time"

	"potlifed/daemon/history"
	"potlifed/daemon/outcomes"
	"potlifed/daemon/view"
	"potlifed/model/air"
	"potlifed/model/learn"
)

// mostImported bounds how many imported batches are read: more than a shop mixes in decades.
const mostImported = 1_000_000

// Imported returns the evidence of the batches and of the tests in jars that were imported into a history, each batch in
// the air that the history has of its zone, as [Gather] does for files. Batches of unknown inks are counted by its id.
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
	told, unknown, err := gather(batches, records, pair, lag, func(b batchRow) (string, error) { return b.zone, nil })
	if err != nil {
		return nil, nil, err
	}
	tested, err := importedJars(ctx, h, pair)
	if err != nil {
		return nil, nil, err
	}
	return Merged(told, tested), unknown, nil
}

// mostJarTests is how many tests in jars of an ink are read, the newest: as many as the bench keeps of its own.
const mostJarTests = 20

// importedJars returns the evidence of imported tests in jars, without inks that are not known.
func importedJars(ctx context.Context, h *history.History, pair func(ink string) (learn.Pair, bool)) ([]outcomes.Evidence, error) {
	rows, err := h.Jars(ctx)
	if err != nil {
		return nil, err
	}
	var all []outcomes.Evidence
	for len(rows) > 0 {
		ink := rows[0].Ink
		var tests []learn.JarTest
		for len(rows) > 0 && rows[0].Ink == ink {
			first := rows[0]
			one := learn.JarTest{ID: first.MixedAt.Format(time.RFC3339) + " " + first.Mix}
			for len(rows) > 0 && rows[0].Ink == ink && rows[0].Mix == first.Mix && rows[0].MixedAt.Equal(first.MixedAt) {
				one.Jars = append(one.Jars, learn.SteadyJar(rows[0].Air, rows[0].GoodH, rows[0].GoneOffH, !rows[0].Open))
				rows = rows[1:]
			}
			tests = append(tests, one)
		}
		if p, known := pair(ink); known {
			p.Jars = tests[max(0, len(tests)-mostJarTests):]
			all = append(all, outcomes.Evidence{Pair: p})
		}
	}
	return all, nil
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
			e.Pair.Records = slices.Concat(e.Pair.Records, m.Pair.Records)
			e.Pair.Jars = slices.Concat(e.Pair.Jars, m.Pair.Jars)
			e.LeftOut = slices.Concat(e.LeftOut, m.LeftOut)
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
