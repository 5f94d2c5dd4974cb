package instruments

import (
	"context"
	"errors"
	"log/slog"
	"time"

	"potlifed/daemon/clock"
	"potlifed/daemon/config"
	"potlifed/devices/climate"
	"potlifed/model/air"
	"potlifed/model/health"
)

// sensor reads one sensor at its interval. Reading and waiting are in one goroutine, so
// that a sensor is never read twice at once.
func (r Reader) sensor(ctx context.Context, c config.Sensor) {
	timer := time.NewTimer(0)
	defer timer.Stop()
	var opened *climate.HWMon
	faults := faultLog{log: r.Log.With("device", c.ID)}
	for {
		select {
		case <-ctx.Done():
			return
		case <-timer.C:
		}
		timer.Reset(clock.Real(r.Clock, c.Every))
		began := time.Now()
		var is SensorReading
		if opened == nil {
			opened, is.Err = OpenSensor(c)
		}
		if is.Err == nil {
			is.Air, is.Err = ReadSensor(ctx, opened)
		}
		if ctx.Err() != nil {
			return
		}
		faults.note(is.Err)
		is.Took, is.Fault = time.Since(began), sensorFault(is.Err)
		r.Sink.SensorRead(ctx, c.ID, is)
	}
}

// sensorFault returns the kind of an error of a sensor, empty for no error.
func sensorFault(err error) health.Fault {
	switch {
	case err == nil:
		return ""
	case errors.Is(err, climate.ErrImplausible):
		return health.Implausible
	case errors.Is(err, climate.ErrAbsent):
		return health.Absent
	case errors.Is(err, climate.ErrGarbled):
		return health.Garbled
	case errors.Is(err, climate.ErrBlocked), errors.Is(err, context.DeadlineExceeded):
		return health.Blocked
	}
	return health.OtherFault
}

// OpenSensor opens a configured sensor. Its errors are those of [climate.OpenHWMon].
func OpenSensor(c config.Sensor) (*climate.HWMon, error) { return climate.OpenHWMon(c.Path) }

// longestReading is longer than three attempts of the driver with their pauses.
const longestReading = 10 * time.Second

// ReadSensor reads a sensor once. It gives up after 10 s on a reading that hangs in the
// kernel; the driver starts no second one before that has come back. Its errors are those
// of [climate.HWMon.Read].
func ReadSensor(ctx context.Context, sensor *climate.HWMon) (air.State, error) {
	ctx, cancel := context.WithTimeout(ctx, longestReading)
	defer cancel()
	return sensor.Read(ctx)
}

// faultLog logs a fault of a sensor when it begins and when it is over, and not at each
// reading between.
type faultLog struct {
	log    *slog.Logger
	failed int // readings in a row
}

func (f *faultLog) note(err error) {
	switch {
	case err != nil:
		if f.failed++; f.failed == 1 {
			f.log.Warn("the sensor cannot be read", "err", err)
		}
	case f.failed > 0:
		f.log.Info("the sensor can be read again", "failed_readings", f.failed)
		f.failed = 0
	}
}
