package instruments

import (
	"context"
	"errors"
	"time"

	"potlifed/daemon/config"
	"potlifed/devices/link"
	"potlifed/devices/plugged"
	scales "potlifed/devices/scale"
	"potlifed/model/health"
	"potlifed/model/weigh"
)

// countsEvery is how often the counts of lines are handed on while good lines come in.
const countsEvery = time.Second

// scale reads one scale.
func (r Reader) scale(ctx context.Context, c config.Scale) {
	log := r.Log.With("device", c.ID)
	s, err := scales.New(driverConfig(c))
	if err != nil { // the configuration was checked
		log.Error("the scale cannot be read", "err", err)
		r.Sink.ScaleLink(ctx, c.ID, false, linkFault(err), err.Error())
		return
	}
	counts := func() { r.Sink.ScaleLines(ctx, c.ID, lineCounts(s.Counts())) }
	last := time.Time{}
	sink := scales.Sink{
		Reading: func(reading weigh.Reading) {
			r.Sink.ScaleRead(ctx, c.ID, reading)
			if now := time.Now(); now.Sub(last) >= countsEvery {
				last = now
				counts()
			}
		},
		Key:      func() { r.Sink.ScaleKey(ctx, c.ID) },
		Rejected: func([]byte, error) { counts() },
		Link: func(change link.Change) {
			switch change.Kind {
			case link.Failed, link.Lost:
				log.Warn("the scale is not connected", "is", change.Kind, "err", change.Err)
				r.Sink.ScaleLink(ctx, c.ID, false, linkFault(change.Err), change.Err.Error())
			case link.Connected, link.Speaking:
				if change.Kind == link.Connected {
					r.identified(ctx, true, c.ID, plugged.PortName(root, c.Port))
				}
				log.Info("the scale", "is", change.Kind)
				r.Sink.ScaleLink(ctx, c.ID, true, "", "")
			case link.Silent:
				log.Warn("the scale is silent", "for", change.Quiet)
			}
		},
	}
	if err := s.Run(ctx, sink); err != nil {
		log.Error("the scale cannot be read", "err", err)
		r.Sink.ScaleLink(ctx, c.ID, false, linkFault(err), err.Error())
	}
}

// linkFault returns the kind of an error of a link.
func linkFault(err error) health.Fault {
	for _, known := range []struct {
		is    error
		fault health.Fault
	}{
		{link.ErrHangs, health.Blocked}, {link.ErrAbsent, health.Absent}, {link.ErrBusy, health.Busy}, {link.ErrDenied, health.Denied},
		{link.ErrNotSerial, health.NotSerial}, {link.ErrSettings, health.Settings}, {link.ErrLost, health.Lost},
	} {
		if errors.Is(err, known.is) {
			return known.fault
		}
	}
	return health.OtherFault
}

// driverConfig is a configured scale as its driver takes it.
func driverConfig(c config.Scale) scales.Config {
	return scales.Config{Link: link.Settings{Port: c.Port, Baud: c.Baud, Mode: c.Mode, Request: c.Request, Every: c.Every}, Line: c.Line, Key: c.PrintKey}
}

// lineCounts are a scale's lines by their outcome. Lines that were decoded while the shape
// was being learned count as good: they only came too early to be used.
func lineCounts(c scales.Counts) map[string]uint64 {
	return map[string]uint64{
		"ok": c.OK - c.Overload + c.Learning, "overload": c.Overload,
		"torn": c.Torn, "unknown": c.Unknown, "overlong": c.Overlong,
	}
}

// linesToTry are as many as show that a scale's lines can be read.
const linesToTry = 3

// TryScale opens a scale and reads it until enough lines were decoded, or until ctx is
// done. It returns the last line that could be decoded, the counts of all lines, and the
// name of the shape that they have. heard gets each line as it came. The error is that of the driver ([scales.Watch]).
func TryScale(ctx context.Context, c config.Scale, heard func(line []byte)) (last weigh.Reading, counts scales.Counts, shape string, err error) {
	ctx, enough := context.WithCancel(ctx)
	defer enough()
	decoded := 0
	counts, shape, err = scales.Watch(ctx, driverConfig(c), func(line []byte, r weigh.Reading, err error) {
		heard(line)
		if err != nil {
			return
		}
		last = r
		if decoded++; decoded >= linesToTry {
			enough()
		}
	})
	return last, counts, shape, err
}
