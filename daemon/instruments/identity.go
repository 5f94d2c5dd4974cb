package instruments

import (
	"cmp"
	"time"

	"potlifed/daemon/config"
	"potlifed/devices/plugged"
)

// root is the folder in which the system's folders sys and dev are.
const root = "/"

// sensorName returns the name of the device at a sensor's address: what the kernel calls the chip, or
// the serial adapter by id; empty where neither is known.
func sensorName(c config.Sensor, s Sensor) string {
	return cmp.Or(s.Name(), plugged.PortName(root, c.Port))
}

// namedEvery is how often a sensor that is asked is looked at again. The chip behind a path changes
// seldom, and a change that a fault did not show is in time a minute later.
const namedEvery = time.Minute

// naming tells when the name of a sensor's device is to be looked at.
type naming struct {
	at     time.Time // when it was last; zero for never
	failed bool      // a reading failed since
}

// due takes in the outcome of a reading, and reports whether to look.
func (n *naming) due(err error, now time.Time) bool {
	if err != nil {
		n.failed = true
		return false
	}
	if !n.failed && !n.at.IsZero() && now.Sub(n.at) < namedEvery {
		return false
	}
	n.at, n.failed = now, false
	return true
}
