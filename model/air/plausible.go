package air

import (
	"fmt"
	"math"
	"time"
)

// Limits of how fast the air of a room in which people work can change. A door that opens onto a
// winter's day moves a sensor beside it by some kelvins and 20 to 30 % RH in a minute; these
// limits are beyond that (an assumption). Readings outside them are a fault of the sensor or its
// line: a common kind of chip gives -40 °C when it is not read properly.
const (
	coldestRoomC = -20
	warmestRoomC = 60

	jumpCPerMinute   = 10
	jumpPctPerMinute = 40

	// believedAfter is how long a jump must have lasted before it is accepted: somebody may have
	// carried the sensor into another room.
	believedAfter = 5 * time.Minute
	// forgottenAfter is how long after the last reading the next one is not compared with it any
	// more.
	forgottenAfter = 10 * time.Minute
)

// Judge distinguishes readings that a room can have from those that it cannot have, by comparing
// each reading of a sensor with the ones before it. The zero Judge has seen no reading.
type Judge struct {
	good     State // the last reading that was accepted
	known    bool
	newest   State // the last reading, accepted or not
	newestAt time.Duration
	seen     bool
	since    time.Duration // when the readings that are not accepted began
	doubting bool
}

// Next checks a reading that is valid by [State.Valid]. at is a monotonic time that does not
// fall. It returns the judge for the next reading, and why this reading is not accepted; why is
// empty when it is.
//
// A reading outside -20 to 60 °C is never accepted. A jump of more than 10 K or 40 % RH per
// minute is accepted once the readings after it have agreed for 5 minutes. A reading near the
// last accepted one is always accepted.
func (j Judge) Next(a State, at time.Duration) (next Judge, why string) {
	interval := max(at-j.newestAt, 0)
	near := func(b State) bool {
		minutes := max(interval.Minutes(), 1)
		return math.Abs(a.TemperatureC-b.TemperatureC) <= jumpCPerMinute*minutes &&
			math.Abs(a.HumidityPct-b.HumidityPct) <= jumpPctPerMinute*minutes
	}
	next = j
	next.newest, next.newestAt, next.seen = a, at, true
	roomy := a.TemperatureC >= coldestRoomC && a.TemperatureC <= warmestRoomC
	fresh := !j.known || interval > forgottenAfter
	if roomy && (fresh || near(j.good)) {
		next.good, next.known, next.doubting = a, true, false
		return next, ""
	}
	if !j.doubting || !j.seen || !near(j.newest) {
		next.doubting, next.since = true, at
	}
	if !roomy {
		return next, fmt.Sprintf("%.1f °C: no room is below %d °C or above %d °C", a.TemperatureC, coldestRoomC, warmestRoomC)
	}
	if at-next.since >= believedAfter {
		next.good, next.doubting = a, false
		return next, ""
	}
	return next, fmt.Sprintf("%.1f °C and %.0f %% after %.1f °C and %.0f %%: the air of a room does not change that fast",
		a.TemperatureC, a.HumidityPct, j.good.TemperatureC, j.good.HumidityPct)
}
