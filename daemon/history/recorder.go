package history

import (
	"context"
	"time"

	"potlifed/daemon/clock"
	"potlifed/daemon/instruments"
)

var _ instruments.Sink = (*History)(nil)

const (
	// keptEvery is how often readings go to the table recent: at a kill at most these minutes are lost.
	keptEvery = 5 * time.Minute
	// rollEvery is how often readings get a row for each sensor, and minutes, quarter-hours, prints and
	// batches are stored. All of these can be made again, from recent readings and from the journal.
	rollEvery = time.Hour
	// notSetAtMost is how long readings wait for the clock to be set, so that they are stored
	// under their true time.
	notSetAtMost = 15 * time.Minute
	// mostWaiting bounds the readings in memory while the file cannot be written: some days.
	mostWaiting = 300_000
	// stepped is a change of bench time against CLOCK_BOOTTIME that is a step of the clock.
	stepped = 400 * time.Millisecond
)

// SensorRead passes a sensor's reading on and records it. It never waits for the file: a reading
// that finds the queue full is counted and dropped.
func (h *History) SensorRead(ctx context.Context, sensor string, r instruments.SensorReading) {
	h.Sink.SensorRead(ctx, sensor, r)
	if r.Err != nil || r.Air.Valid() != nil {
		return
	}
	is, now := h.settings.Bench.Snapshot(), h.settings.Clock.Now()
	at := is.At.Add(now.Mono - is.Mono)
	if at.Year() < 1971 || at.Year() > 2200 {
		return
	}
	select {
	case h.in <- taken{sensor, Reading{at, r.Air}, now.Mono, !is.ClockSynced}:
	default:
		h.dropped.Add(1)
	}
}

// Run records until ctx is done, and then stores what is waiting. It returns nil: a history that
// cannot be written never ends the service.
func (h *History) Run(ctx context.Context) error {
	timer := time.NewTimer(clock.Real(h.settings.Clock, time.Minute))
	defer timer.Stop()
	for {
		select {
		case <-ctx.Done():
			h.drain()
			last := context.WithoutCancel(ctx)
			for {
				if more, err := h.catchUp(last); !more || err != nil {
					break
				}
			}
			h.mu.Lock()
			h.save(last, true)
			h.mu.Unlock()
			return nil
		case t := <-h.in:
			h.mu.Lock()
			h.waiting.take(t)
			h.mu.Unlock()
			h.drain()
		case <-timer.C:
			h.tick(ctx)
			timer.Reset(clock.Real(h.settings.Clock, time.Minute))
		}
	}
}

// drain takes what else is in the queue.
func (h *History) drain() {
	h.mu.Lock()
	defer h.mu.Unlock()
	for range cap(h.in) {
		select {
		case t := <-h.in:
			h.waiting.take(t)
		default:
			return
		}
	}
}

// take adds a reading to what is waiting. When bench time was stepped, the readings of before the clock was
// set move with it.
func (w *waiting) take(t taken) {
	offset := time.Duration(t.reading.At.UnixNano()) - t.mono
	if step := offset - w.offset; w.offset != 0 && (step > stepped || step < -stepped) {
		for _, c := range w.chunks {
			if !c.notSet {
				continue
			}
			for i := range c.readings {
				c.readings[i].At = c.readings[i].At.Add(step)
			}
			c.notSet = t.notSet
		}
	}
	w.offset = offset
	if w.since.IsZero() {
		w.since = t.reading.At
	}
	c := w.chunkFor(t.sensor, t.reading, t.notSet, t.mono)
	c.add(t.reading, t.mono)
	if len(c.readings) == 1 && len(w.chunks) > 1 {
		w.forget()
	}
}

// chunkFor returns the chunk that takes a sensor's next reading, a new one where there is none.
func (w *waiting) chunkFor(sensor string, r Reading, notSet bool, mono time.Duration) *chunk {
	for i := len(w.chunks) - 1; i >= 0; i-- {
		if c := w.chunks[i]; c.sensor == sensor {
			if c.takes(r, notSet) {
				return c
			}
			break
		}
	}
	c := &chunk{sensor: sensor, notSet: notSet, began: mono}
	w.chunks = append(w.chunks, c)
	return c
}

// forget drops the oldest readings when too many wait; their minutes are kept.
func (w *waiting) forget() {
	sum := 0
	for _, c := range w.chunks {
		sum += len(c.readings)
	}
	for sum > mostWaiting {
		c := w.chunks[0]
		w.roll(c.sensor, c.readings)
		sum -= len(c.readings)
		w.chunks = w.chunks[1:]
	}
}

// tick follows the journal and stores what is due.
func (h *History) tick(ctx context.Context) {
	for {
		more, err := h.catchUp(ctx)
		if err != nil && ctx.Err() == nil {
			h.settings.Log.Warn("the history does not follow the journal", "err", err)
		}
		if !more || err != nil {
			break
		}
		h.mu.Lock()
		h.save(ctx, true) // a long way to follow: what was done is kept
		h.mu.Unlock()
	}
	now := h.settings.Bench.Snapshot()
	h.mu.Lock()
	defer h.mu.Unlock()
	due := false
	for _, c := range h.waiting.chunks {
		due = due || len(c.readings) > c.kept && now.Mono-c.unkept >= keptEvery
	}
	whole := !h.waiting.since.IsZero() && (now.At.Sub(h.waiting.since) >= rollEvery || now.At.Before(h.waiting.since))
	if due || whole {
		h.save(ctx, whole)
	}
	if h.store != nil && (h.purged.IsZero() || now.At.Sub(h.purged) >= 24*time.Hour || now.At.Before(h.purged)) { // before: the clock was set back
		h.purged = now.At
		if err := h.purge(ctx, now.At, MostBytes); err != nil {
			h.settings.Log.Warn("old readings are not removed", "err", err)
		}
	}
}
