package main

import (
	"context"
	"errors"
	"time"

	"potlifed/daemon/config"
	"potlifed/daemon/instruments"
	sensors "potlifed/devices/climate"
	"potlifed/devices/link"
)

// listenFor is how long a scale is listened to: enough for auto to settle on a shape.
const listenFor = 4 * time.Second

func (l *checklist) scale(ctx context.Context, c config.Scale) {
	what := "scale " + c.ID
	ctx, cancel := context.WithTimeout(ctx, listenFor)
	defer cancel()
	last, counts, shape, err := instruments.TryScale(ctx, c)
	switch {
	case errors.Is(err, link.ErrBusy):
		l.fault(what, "%v; end that program, a running potlifed included", plainPort(c.Port, err))
	case errors.Is(err, link.ErrAbsent):
		l.fault(what, "%v; plug the scale in and switch it on, or correct port in the configuration", plainPort(c.Port, err))
	case errors.Is(err, link.ErrDenied):
		l.fault(what, "%v; put the user into the group that owns the port, usually dialout", plainPort(c.Port, err))
	case errors.Is(err, link.ErrNotSerial):
		l.fault(what, "%v; name the serial port, best as under /dev/serial/by-id", plainPort(c.Port, err))
	case err != nil:
		l.fault(what, "%v", err)
	case counts.OK == 0 && counts.Unknown+counts.Torn+counts.Overlong == 0:
		l.fault(what, "%s opens, but no line came in %v; switch the scale on and set it to send continuously", c.Port, listenFor)
	case counts.OK == 0:
		l.fault(what, "%s sends lines, but none can be read (%d of unknown shape, %d incomplete); check baud, mode and line with: potlifed listen --port %s", c.Port, counts.Unknown, counts.Torn, c.Port)
	case last.Over || last.Under:
		l.good(what, "%s sends lines of shape %s; the weight is outside the scale's range at the moment", c.Port, shape)
	default:
		l.good(what, "%s shows %v g (%s)", c.Port, last.Grams, shape)
	}
}

func (l *checklist) sensor(ctx context.Context, c config.Sensor) {
	what := "sensor " + c.ID
	s, err := instruments.OpenSensor(c)
	switch {
	case errors.Is(err, sensors.ErrAbsent):
		l.fault(what, "%s is not there; check the wiring and the driver: the files called name under /sys/class/hwmon and /sys/bus/iio/devices say which sensors the kernel has found", c.Path)
		return
	case errors.Is(err, sensors.ErrNoHumidity):
		l.fault(what, "%v; name a sensor that measures humidity too", err)
		return
	case err != nil:
		l.fault(what, "%v", err)
		return
	}
	a, err := instruments.ReadSensor(ctx, s)
	if err != nil {
		l.fault(what, "%v; check the cable and the supply, and look for messages of the kernel (dmesg)", err)
		return
	}
	chip := ""
	if name := s.Name(); name != "" {
		chip = " (" + name + ")"
	}
	l.good(what, "%s%s in zone %s: %.1f °C, %.1f %%", c.Path, chip, c.Zone, a.TemperatureC, a.HumidityPct)
}
