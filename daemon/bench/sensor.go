package bench

import (
	"time"

	"potlifed/daemon/clock"
	"potlifed/daemon/config"
	"potlifed/daemon/words"
	"potlifed/model/air"
	"potlifed/model/health"
)

// sensor is a sensor with its newest readings. It rebuilds itself after a start.
type sensor struct {
	config.Sensor
	words    words.Locale
	said     said
	clock    clock.Clock
	addedAt  time.Duration // CLOCK_BOOTTIME when the configuration was reloaded with it; 0 at a start
	last     time.Time     // of the newest good reading in this run
	air      air.State     // of that reading, corrected
	raw      air.State     // the same as the sensor sent it
	rest     restful
	health   wellbeing
	mono     time.Duration
	took     time.Duration
	ok       uint64
	errors   uint64
	rejected uint64
	counted  map[string]uint64 // as [sensor.readings] last returned them
	failing  int               // readings that failed in a row
	failedAt time.Duration     // CLOCK_BOOTTIME of the first of them
	failure  string            // why the last one did
	fault    health.Fault
	judge    air.Judge
	suspect  time.Time        // since when its readings are values that no room has; zero while they are not
	since    time.Time        // of the condition
	is       health.Condition // the condition
}

func (s *sensor) shift(d time.Duration) {
	if !s.last.IsZero() {
		s.last = s.last.Add(d)
	}
	if !s.since.IsZero() {
		s.since = s.since.Add(d)
	}
	if !s.suspect.IsZero() {
		s.suspect = s.suspect.Add(d)
	}
	s.rest.shift(d)
}

// suspectFor is how long readings may be implausible before the sensor is down, also when there
// were fewer than downAfter of them: a slow sensor gives few.
const suspectFor = time.Minute

// downAfter is how many readings in a row have to fail before a sensor is down; each
// of them was tried several times by the driver.
const downAfter = 3

// outageCounts is how long the failed readings of one outage count into the share of readings that fail.
// A loose plug fails for seconds or minutes; a sensor that somebody disconnects for a day is told of as
// down, and its cable is no worse for it.
const outageCounts = 10 * time.Minute

// trouble is what is wrong: in words for people, and the error that was reported, if any.
type trouble struct{ text, detail string }

// implausible reports whether the last failure was a value that the air of a room cannot have.
func (s *sensor) implausible() bool { return s.fault == health.Implausible }

// condition says how the sensor is, and why.
func (s *sensor) condition(now time.Time) (is health.Condition, why trouble) {
	switch {
	case s.failing >= downAfter, !s.suspect.IsZero() && now.Sub(s.suspect) >= clock.Lapse(s.clock, suspectFor):
		return health.Down, trouble{s.said.say(saidOf{key: "sensor", fault: s.fault}, s.word), s.failure}
	case s.last.IsZero():
		return health.Waiting, trouble{s.said.say(saidOf{key: "waiting"}, s.word), s.failure}
	case now.Sub(s.last) > s.staleAfter():
		return health.Stale, trouble{s.said.say(saidOf{key: "stale", age: now.Sub(s.last)}, s.word), s.failure}
	}
	return health.Up, trouble{}
}

// word words what is wrong with the sensor.
func (s *sensor) word(of saidOf) string {
	switch of.key {
	case "sensor":
		return s.words.Say("fault.sensor-"+string(of.fault), "sensor", s.ID)
	case "waiting":
		return s.words.Say("fault.reading-waiting", "sensor", s.ID)
	}
	return s.words.Say("fault.reading-stale", "sensor", s.ID, "time", s.words.Duration(of.age))
}

// readings returns the sensor's counts of readings by what came of them. A snapshot holds the map,
// so it is never written to: after a reading it is made again.
func (s *sensor) readings() map[string]uint64 {
	if c := s.counted; c == nil || c["ok"] != s.ok || c["error"] != s.errors || c["rejected"] != s.rejected {
		s.counted = map[string]uint64{"ok": s.ok, "error": s.errors, "rejected": s.rejected}
	}
	return s.counted
}

// fresh is how old a reading may be and still count as the present air: three readings.
func (s *sensor) fresh() time.Duration { return clock.Lapse(s.clock, 3*s.Every) }

// staleAfter is how old the last reading may be before the sensor counts as silent.
func (s *sensor) staleAfter() time.Duration { return clock.Lapse(s.clock, s.StaleAfter) }
