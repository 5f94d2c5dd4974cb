package bench

import (
	"fmt"
	"time"

	"potlifed/daemon/clock"
	"potlifed/daemon/config"
	"potlifed/model/air"
	"potlifed/model/health"
)

// sensor is a sensor with its newest readings. It rebuilds itself after a start.
type sensor struct {
	config.Sensor
	clock    clock.Clock
	last     time.Time // of the newest good reading in this run
	air      air.State
	mono     time.Duration
	took     time.Duration
	ok       uint64
	errors   uint64
	rejected uint64
	failing  int    // readings that failed in a row
	failure  string // why
	// implausible: the last failure was a value that the air of a room cannot have.
	implausible bool
	judge       air.Judge
	since       time.Time        // of the condition
	is          health.Condition // the condition
}

func (s *sensor) shift(d time.Duration) {
	if !s.last.IsZero() {
		s.last = s.last.Add(d)
	}
	if !s.since.IsZero() {
		s.since = s.since.Add(d)
	}
}

// downAfter is how many readings in a row have to fail before a sensor is down; each
// of them was tried several times by the driver.
const downAfter = 3

// condition says how the sensor is, and why.
func (s *sensor) condition(now time.Time) (is health.Condition, why string) {
	switch {
	case s.failing >= downAfter:
		return health.Down, s.failure
	case s.last.IsZero():
		return health.Waiting, "no reading yet"
	case now.Sub(s.last) > s.staleAfter():
		return health.Stale, fmt.Sprintf("the last reading is from %s ago", now.Sub(s.last).Round(time.Second))
	}
	return health.Up, ""
}

// fresh is how old a reading may be and still count as the present air: three readings.
func (s *sensor) fresh() time.Duration { return clock.Lapse(s.clock, 3*s.Every) }

// staleAfter is how old the last reading may be before the sensor counts as silent.
func (s *sensor) staleAfter() time.Duration { return clock.Lapse(s.clock, s.StaleAfter) }
