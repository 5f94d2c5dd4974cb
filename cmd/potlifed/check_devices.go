package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math"
	"strings"
	"time"

	"potlifed/daemon/broker"
	"potlifed/daemon/clock"
	"potlifed/daemon/config"
	"potlifed/daemon/instruments"
	"potlifed/daemon/mqtt"
	sensors "potlifed/devices/climate"
	"potlifed/devices/link"
	"potlifed/devices/modbus"
	"potlifed/devices/plugged"
	"potlifed/model/air"
)

// listenFor is how long a scale is listened to: enough for auto to settle on a shape.
const listenFor = 4 * time.Second

func (l *checklist) scale(ctx context.Context, c config.Scale) {
	what := "scale " + c.ID
	ctx, cancel := context.WithTimeout(ctx, listenFor)
	defer cancel()
	last, counts, shape, err := instruments.TryScale(ctx, c, func(line []byte) { fmt.Fprintf(&l.heard, "%s: %q\n", c.ID, line) })
	if err != nil {
		fmt.Fprintf(&l.heard, "%s: %v\n", c.ID, err)
	}
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
		l.fault(what, "%s opens, but no line came in %v; switch the scale on and set it to send continuously, or find its request with: potlifed listen --port %s --learn", c.Port, listenFor, c.Port)
	case counts.OK == 0:
		l.fault(what, "%s sends lines, but none can be read (%d of unknown shape, %d incomplete); check baud, mode and line with: potlifed listen --port %s --learn", c.Port, counts.Unknown, counts.Torn, c.Port)
	case last.Over || last.Under:
		l.good(what, "%s sends lines of shape %s; the weight is outside the scale's range at the moment", c.Port, shape)
	default:
		l.good(what, "%s shows %v g (%s)", c.Port, math.Round(last.Grams*1000)/1000, shape)
	}
}

// sensor looks whether a sensor can be read.
func (l *checklist) sensor(ctx context.Context, c config.Sensor, shop config.Shop) {
	what := "sensor " + c.ID
	if c.Source == config.Published {
		l.published(ctx, c, shop)
		return
	}
	s, err := instruments.OpenSensor(c)
	var a air.State
	if err == nil {
		a, err = instruments.ReadSensor(ctx, s)
	}
	raw := ""
	if r, ok := s.(interface{ Raw() string }); ok && r.Raw() != "" {
		raw = " (" + r.Raw() + ")"
	}
	if line, ok := s.(io.Closer); ok { // the next unit may be on the same line
		err = errors.Join(err, line.Close())
	}
	wired := c.Source == config.Modbus || c.Source == config.Lines
	switch {
	case err == nil:
		chip := ""
		if name := s.Name(); name != "" {
			chip = " (" + name + ")"
		}
		l.read = append(l.read, sensorReading{sensor: c.ID, celsius: a.TemperatureC})
		l.good(what, "%s%s in zone %s: %.1f °C, %.1f %%%s", c.Path+c.Port, chip, c.Zone, a.TemperatureC, a.HumidityPct, raw)
	case errors.Is(err, sensors.ErrAbsent):
		l.fault(what, "%s is not there; check the wiring and the driver; %s", c.Path, sensorsHere("/"))
	case errors.Is(err, sensors.ErrNoHumidity):
		l.fault(what, "%v; name a sensor that measures humidity too", err)
	case errors.Is(err, sensors.ErrOtherKind):
		l.fault(what, "%v", err)
	case errors.Is(err, sensors.ErrImplausible), errors.Is(err, sensors.ErrNoValue):
		l.fault(what, "%v%s; check the sensor, and what the configuration says of its numbers", err, raw)
	case errors.Is(err, modbus.ErrTimeout):
		l.fault(what, "%v; check the cable (A and B exchanged?), the supply, unit, baud and mode", err)
	case errors.Is(err, modbus.ErrException):
		l.fault(what, "%v", err) // which says what to do
	case errors.Is(err, modbus.ErrFrame):
		l.fault(what, "%v; check unit, registers and register against the maker's list, whose numbers may begin at 1, 30001 or 40001", err)
	case wired && errors.Is(err, sensors.ErrGarbled):
		l.fault(what, "%s sends lines that do not fit the pattern, such as%s; correct line, or baud and mode", c.Port, raw)
	case wired && errors.Is(err, context.DeadlineExceeded):
		l.fault(what, "%s opens, but no line came; check the cable, baud and mode, and set the sensor to send by itself", c.Port)
	case wired && link.Advice(err) != "":
		l.fault(what, "%v. %s", plainPort(c.Port, err), link.Advice(err))
	default:
		l.fault(what, "%v; check the cable and the supply, and look for messages of the kernel (dmesg)", err)
	}
}

// sensorsHere says which sensors there are, or how their drivers are loaded.
func sensorsHere(root string) string {
	list, _ := plugged.List(root) // what cannot be read is not there
	var paths []string
	for _, f := range list {
		if f.Path != "" {
			paths = append(paths, f.Path+" ("+f.Name+")")
		}
	}
	if len(paths) == 0 {
		return "the kernel has found no humidity sensor; " + overlayAdvice
	}
	return "the kernel has found " + strings.Join(paths, ", ")
}

// listenToSensor is how long a sensor that publishes is waited for: some publish once in minutes.
const listenToSensor = 20 * time.Second

// published looks whether a sensor publishes at the broker.
func (l *checklist) published(ctx context.Context, c config.Sensor, shop config.Shop) {
	what := "sensor " + c.ID
	topics := strings.Join(c.PublishedConfig().Topics(), " and ")
	settings, err := mqtt.FromShop(shop)
	switch {
	case err != nil:
		return // files has said so
	case len(settings.URLs) == 0 || shop.Broker.Serves(settings.URLs[0], broker.OwnAddresses()):
		l.good(what, "listens on %s at the built-in broker, which starts with the service", topics)
		return
	}
	ctx, cancel := context.WithTimeout(ctx, listenToSensor)
	defer cancel()
	now := func() clock.Instant { return clock.Instant{Wall: time.Now(), Synced: true, Mono: time.Since(started)} }
	a, payload, err := instruments.Listen(ctx, c, mqtt.NewSubscriber(settings, "check-"+c.ID, slog.New(slog.DiscardHandler)), now)
	switch {
	case err == nil:
		l.read = append(l.read, sensorReading{sensor: c.ID, celsius: a.TemperatureC})
		l.good(what, "%s in zone %s: %.1f °C, %.1f %% (%s)", topics, c.Zone, a.TemperatureC, a.HumidityPct, payload)
	case errors.Is(err, sensors.ErrRetained):
		l.good(what, "%s has a retained message only, whose age is not known (%s); it will be used once the sensor publishes again", topics, payload)
	case payload != "":
		l.fault(what, "%v (%s); correct pointer, factor or topic", err, payload)
	default:
		l.fault(what, "%v within %v on %s; check topic, the gateway and the sensor's battery. A sensor that publishes seldom may be right", err, listenToSensor, topics)
	}
}

// started is where the clock of a check begins.
var started = time.Now()
