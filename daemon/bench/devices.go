package bench

import (
	"context"
	"errors"
	"log/slog"
	"sync"
	"time"

	"potlifed/daemon/clock"
	"potlifed/daemon/config"
	"potlifed/devices/climate"
	"potlifed/devices/link"
	scales "potlifed/devices/scale"
	"potlifed/model/air"
	"potlifed/model/weigh"
)

// RunDevices reads the shop's instruments, each in a goroutine of its own, and hands
// what they say to the loop. It returns when ctx is done and all have ended.
//
// A missing instrument is a state and no failure: it is tried again.
func (b *Bench) RunDevices(ctx context.Context) error {
	var running sync.WaitGroup
	for _, c := range b.shop.Sensors {
		running.Go(func() { b.readSensor(ctx, c) })
	}
	for _, c := range b.shop.Scales {
		running.Go(func() { b.readScale(ctx, c) })
	}
	running.Wait()
	<-ctx.Done()
	return nil
}

// readSensor reads one sensor at its pace. Reading and pause are in one goroutine, so
// a sensor is never read twice at once.
func (b *Bench) readSensor(ctx context.Context, c config.Sensor) {
	log := b.log.With("device", c.ID)
	timer := time.NewTimer(0)
	defer timer.Stop()
	var sensor *climate.HWMon
	said := spoken{log: log}
	for {
		select {
		case <-ctx.Done():
			return
		case <-timer.C:
		}
		timer.Reset(clock.Real(b.clock, c.Every))
		began := time.Now()
		a, err := air.State{}, error(nil)
		if sensor == nil {
			sensor, err = climate.OpenHWMon(c.Path)
		}
		if err == nil {
			a, err = readWithin(ctx, sensor)
		}
		if ctx.Err() != nil {
			return
		}
		said.about(err)
		if errors.Is(err, climate.ErrImplausible) { // a value, but none that air has: let the loop count it so
			b.Implausible(ctx, c.ID, time.Since(began), err)
		} else {
			b.Reading(ctx, c.ID, a, time.Since(began), err)
		}
	}
}

// readWithin gives up on a reading that hangs in the kernel; the driver lets no second
// one begin before it has come back.
func readWithin(ctx context.Context, sensor *climate.HWMon) (air.State, error) {
	ctx, cancel := context.WithTimeout(ctx, longestReading)
	defer cancel()
	return sensor.Read(ctx)
}

// longestReading is more than three tries with their pauses take.
const longestReading = 10 * time.Second

// spoken logs a fault when it comes and when it has gone, and not each time between.
type spoken struct {
	log    *slog.Logger
	failed int
}

func (s *spoken) about(err error) {
	switch {
	case err != nil:
		if s.failed++; s.failed == 1 {
			s.log.Warn("the sensor cannot be read", "err", err)
		}
	case s.failed > 0:
		s.log.Info("the sensor can be read again", "failed_readings", s.failed)
		s.failed = 0
	}
}

// readScale follows one scale.
func (b *Bench) readScale(ctx context.Context, c config.Scale) {
	log := b.log.With("device", c.ID)
	s, err := scales.New(ScaleConfig(c))
	if err != nil { // the configuration was checked
		log.Error("the scale cannot be followed", "err", err)
		b.ScaleLink(ctx, c.ID, false, err.Error())
		return
	}
	counts := func() { b.ScaleLines(ctx, c.ID, lineCounts(s.Counts())) }
	last := time.Time{}
	sink := scales.Sink{
		Reading: func(r weigh.Reading) {
			b.Weight(ctx, c.ID, r)
			if now := time.Now(); now.Sub(last) >= time.Second {
				last = now
				counts()
			}
		},
		Key:      func() { b.ScaleKey(ctx, c.ID) },
		Rejected: func([]byte, error) { counts() },
		Link: func(change link.Change) {
			switch change.Kind {
			case link.Failed, link.Lost:
				log.Warn("the scale is away", "is", change.Kind, "err", change.Err)
				b.ScaleLink(ctx, c.ID, false, change.Err.Error())
			case link.Connected, link.Speaking:
				log.Info("the scale", "is", change.Kind)
				b.ScaleLink(ctx, c.ID, true, "")
			case link.Silent:
				log.Warn("the scale is silent", "for", change.Quiet)
			}
		},
	}
	if err := s.Run(ctx, sink); err != nil {
		log.Error("the scale cannot be followed", "err", err)
		b.ScaleLink(ctx, c.ID, false, err.Error())
	}
}

// ScaleConfig is a configured scale as its driver takes it.
func ScaleConfig(c config.Scale) scales.Config {
	return scales.Config{Link: link.Settings{Port: c.Port, Baud: c.Baud, Mode: c.Mode}, Line: c.Line, Key: c.PrintKey}
}

// lineCounts are a scale's lines by what came of them. Lines that were decoded while
// the shape was being learned are good ones that came too early to be used.
func lineCounts(c scales.Counts) map[string]uint64 {
	return map[string]uint64{
		"ok": c.OK - c.Overload + c.Learning, "overload": c.Overload,
		"torn": c.Torn, "unknown": c.Unknown, "overlong": c.Overlong,
	}
}
