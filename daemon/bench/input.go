package bench

import (
	"context"
	"time"

	"potlifed/daemon/instruments"
	"potlifed/model/health"
	"potlifed/model/weigh"
)

// input is one thing that comes in.
type input interface{ enter(b *Bench, now time.Time) }

var _ instruments.Sink = (*Bench)(nil)

// SensorRead passes a sensor's reading to the loop, or the error that came instead of one. It
// blocks only while the loop's queue is full, and at most until ctx ends.
func (b *Bench) SensorRead(ctx context.Context, sensor string, r instruments.SensorReading) {
	b.enter(ctx, airReading{sensor: sensor, air: r.Air, took: r.Took, err: r.Err, fault: kindOf(r.Err, r.Fault), at: b.clock.mono() - r.Age})
}

// kindOf returns the kind of a fault; an error without one is of the kind health.OtherFault.
func kindOf(err error, fault health.Fault) health.Fault {
	if err != nil && fault == "" {
		return health.OtherFault
	}
	return fault
}

// ScaleRead takes in one line of a scale.
func (b *Bench) ScaleRead(ctx context.Context, scale string, r weigh.Reading) {
	b.enter(ctx, weightReading{scale: scale, reading: r, at: b.clock.mono()})
}

// ScaleLink takes in what became of a scale's link: up, or why not.
func (b *Bench) ScaleLink(ctx context.Context, scale string, up bool, fault health.Fault, detail string) {
	b.enter(ctx, scaleLink{scale: scale, up: up, fault: fault, detail: detail})
}

// Identified takes in the name of the device at an instrument's address.
func (b *Bench) Identified(ctx context.Context, scale bool, id, name string) {
	b.enter(ctx, identified{scale: scale, id: id, name: name})
}

// ScaleLines takes in how many lines of a scale came to what, counted from the start.
func (b *Bench) ScaleLines(ctx context.Context, scale string, lines map[string]uint64) {
	b.enter(ctx, scaleLines{scale: scale, lines: lines})
}

func (b *Bench) enter(ctx context.Context, in input) {
	select {
	case b.in <- in:
	case <-ctx.Done():
	case <-b.ended:
	}
}
