// Package simulate provides simulated instruments on real interfaces: a scale on a
// pseudo-terminal, and the humidity sensor of a room as files like those of the kernel. Code
// that reads them needs no special case. The demo and the tests use them.
package simulate

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"sync"
	"time"
)

// ScaleOptions describe a simulated scale. Zero values mean the defaults.
type ScaleOptions struct {
	// Dir is the folder of the scale's stable name, as /dev/serial/by-id is for real ports. A
	// pseudo-terminal needs it.
	Dir string
	// Name is the stable name, "simulated-scale" by default.
	Name string
	// Shape is how lines are built: status-first (the default), letters-first, tare-first,
	// stability-last, tare-last, weight-unit (the unit is missing while the weight moves),
	// sign-digits, digits, checksum, hid for reports of a device on hidraw, or a way to write lines that a pattern reads,
	// such as thousands. See [Shapes].
	Shape string
	// Unit is g (the default), kg, oz or lb. A shape without a unit sends the numbers of it.
	Unit string
	// Kilograms is Unit kg for lines that state their unit.
	Kilograms bool
	// Request makes it a scale that sends one line each time it receives this, such as "P\r\n", and
	// nothing otherwise.
	Request string
	// DecimalComma: lines have a decimal comma in place of the point.
	DecimalComma bool
	// Every is the time between lines, 100 ms by default; with Request, how soon it answers.
	Every time.Duration
	// DivisionG is the division of the scale in g, 0.1 by default.
	DivisionG float64
	// CapacityG is the largest weight that it shows, in g, 2000 by default. Above it, lines say
	// that the scale is over range.
	CapacityG float64
	// NoiseG is the standard deviation of a reading in grams before rounding.
	NoiseG float64
	// Settle is for how long after the last change the weight counts as moving, 600 ms by
	// default.
	Settle time.Duration
	// Seed is the seed of the noise.
	Seed uint64
	// KeyLine is the line that it sends when its print key is pressed, "PRINT" by default.
	KeyLine string
	// TCP: the scale is a loopback TCP port even where there are pseudo-terminals.
	TCP bool
}

func (o ScaleOptions) withDefaults() ScaleOptions {
	if o.Name == "" {
		o.Name = "simulated-scale"
	}
	if o.Shape == "" {
		o.Shape = "status-first"
	}
	if o.Unit == "" {
		o.Unit = "g"
	}
	if o.KeyLine == "" {
		o.KeyLine = "PRINT"
	}
	if o.Every == 0 {
		o.Every = 100 * time.Millisecond
	}
	if o.DivisionG == 0 {
		o.DivisionG = 0.1
	}
	if o.CapacityG == 0 {
		o.CapacityG = 2000
	}
	if o.Settle == 0 {
		o.Settle = 600 * time.Millisecond
	}
	return o
}

// port is the interface of the scale.
type port interface {
	// path returns what a reader opens.
	path() string
	// write sends bytes to the readers and drops them when there are none, as a real line does.
	// It never waits for long.
	write(p []byte) error
	// unplug ends the present connection and removes the name.
	unplug() error
	// replug makes the same name again.
	replug() error
	// requested returns how often the readers have sent the request since the last call.
	requested(request string) (times int, err error)
}

// Shapes returns the shapes of [ScaleOptions] and, for each, the settings line and request of a
// configuration that reads it.
func Shapes() map[string]struct{ Line, Request string } {
	shapes := map[string]struct{ Line, Request string }{}
	for name := range lineFormats {
		s := struct{ Line, Request string }{Line: name}
		switch name {
		case "digits":
			s.Line = "{sign}{weight}{unit=g}"
		case "checksum":
			s.Line = "{net=N|gross=G}{sign}{weight} {unit} {moving=?|stable=}{check=xor,after-etx,etx,byte}"
		case "hid":
			s.Line = ""
		}
		shapes[name] = s
	}
	for name, f := range forms {
		shapes[name] = struct{ Line, Request string }{Line: f.pattern}
	}
	return shapes
}

// Scale is a simulated scale. All methods may be called concurrently.
type Scale struct {
	options ScaleOptions
	format  lineFormat
	port    port

	// mu guards the fields below. It is held while a line is written, which never takes long
	// (see port).
	mu      sync.Mutex
	loadG   float64 // the load on the pan, in g
	tareG   float64
	tared   bool
	changed time.Time // when the load last changed
	silent  bool
	plugged bool
	random  *rand.Rand
}

// NewScale returns a scale with an empty pan, connected. It sends while Run runs. The end of Run
// removes it, and so does Close where Run is never called.
func NewScale(o ScaleOptions) (*Scale, error) {
	o = o.withDefaults()
	format, ok := lineFormats[o.Shape]
	if f, made := forms[o.Shape]; made {
		format, ok = f.format, true
	}
	if !ok {
		return nil, fmt.Errorf("simulate scale: no line shape %q", o.Shape)
	}
	if _, ok := units[o.Unit]; !ok {
		return nil, fmt.Errorf("simulate scale: no unit %q", o.Unit)
	}
	if o.DivisionG < 0 || o.CapacityG < 0 || o.NoiseG < 0 || o.Every < 0 || o.Settle < 0 || o.Kilograms && o.Shape == "sign-digits" {
		return nil, errors.New("simulate scale: negative options, or kilograms in a shape without a unit")
	}
	s := &Scale{options: o, format: format, random: rand.New(rand.NewPCG(o.Seed, 1))}
	var err error
	open := newPort
	if o.Shape == "hid" {
		open = newHIDPort
	}
	if s.port, err = open(o); err != nil {
		return nil, fmt.Errorf("simulate scale: %w", err)
	}
	s.plugged = true
	return s, nil
}

