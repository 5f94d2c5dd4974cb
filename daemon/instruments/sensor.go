package instruments

import (
	"context"
	"errors"
	"log/slog"
	"time"

	"potlifed/daemon/clock"
	"potlifed/daemon/config"
	"potlifed/devices/climate"
	"potlifed/devices/link"
	"potlifed/devices/modbus"
	"potlifed/model/air"
	"potlifed/model/health"
)

// sensor reads one sensor that is asked, at its interval. Reading and waiting are in one goroutine, so
// that a sensor is never read twice at once. bus is as for [openSensor].
func (r Reader) sensor(ctx context.Context, c config.Sensor, bus func() (*modbus.Bus, error)) {
	timer := time.NewTimer(0)
	defer timer.Stop()
	var opened Sensor
	var names naming
	var asked attempt
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
			opened, is.Err = openSensor(c, bus)
		}
		if is.Err == nil {
			is.Air, is.Err = asked.read(ctx, opened)
		}
		if ctx.Err() != nil {
			return
		}
		faults.note(is.Err)
		if names.due(is.Err, time.Now()) {
			r.identified(ctx, false, c.ID, sensorName(c, opened))
		}
		is.Took, is.Fault = time.Since(began), sensorFault(is.Err)
		r.Sink.SensorRead(ctx, c.ID, is)
	}
}

// identified hands on the name of a device, where it has one.
func (r Reader) identified(ctx context.Context, scale bool, id, name string) {
	if name != "" {
		r.Sink.Identified(ctx, scale, id, name)
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
	case errors.Is(err, climate.ErrNoHumidity):
		return health.NoHumidity
	case errors.Is(err, climate.ErrOtherKind):
		return health.OtherKind
	case errors.Is(err, climate.ErrNoValue), errors.Is(err, modbus.ErrException):
		return health.NoValue
	case errors.Is(err, climate.ErrRetained), errors.Is(err, climate.ErrHalf), errors.Is(err, errNotHeard):
		return health.NotHeard
	case errors.Is(err, climate.ErrGarbled), errors.Is(err, modbus.ErrFrame):
		return health.Garbled
	case errors.Is(err, climate.ErrBlocked), errors.Is(err, context.DeadlineExceeded), errors.Is(err, modbus.ErrTimeout):
		return health.Blocked
	}
	return linkFault(err)
}

// Sensor is an open sensor.
type Sensor interface {
	// Read returns the air. It blocks until the sensor has answered or ctx ends.
	Read(ctx context.Context) (air.State, error)
	// Name returns what the sensor calls itself, empty if it has no name.
	Name() string
}

// OpenSensor opens a configured sensor for a person who tries it, apart from the service. Its
// errors are those of package climate. A sensor that publishes is not opened: see [Listen].
func OpenSensor(c config.Sensor) (Sensor, error) {
	return openSensor(c, func() (*modbus.Bus, error) { return newBus(c) })
}

// newBus returns the Modbus line of a unit.
func newBus(c config.Sensor) (*modbus.Bus, error) {
	return modbus.New(link.Settings{Port: c.Port, Baud: c.Baud, Mode: c.Mode}, modbus.Framing(c.Framing))
}

// openSensor opens a sensor that is asked for its values; bus is called for a Modbus unit only, and returns its line.
func openSensor(c config.Sensor, bus func() (*modbus.Bus, error)) (Sensor, error) {
	switch c.Source {
	case config.IIO:
		return opened(climate.OpenIIO(c.Path))
	case config.Modbus:
		line, err := bus()
		if err != nil {
			return nil, err
		}
		return opened(climate.NewModbus(line, c.ModbusConfig()))
	case config.Lines:
		return opened(climate.NewLine(c.LineConfig()))
	}
	return opened(climate.OpenHWMon(c.Path))
}

// opened returns no sensor beside an error: a nil pointer in an interface is not nil.
func opened[S Sensor](s S, err error) (Sensor, error) {
	if err != nil {
		return nil, err
	}
	return s, nil
}

// longestReading is longer than three attempts of the driver with their pauses.
const longestReading = 10 * time.Second

// ReadSensor reads a sensor once. It gives up after 10 s on a reading that hangs in the
// kernel; the driver starts no second one before that has come back. Its errors are those
// of the sensor's Read.
func ReadSensor(ctx context.Context, sensor Sensor) (air.State, error) {
	ctx, cancel := context.WithTimeout(ctx, longestReading)
	defer cancel()
	return sensor.Read(ctx)
}

// attempt is the reading of a sensor that is under way. The zero attempt is none.
type attempt struct {
	answers chan answer // nil while none is under way
}

type answer struct {
	air air.State
	err error
}

// hangsAfter is how long a reading may take although its context has ended: a read of a port ends within
// 100 ms unless it hangs in the kernel's driver.
const hangsAfter = 5 * time.Second

// read reads a sensor as [ReadSensor] does. A reading that does not come back hangs in a driver: read
// then returns [climate.ErrBlocked] at once until it has come back, so that there is never more than one.
// What it brings by then is too old to be used. It is not waited for at a stop either.
func (a *attempt) read(ctx context.Context, sensor Sensor) (air.State, error) {
	if a.answers != nil {
		select {
		case <-a.answers:
		default:
			return air.State{}, climate.ErrBlocked
		}
	}
	answers := make(chan answer, 1)
	a.answers = answers
	go func() {
		var is answer
		is.air, is.err = ReadSensor(ctx, sensor)
		answers <- is
	}()
	timer := time.NewTimer(longestReading + hangsAfter)
	defer timer.Stop()
	done := ctx.Done()
	for {
		select {
		case is := <-answers:
			a.answers = nil
			return is.air, is.err
		case <-done:
			timer.Reset(hangsAfter)
			done = nil
		case <-timer.C:
			return air.State{}, climate.ErrBlocked
		}
	}
}

// faultLog logs a fault of a sensor or trend when it begins and when it is over, and not at each
// reading between.
type faultLog struct {
	log    *slog.Logger
	failed int // readings in a row
}

func (f *faultLog) note(err error) {
	switch {
	case err != nil:
		if f.failed++; f.failed == 1 {
			f.log.Warn("the instrument cannot be read", "err", err)
		}
	case f.failed > 0:
		f.log.Info("the instrument can be read again", "failed_readings", f.failed)
		f.failed = 0
	}
}
