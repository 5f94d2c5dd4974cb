package bench

import (
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/record"
	"potlifed/daemon/request"
)

// pairDevice and unpairDevice record what the access store did; the bench itself does not
// authenticate anybody.
func (b *Bench) pairDevice(now time.Time, by actor.Name, c request.PairDevice) (any, error) {
	b.decide(now, by, record.DevicePaired(c))
	return struct{}{}, nil
}

func (b *Bench) unpairDevice(now time.Time, by actor.Name, c request.UnpairDevice) (any, error) {
	b.decide(now, by, record.DeviceUnpaired(c))
	return struct{}{}, nil
}
