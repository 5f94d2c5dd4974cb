package history

import (
	"time"

	"potlifed/model/air"
	"potlifed/model/cure"
)

// bucketRow names a row of buckets.
type bucketRow struct {
	series seriesKey
	row    int64
}

// buckets are rows of one level that are not on disk yet.
type buckets map[bucketRow][]Bucket

// add adds air at a moment in ms since 1970.
func (m buckets) add(l level, series seriesKey, ms int64, b Bucket) {
	row, place := l.row(ms)
	key := bucketRow{series, row}
	if m[key] == nil {
		m[key] = make([]Bucket, l.buckets)
	}
	m[key][place].Merge(b)
}

// addStep adds a step of a zone's air, cut at the quarter-hours that it passes. The time without
// a reading (stale) is left out.
func (m buckets) addStep(series seriesKey, start time.Time, s cure.Step) {
	if s.Kind == cure.Stale || s.Duration <= 0 {
		return
	}
	from := start.UnixNano() / perMilli
	to := from + s.Duration.Milliseconds()
	for at := from; at < to; {
		next := min(to, (floor(at, quarters.each)+1)*quarters.each)
		a := air.Lerp(s.From, s.To, float64(at-from)/float64(to-from)).Clamp()
		b := air.Lerp(s.From, s.To, float64(next-from)/float64(to-from)).Clamp()
		var piece Bucket
		piece.addAir(a, next-at, s.Uncertain || s.Kind == cure.Bridged)
		piece.Mean = air.Lerp(a, b, 0.5)
		piece.Lowest = air.State{TemperatureC: min(a.TemperatureC, b.TemperatureC), HumidityPct: min(a.HumidityPct, b.HumidityPct)}
		piece.Highest = air.State{TemperatureC: max(a.TemperatureC, b.TemperatureC), HumidityPct: max(a.HumidityPct, b.HumidityPct)}
		m.add(quarters, series, at, piece)
		at = next
	}
}

// tallyKey is what prints and rejects are counted by.
type tallyKey struct {
	quarter int64 // since 1970
	press   string
	kind    string // of a defect; empty for prints
	batch   string
	source  Source
}

// tally is a number of prints or rejects of a quarter-hour, with the conditions under which they were
// made: sums over the pieces for which these were known.
type tally struct {
	ink              string
	pieces           int64
	lived            int64
	spent, ageS      float64
	aired            int64
	celsius, percent float64
	mixed            int64
	thinner, ratio   float64
}

func (t *tally) add(o tally) {
	t.pieces += o.pieces
	t.lived += o.lived
	t.spent += o.spent
	t.ageS += o.ageS
	t.aired += o.aired
	t.celsius += o.celsius
	t.percent += o.percent
	t.mixed += o.mixed
	t.thinner += o.thinner
	t.ratio += o.ratio
	if t.ink == "" {
		t.ink = o.ink
	}
}

// chunk is consecutive readings of a sensor that have no row of their own yet.
type chunk struct {
	sensor   string
	readings []Reading
	kept     int // how many of them are on disk, in the table recent
	// notSet: the wall clock was not set, so that the times move when it is.
	notSet bool
	began  time.Duration // CLOCK_BOOTTIME of the first
	unkept time.Duration // of the first that is not on disk
}

// add adds a reading that came at a CLOCK_BOOTTIME.
func (c *chunk) add(r Reading, mono time.Duration) {
	if len(c.readings) == c.kept {
		c.unkept = mono
	}
	c.readings = append(c.readings, r)
}

const (
	chunkReadings = 2000
	chunkSpan     = rollEvery + 5*time.Minute // so that an hour is one row, though it is stored some time after its end
)

// takes reports whether a reading can follow in the chunk.
func (c *chunk) takes(r Reading, notSet bool) bool {
	n := len(c.readings)
	return n == 0 || n < chunkReadings && c.notSet == notSet && !r.At.Before(c.readings[n-1].At) && r.At.Sub(c.readings[0].At) < chunkSpan
}
