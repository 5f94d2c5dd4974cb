package main

import (
	"io"
	"time"

	"potlifed/daemon/paper"
	"potlifed/model/air"
	"potlifed/model/cure"
)

// lifeAlong is what a climate adds to the answer.
type lifeAlong struct {
	EndsAt lifeTimes `json:"ends_at"`
	Spent  float64   `json:"spent"`
	// SpentAt is the instant of Spent; AssumedFrom, if an end lies beyond the record, where the last air is taken to stay.
	SpentAt     time.Time  `json:"spent_at"`
	AssumedFrom *time.Time `json:"air_assumed_from,omitempty"`
	// LongestGapS is the longest time between two rows in use, which is bridged by a straight line.
	LongestGapS float64 `json:"longest_gap_s"`

	lastAir air.State // at SpentAt
}

// alongClimate lets a batch live along a record from mixed-at on.
func (o lifeOptions) alongClimate(record paper.Climate, ink cure.Ink, sensor cure.Sensor) (*lifeAlong, error) {
	mixedAt, err := instantOf("mixed-at", o.mixedAt, record)
	if err != nil {
		return nil, err
	}
	until := record.End()
	if o.until != "" {
		if until, err = instantOf("until", o.until, record); err != nil {
			return nil, err
		}
		if until.Before(mixedAt) {
			return nil, usage("life: --until %s is before --mixed-at %s", o.until, o.mixedAt)
		}
	}
	place := cure.Place{Exposure: o.exposure, Lag: o.lag}
	life := record.Live(ink, place, sensor, mixedAt, until)
	ends := life.Ensemble.Forecast(place, life.Last.Air, 0, o.outlook()...)
	at := func(age time.Duration) time.Time { return mixedAt.Add(age).Round(time.Millisecond) }
	along := &lifeAlong{
		EndsAt:  lifeTimes{Nominal: at(life.Nominal), Expected: at(ends.Expected), Low: at(ends.Low), High: at(ends.High)},
		Spent:   life.Spent,
		SpentAt: until,
		lastAir: record.From(until)[0].Air,
	}
	if end := record.End(); mixedAt.Add(max(life.Nominal, ends.High)).After(end) {
		along.AssumedFrom = &end
	}
	along.LongestGapS = life.LongestGap.Seconds()
	return along, nil
}

// openClimate reads the file of --climate, or standard input for "-".
func (o lifeOptions) openClimate(stdin io.Reader) (paper.Climate, error) {
	climates, err := readFrom("life", o.climate, "--climate", stdin, paper.ReadClimates)
	if err != nil {
		return nil, err
	}
	one, err := climates.One(o.zone, "--zone")
	return one, paperFault(err)
}

// instantOf reads a time flag; outside the record nothing is known of the air, so that is an error and never a guess.
func instantOf(flag, text string, record paper.Climate) (time.Time, error) {
	at, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return time.Time{}, usage("life: --%s %q is not a time; want one with zone, as 2026-06-12T08:30:00+02:00", flag, text)
	}
	if !record.Covers(at) {
		return time.Time{}, usage("life: --%s %s is outside the climate, which runs from %s to %s", flag, text,
			record.Start().Format(time.RFC3339), record.End().Format(time.RFC3339))
	}
	return at, nil
}
