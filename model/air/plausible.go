package air

import (
	"fmt"
	"math"
	"time"
)

// Limits of how fast the air of a room in which people work can change. A door that opens onto a
// winter's day moves a sensor beside it by some kelvins and 20 to 30 % RH in a minute, and in the
// end not below the air outside; these limits are beyond that (an assumption). Readings outside
// them are a fault of the sensor or its line: a common kind of chip gives -40 °C when it is not
// read properly.
const (
	coldestRoomC = -20
	warmestRoomC = 60

	jumpCPerMinute = 10
	// jumpC is the largest change that is accepted at once, however long ago the last accepted
	// reading was: from a heated room to frost outside its open door.
	jumpC = 25
	// jumpPct is the largest change of the relative humidity from one reading to the next.
	jumpPct = 40

	// believedAfter is how long a jump must have lasted, and leastReadings how many readings of it
	// must have agreed, before it is accepted: somebody may have carried the sensor into another
	// room.
	believedAfter = 5 * time.Minute
	leastReadings = 4
)

// Judge distinguishes readings that a room can have from those that it cannot have, by comparing
// each reading of a sensor with the ones before it. The zero Judge has seen no reading.
type Judge struct {
	good     State // the last reading that was accepted
	known    bool
	newest   State         // the last reading, accepted or not
	since    time.Duration // when the readings that are not accepted began
	agree    int           // how many of them agree; 0 while the readings are accepted
	newestAt time.Duration
}

// Next checks a reading that is valid by [State.Valid]. at is a monotonic time that does not
// fall. It returns the judge for the next reading, and why this reading is not accepted; why is
// empty when it is.
//
// A reading outside -20 to 60 °C is never accepted. Another one is accepted at once when it is
// near the last accepted one: within 10 K for each minute since the reading before it, at most 25 K,
// and within 40 % RH. Otherwise it is accepted once it and at least three readings before it have
// agreed for 5 minutes. The first reading has nothing to be compared with.
func (j Judge) Next(a State, at time.Duration) (next Judge, why string) {
	most := min(jumpCPerMinute*max((at-j.newestAt).Minutes(), 1), jumpC)
	near := func(b State) bool {
		return math.Abs(a.TemperatureC-b.TemperatureC) <= most && math.Abs(a.HumidityPct-b.HumidityPct) <= jumpPct
	}
	next = j
	next.newest, next.newestAt = a, at
	roomy := a.TemperatureC >= coldestRoomC && a.TemperatureC <= warmestRoomC
	if roomy && (!j.known || near(j.good)) {
		next.good, next.known, next.agree = a, true, 0
		return next, ""
	}
	if j.agree > 0 && near(j.newest) {
		next.agree++
	} else {
		next.agree, next.since = 1, at
	}
	if !roomy {
		return next, fmt.Sprintf("%.1f °C: no room is below %d °C or above %d °C", a.TemperatureC, coldestRoomC, warmestRoomC)
	}
	if next.agree >= leastReadings && at-next.since >= believedAfter {
		next.good, next.agree = a, 0
		return next, ""
	}
	return next, fmt.Sprintf("%.1f °C and %.0f %% after %.1f °C and %.0f %%: the air of a room does not change that fast",
		a.TemperatureC, a.HumidityPct, j.good.TemperatureC, j.good.HumidityPct)
}
