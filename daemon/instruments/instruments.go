// Package instruments opens the scales, sensors and trends of a configuration, reads them for as
// long as the service runs, and hands their readings on. It decides nothing about what
// they mean.
//
// [Reader.Run] is for the service. [TryScale], [TryTrend], [Listen], and [OpenSensor] with
// [ReadSensor] do the same once, for a person who sets an instrument up.
package instruments

import (
	"context"
	"log/slog"
	"reflect"
	"sync"
	"time"

	"potlifed/daemon/clock"
	"potlifed/daemon/config"
	"potlifed/devices/modbus"
	"potlifed/model/air"
	"potlifed/model/health"
	"potlifed/model/weigh"
)

// Sink takes in what the instruments say. Its methods are called from several goroutines
// at once, for one instrument in the order in which things happened. They may block, but
// return when ctx is done.
type Sink interface {
	// SensorRead takes in one reading of a sensor, or why there is none.
	SensorRead(ctx context.Context, sensor string, r SensorReading)
	// TrendRead takes in one value of an instrument that follows a batch, or why there is none.
	TrendRead(ctx context.Context, trend string, r TrendReading)
	// ScaleRead takes in one line of a scale. The reading has no time yet.
	ScaleRead(ctx context.Context, scale string, r weigh.Reading)
	// ScaleKey takes in that the print key of a scale was pressed.
	ScaleKey(ctx context.Context, scale string)
	// ScaleLink takes in whether a scale is connected, and why not: a fault, and the error.
	ScaleLink(ctx context.Context, scale string, up bool, fault health.Fault, detail string)
	// Identified takes in by which name the system has the device at the address of a sensor or a
	// scale: that of the chip's driver, or of the adapter by id. It is called when the device is opened,
	// and for a sensor that is asked again after each fault and once a minute; not where there is no name.
	Identified(ctx context.Context, scale bool, id, name string)
	// ScaleLines takes in how many lines of a scale had which outcome since the start: ok,
	// overload, torn, unknown or overlong. The receiver owns the map.
	ScaleLines(ctx context.Context, scale string, lines map[string]uint64)
}

// SensorReading is one reading of a sensor, or why there is none.
type SensorReading struct {
	Air  air.State     // if Err is nil
	Age  time.Duration // how long ago it was measured, for a sensor that tells
	Took time.Duration // how long the reading took, in real time
	Err  error
	// Fault is what kind of error Err is; empty without one. With health.Implausible the sensor
	// did answer, with a value that no air has.
	Fault health.Fault
}

// Reader reads the instruments of a configuration.
type Reader struct {
	Shop  config.Shop
	Clock clock.Clock // paces the sensors
	Log   *slog.Logger
	Sink  Sink
	// Changed receives each further configuration; nil for none. What is configured as before is
	// read on without a gap. Units on one Modbus line are started again together, and so are all
	// instruments that publish.
	Changed <-chan config.Shop
	// Subscriber hears the instruments that publish; nil where MQTT is off.
	Subscriber Subscriber
}

// Run reads each instrument in a goroutine of its own. It returns nil once ctx is done and
// all of them have ended; those that hang in the kernel's driver are left behind after 10 s. A missing
// instrument is no failure: it is tried again.
func (r Reader) Run(ctx context.Context) error {
	running := map[string]started{}
	shop := r.Shop
	for {
		r.refit(ctx, running, shop)
		select {
		case shop = <-r.Changed:
		case <-ctx.Done():
			r.refit(ctx, running, config.Shop{})
			return nil
		}
	}
}

// task reads one instrument, or several that share something, until its context is done.
type task struct {
	config any // the task is started again when it is different
	run    func(context.Context)
}

// started is a task that runs.
type started struct {
	config any
	cancel context.CancelFunc
	ended  <-chan struct{}
}

// stopsWithin is how long the end of tasks is waited for. It takes a tenth of a second, and a close of a
// port at times some more, unless the kernel's driver hangs.
const stopsWithin = 10 * time.Second

// tasks are what reads the instruments of a configuration.
func (r Reader) tasks(shop config.Shop) map[string]task {
	all := map[string]task{}
	var published config.Shop
	units := map[string][]config.Sensor{} // by port
	for _, c := range shop.Sensors {
		switch c.Source {
		case config.Published:
			published.Sensors = append(published.Sensors, c)
		case config.Modbus:
			units[c.Port] = append(units[c.Port], c)
		case config.Lines:
			all["sensor "+c.ID] = task{c, func(ctx context.Context) { r.lines(ctx, c) }}
		default:
			all["sensor "+c.ID] = task{c, func(ctx context.Context) { r.sensor(ctx, c, nil) }}
		}
	}
	for _, c := range shop.Trends {
		if c.Source == config.Published {
			published.Trends = append(published.Trends, c)
		} else {
			all["trend "+c.ID] = task{c, func(ctx context.Context) { r.trendLines(ctx, c) }}
		}
	}
	if len(published.Sensors)+len(published.Trends) > 0 { // one subscription serves all
		all["published"] = task{published, func(ctx context.Context) { r.published(ctx, published) }}
	}
	for port, sensors := range units { // units on one line share it
		all["modbus "+port] = task{sensors, func(ctx context.Context) { r.units(ctx, sensors) }}
	}
	for _, c := range shop.Scales {
		all["scale "+c.ID] = task{c, func(ctx context.Context) { r.scale(ctx, c) }}
	}
	return all
}

// refit stops the tasks that a configuration does not have, or has in another form, and starts
// those that are missing. A task has ended before another one opens the same port, unless it hangs in a
// driver: the port is then busy for the other one.
func (r Reader) refit(ctx context.Context, running map[string]started, shop config.Shop) {
	wanted := r.tasks(shop)
	ending := map[string]started{}
	for name, is := range running {
		if want, there := wanted[name]; !there || !reflect.DeepEqual(want.config, is.config) {
			is.cancel()
			ending[name] = is
			delete(running, name)
		}
	}
	r.await(ending)
	for name, want := range wanted {
		if _, there := running[name]; there {
			continue
		}
		ctx, cancel := context.WithCancel(ctx)
		ended := make(chan struct{})
		go func() {
			defer close(ended)
			want.run(ctx)
		}()
		running[name] = started{want.config, cancel, ended}
	}
}

// await waits until tasks have ended, but not for a driver that hangs.
func (r Reader) await(ending map[string]started) {
	ctx, over := context.WithTimeout(context.Background(), stopsWithin)
	defer over()
	for name, is := range ending {
		select {
		case <-is.ended:
			continue
		case <-ctx.Done():
		}
		select {
		case <-is.ended: // while another one was waited for
		default:
			r.Log.Error("a reading hangs in the system's driver and is left behind", "device", name)
		}
	}
}

// units reads the units of one Modbus line, which they share.
func (r Reader) units(ctx context.Context, sensors []config.Sensor) {
	var running sync.WaitGroup
	line, wrong := newBus(sensors[0])
	for _, c := range sensors {
		running.Go(func() { r.sensor(ctx, c, func() (*modbus.Bus, error) { return line, wrong }) })
	}
	running.Wait()
	if wrong != nil {
		return
	}
	if err := line.Close(); err != nil {
		r.Log.Warn("a Modbus line does not close", "port", sensors[0].Port, "err", err)
	}
}
