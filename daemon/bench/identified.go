package bench

import (
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/record"
)

// identified is the name of the device at an instrument's address.
type identified struct {
	scale    bool
	id, name string
}

func (i identified) enter(b *Bench, now time.Time) {
	key, there := record.SensorKey(i.id), false
	if i.scale {
		key = record.ScaleKey(i.id)
		_, there = b.scales[i.id]
	} else {
		_, there = b.sensors[i.id]
	}
	if was := b.state.Names[key]; there && i.name != "" && was != i.name {
		b.decide(now, actor.Bench, record.Identified{Device: i.id, Scale: i.scale, Name: i.name, Was: was})
	}
}
