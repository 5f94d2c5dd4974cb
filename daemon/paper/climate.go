package paper

import (
	"slices"
	"time"

	"potlifed/model/air"
)

// Row is the air at one instant.
type Row struct {
	At  time.Time
	Air air.State
}

// Climate is the recorded air of one place: at least two rows, in the order of their times.
// The air is linear between two rows. Two rows at one instant are a jump.
type Climate []Row

// climateRow reads a record that follows the rows before it. With jumps, an instant may be there
// twice: the air changed at once.
func (t *Table) climateRow(record []string, before Climate, jumps bool) (Row, error) {
	text := t.Text(record, "time")
	at, err := t.Instant(record, "time")
	if err != nil {
		return Row{}, err
	}
	if len(before) > 0 {
		last := before[len(before)-1].At
		if at.Equal(last) && !jumps {
			return Row{}, t.Fault("time", "%s is there twice; keep one row for each instant", text)
		}
		if at.Before(last) {
			return Row{}, t.Fault("time", "%s comes after %s; rows must be in order of time", text, last.Format(time.RFC3339))
		}
	}
	state, err := t.State(record)
	return Row{At: at, Air: state}, err
}

// Start returns the time of the first row.
func (c Climate) Start() time.Time { return c[0].At }

// End returns the time of the last row.
func (c Climate) End() time.Time { return c[len(c)-1].At }

// Covers reports whether an instant is within the record.
func (c Climate) Covers(at time.Time) bool { return !at.Before(c.Start()) && !at.After(c.End()) }

// From returns the climate from an instant on, which c must cover. Its first row is the air
// at that instant. At the record's end it is a single row.
func (c Climate) From(at time.Time) Climate {
	i, exact := slices.BinarySearchFunc(c, at, func(row Row, at time.Time) int { return row.At.Compare(at) })
	if exact {
		return c[i:]
	}
	before, after := c[i-1], c[i]
	f := at.Sub(before.At).Hours() / after.At.Sub(before.At).Hours()
	return append(Climate{{At: at, Air: air.Lerp(before.Air, after.Air, f)}}, c[i:]...)
}

// longestGap returns the longest time between two rows of which the first is before an
// instant.
func (c Climate) longestGap(until time.Time) time.Duration {
	longest := time.Duration(0)
	for i := 1; i < len(c) && c[i-1].At.Before(until); i++ {
		longest = max(longest, c[i].At.Sub(c[i-1].At))
	}
	return longest
}

// DriedAir returns the air behind a dehumidifier that lets no more than mostPct relative
// humidity pass. The temperature stays, and air that is drier stays as it is.
func DriedAir(a air.State, mostPct float64) air.State {
	a.HumidityPct = min(a.HumidityPct, mostPct)
	return a
}

// Dried returns the climate behind such a dehumidifier. Where the straight line between two
// rows passes the level, a row is added, so that the line is cut off exactly there.
func (c Climate) Dried(mostPct float64) Climate {
	var out Climate
	for i, row := range c {
		if i > 0 {
			before := c[i-1]
			from, to := before.Air.HumidityPct, row.Air.HumidityPct
			if (from < mostPct) != (to < mostPct) && from != mostPct && to != mostPct {
				f := (mostPct - from) / (to - from)
				at := before.At.Add(time.Duration(f * float64(row.At.Sub(before.At))))
				// Rows a nanosecond apart leave no instant between them.
				if at.After(before.At) && at.Before(row.At) {
					out = append(out, Row{At: at, Air: DriedAir(air.Lerp(before.Air, row.Air, f), mostPct)})
				}
			}
		}
		out = append(out, Row{At: row.At, Air: DriedAir(row.Air, mostPct)})
	}
	return out
}
