package main

import (
	"strconv"
	"strings"
	"time"

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
func (o lifeOptions) alongClimate(record climate, ink cure.Ink, sensor cure.Sensor) (*lifeAlong, error) {
	mixedAt, err := instantOf("mixed-at", o.mixedAt, record)
	if err != nil {
		return nil, err
	}
	until := record.end()
	if o.until != "" {
		if until, err = instantOf("until", o.until, record); err != nil {
			return nil, err
		}
		if until.Before(mixedAt) {
			return nil, usage("life: --until %s is before --mixed-at %s", o.until, o.mixedAt)
		}
	}
	b := batchAlong{ink: ink, place: cure.Place{Exposure: o.exposure, Lag: o.lag}, rows: record.from(mixedAt)}
	b.live(sensor, until)
	nominal := b.nominalEnd()
	last := b.rows[b.reached]
	ends := b.cloud.Forecast(b.place, last.air, 0, o.outlook()...)
	at := func(age time.Duration) time.Time { return mixedAt.Add(age).Round(time.Millisecond) }
	along := &lifeAlong{
		EndsAt:  lifeTimes{Nominal: at(nominal), Expected: at(ends.Expected), Low: at(ends.Low), High: at(ends.High)},
		Spent:   b.spent,
		SpentAt: until,
		lastAir: record.from(until)[0].air,
	}
	if end := record.end(); mixedAt.Add(max(nominal, ends.High)).After(end) {
		along.AssumedFrom = &end
	}
	along.LongestGapS = b.rows.longestGap(last.at).Seconds()
	return along, nil
}

// instantOf reads a time flag; outside the record nothing is known of the air, so that is an error and never a guess.
func instantOf(flag, text string, record climate) (time.Time, error) {
	at, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return time.Time{}, usage("life: --%s %q is not a time; want one with zone, as 2026-06-12T08:30:00+02:00", flag, text)
	}
	if !record.covers(at) {
		return time.Time{}, usage("life: --%s %s is outside the climate, which runs from %s to %s", flag, text,
			record.start().Format(time.RFC3339), record.end().Format(time.RFC3339))
	}
	return at, nil
}

// batchAlong is a batch on its way along the rows of a climate, the first of which is its mixing.
type batchAlong struct {
	ink     cure.Ink
	place   cure.Place
	rows    climate
	cloud   *cure.Cloud
	reached int     // row up to which the cloud has lived
	spent   float64 // nominal, at until

	// dying is the cloud before the step in which the nominal's life passes 1, and dies that step.
	dying *cure.Cloud
	dies  cure.Step
}

// live goes along the rows until everything asked for is behind: the nominal's end, the last level of the risk, and until.
func (b *batchAlong) live(sensor cure.Sensor, until time.Time) {
	b.cloud = cure.New(b.ink, sensor, 0, b.rows[0].air)
	for b.reached+1 < len(b.rows) {
		from, to := b.rows[b.reached], b.rows[b.reached+1]
		step := cure.Step{Duration: to.at.Sub(from.at), From: from.air, To: to.air, Kind: cure.Measured}
		before := b.cloud.Clone()
		b.cloud.Advance(b.place, step)
		b.reached++
		switch {
		case !to.at.After(until):
			b.spent = b.cloud.Spent()
		case from.at.Before(until):
			b.spent = spentAfter(before, b.place, step, until.Sub(from.at))
		}
		if b.dying == nil && b.cloud.Spent() >= 1 {
			b.dying, b.dies = before, step
		}
		if b.dying != nil && b.cloud.Risk() >= cure.HighRisk && !to.at.Before(until) {
			return
		}
	}
}

// part is the beginning of a step.
func part(s cure.Step, d time.Duration) cure.Step {
	s.To = air.Lerp(s.From, s.To, d.Hours()/s.Duration.Hours())
	s.Duration = d
	return s
}

// spentAfter is the nominal spent life a part of a step later.
func spentAfter(c *cure.Cloud, p cure.Place, s cure.Step, d time.Duration) float64 {
	c = c.Clone()
	c.Advance(p, part(s, d))
	return c.Spent()
}

// nominalEnd is the age at which the nominal has spent its life. Beyond the record the last air stays.
func (b *batchAlong) nominalEnd() time.Duration {
	if b.dying == nil {
		last := b.rows[len(b.rows)-1].air
		// Twice what is left at the settled rate is beyond the end whatever the cup's temperature is now, but for a cup that is still
		// cold; the loop sees to that.
		step := cure.Step{From: last, To: last, Kind: cure.Measured}
		b.dying = b.cloud.Clone()
		rate := cure.StillAir(b.ink, b.place, last).SpentPerH
		step.Duration = time.Duration(min(2*(1-b.dying.Spent())/rate, cure.Horizon.Hours()) * float64(time.Hour))
		for age := step.Duration; spentAfter(b.dying, b.place, step, step.Duration) < 1 && age < cure.Horizon; age += step.Duration {
			b.dying.Advance(b.place, step)
		}
		b.dies = step
	}
	low, high := time.Duration(0), b.dies.Duration
	for high-low > time.Microsecond {
		middle := low + (high-low)/2
		if spentAfter(b.dying, b.place, b.dies, middle) < 1 {
			low = middle
		} else {
			high = middle
		}
	}
	return b.dying.Age() + high
}

// plainNumber reads a number with a point.
func plainNumber(text string) (float64, bool) {
	value, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
	return value, err == nil
}
