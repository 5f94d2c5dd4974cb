package bench

import (
	"time"

	"potlifed/daemon/record"
)

// pairDevice and unpairDevice keep on record what was done elsewhere; the bench itself
// asks nobody who he is.
func (b *Bench) pairDevice(now time.Time, by string, c record.PairDevice) (any, error) {
	b.decide(now, by, record.DevicePaired(c))
	return struct{}{}, nil
}

func (b *Bench) unpairDevice(now time.Time, by string, c record.UnpairDevice) (any, error) {
	b.decide(now, by, record.DeviceUnpaired(c))
	return struct{}{}, nil
}