// Port returns what a reader opens: the stable name of a pseudo-terminal, or tcp://HOST:PORT. It
// stays the same while the scale exists.
func (s *Scale) Port() string { return s.port.path() }

// OnNetwork reports whether the scale is a loopback TCP port and not a pseudo-terminal: because
// it was asked for, or because the system has no pseudo-terminal that the package supports.
func (s *Scale) OnNetwork() bool {
	_, ok := s.port.(*tcpPort)
	return ok
}

// Run sends lines until the context ends, and then removes the scale.
func (s *Scale) Run(ctx context.Context) error {
	ticker := time.NewTicker(s.options.Every)
	defer ticker.Stop()
	for {
		select {
		case <-ctx.Done():
			return s.Close()
		case now := <-ticker.C:
			if err := s.speak(now); err != nil {
				return errors.Join(fmt.Errorf("simulate scale: %w", err), s.Close())
			}
		}
	}
}

// Close removes the scale. It may be called again.
func (s *Scale) Close() error { return s.Unplug() }

func (s *Scale) speak(now time.Time) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if !s.plugged {
		return nil
	}
	lines := 1
	if s.options.Request != "" {
		var err error
		if lines, err = s.port.requested(s.options.Request); err != nil {
			return err
		}
	}
	if s.silent {
		return nil
	}
	for range lines {
		if err := s.port.write(s.line(now)); err != nil {
			return err
		}
	}
	return nil
}

// line returns the line for the present load.
func (s *Scale) line(now time.Time) []byte {
	shown := shownWeight{
		grams:  s.loadG - s.tareG + s.options.NoiseG*s.random.NormFloat64(),
		moving: now.Sub(s.changed) < s.options.Settle,
		net:    s.tared,
		over:   s.loadG > s.options.CapacityG,
		under:  s.loadG < -20*s.options.DivisionG,
	}
	shown.grams = math.Round(shown.grams/s.options.DivisionG) * s.options.DivisionG
	line := s.format(shown, s.options.number(shown.grams))
	if s.options.Shape == "hid" {
		return line
	}
	return append(line, "\r\n"...)
}

// Grams returns the load minus the tare in g, without noise and rounding.
func (s *Scale) Grams() float64 {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.loadG - s.tareG
}

// Set puts a load in g on the pan, in place of what was there.
func (s *Scale) Set(grams float64) { s.change(func() { s.loadG = grams }) }

// Put adds a load in g to the pan, such as a cup.
func (s *Scale) Put(grams float64) { s.change(func() { s.loadG += grams }) }

// Lift takes everything off the pan. The tare stays.
func (s *Scale) Lift() { s.Set(0) }

// Tare makes the present load the zero.
func (s *Scale) Tare() { s.change(func() { s.tareG, s.tared = s.loadG, s.loadG != 0 }) }

func (s *Scale) change(how func()) {
	s.mu.Lock()
	defer s.mu.Unlock()
	how()
	s.changed = time.Now()
}

// Shake sets the noise of all later readings in g, as a fan that blows on the pan does; 0 ends
// it. At the start it is NoiseG.
func (s *Scale) Shake(noiseG float64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.options.NoiseG = max(noiseG, 0)
}

// Pour adds grams at gramsPerSecond. It returns nil when all is poured, or the error of the
// context with a part of it poured.
func (s *Scale) Pour(ctx context.Context, grams, gramsPerSecond float64) error {
	if !(grams >= 0) || !(gramsPerSecond > 0) || math.IsInf(grams, 1) {
		return fmt.Errorf("simulate scale: pour %g g at %g g/s", grams, gramsPerSecond)
	}
	ticker := time.NewTicker(20 * time.Millisecond)
	defer ticker.Stop()
	start, poured := time.Now(), 0.0
	for poured < grams {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case now := <-ticker.C:
			total := min(grams, now.Sub(start).Seconds()*gramsPerSecond)
			s.Put(total - poured)
			poured = total
		}
	}
	return nil
}

// Silence stops and starts the lines while the port stays open.
func (s *Scale) Silence(silent bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.silent = silent
}

// Noise sends bytes unchanged, between two lines.
func (s *Scale) Noise(p []byte) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if !s.plugged {
		return nil
	}
	return s.port.write(p)
}

// Press presses the print key.
func (s *Scale) Press() error { return s.Noise([]byte(s.options.KeyLine + "\r\n")) }

// Unplug disconnects the scale: readers lose the port, and its name is removed.
func (s *Scale) Unplug() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if !s.plugged {
		return nil
	}
	s.plugged = false
	return s.port.unplug()
}

// Replug makes the same name again, for another device.
func (s *Scale) Replug() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.plugged {
		return nil
	}
	if err := s.port.replug(); err != nil {
		return err
	}
	s.plugged = true
	return nil
}
