// Package simulate holds instruments that speak on real interfaces: a scale on
// a pseudo-terminal, and a room's humidity sensor as kernel-style files. What
// reads them cannot tell them from the real thing and needs no special case;
// the demo and the tests use them.
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

// ScaleOptions describe a simulated scale; zero values are the defaults given.
type ScaleOptions struct {
	// Dir is the folder in which the scale's stable name appears, as
	// /dev/serial/by-id holds those of real ports. Needed for a
	// pseudo-terminal.
	Dir string
	// Name is the stable name; "simulated-scale".
	Name string
	// Shape is how lines are built: status-first, letters-first, tare-first,
	// stability-last, tare-last, weight-unit (the unit is missing while the
	// weight moves) or sign-digits. Default status-first.
	Shape string
	// Kilograms sends kg with three more decimals in place of g. Not with
	// sign-digits.
	Kilograms bool
	// DecimalComma sends a comma for the decimal point.
	DecimalComma bool
	// Every is the time between lines; 100 ms.
	Every time.Duration
	// DivisionG is the scale's division in grams; 0.1.
	DivisionG float64
	// CapacityG is the most it shows; 2000. Above, it says that it is over.
	CapacityG float64
	// NoiseG is the standard deviation of a reading in grams before rounding.
	NoiseG float64
	// Settle is how long after the last change the weight counts as moving;
	// 600 ms.
	Settle time.Duration
	// Seed of the noise.
	Seed uint64
	// KeyLine is what it sends when its print key is pressed; "PRINT".
	KeyLine string
	// TCP makes it a loopback TCP port also where there are pseudo-terminals.
	TCP bool
}

func (o ScaleOptions) withDefaults() ScaleOptions {
	if o.Name == "" {
		o.Name = "simulated-scale"
	}
	if o.Shape == "" {
		o.Shape = "status-first"
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

// port is the interface the scale speaks on.
type port interface {
	// path is what a reader opens.
	path() string
	// write sends bytes to whoever listens and drops them when nobody does, as
	// a real line does; it never waits for long.
	write(p []byte) error
	// unplug ends the present connection, and the name disappears.
	unplug() error
	// replug brings the same name back.
	replug() error
}

// Scale is a simulated scale. All methods may be called concurrently.
type Scale struct {
	options ScaleOptions
	format  lineFormat
	port    port

	// mu guards what follows. It is held while a line is written, which never
	// takes long (see port).
	mu      sync.Mutex
	loadG   float64 // what stands on the pan
	tareG   float64
	tared   bool
	changed time.Time // when the load last changed
	silent  bool
	plugged bool
	random  *rand.Rand
}

// NewScale makes a scale with an empty pan and plugs it in. It speaks while Run
// runs; Run's end, or Close where Run is never called, takes it away again.
func NewScale(o ScaleOptions) (*Scale, error) {
	o = o.withDefaults()
	format, ok := lineFormats[o.Shape]
	if !ok {
		return nil, fmt.Errorf("simulate scale: no line shape %q", o.Shape)
	}
	if o.DivisionG < 0 || o.CapacityG < 0 || o.NoiseG < 0 || o.Every < 0 || o.Settle < 0 || o.Kilograms && o.Shape == "sign-digits" {
		return nil, errors.New("simulate scale: negative options, or kilograms in a shape without a unit")
	}
	s := &Scale{options: o, format: format, random: rand.New(rand.NewPCG(o.Seed, 1))}
	var err error
	if s.port, err = newPort(o); err != nil {
		return nil, fmt.Errorf("simulate scale: %w", err)
	}
	s.plugged = true
	return s, nil
}

// Port is what a reader opens: the stable name of a pseudo-terminal, or
// tcp://HOST:PORT. It stays the same while the scale exists.
func (s *Scale) Port() string { return s.port.path() }

// OnNetwork says whether the scale is a loopback TCP port rather than a
// pseudo-terminal: asked for, or because the system has none that we know.
func (s *Scale) OnNetwork() bool {
	_, ok := s.port.(*tcpPort)
	return ok
}

// Run sends lines until the context ends, then takes the scale away.
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

// Close unplugs the scale; it may be repeated.
func (s *Scale) Close() error { return s.Unplug() }

func (s *Scale) speak(now time.Time) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.silent || !s.plugged {
		return nil
	}
	return s.port.write(s.line(now))
}

// line builds the line for the present load.
func (s *Scale) line(now time.Time) []byte {
	shown := shownWeight{
		grams:  s.loadG - s.tareG + s.options.NoiseG*s.random.NormFloat64(),
		moving: now.Sub(s.changed) < s.options.Settle,
		net:    s.tared,
		over:   s.loadG > s.options.CapacityG,
		under:  s.loadG < -20*s.options.DivisionG,
	}
	shown.grams = math.Round(shown.grams/s.options.DivisionG) * s.options.DivisionG
	return append(s.format(shown, s.options.number(shown.grams)), "\r\n"...)
}

// Grams is the load less the tare, without noise and rounding.
func (s *Scale) Grams() float64 {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.loadG - s.tareG
}

// Set puts a load of so many grams on the pan, in place of what was there.
func (s *Scale) Set(grams float64) { s.change(func() { s.loadG = grams }) }

// Put adds something to the pan, such as a cup.
func (s *Scale) Put(grams float64) { s.change(func() { s.loadG += grams }) }

// Lift takes everything off the pan; the tare stays.
func (s *Scale) Lift() { s.Set(0) }

// Tare makes the present load the zero.
func (s *Scale) Tare() { s.change(func() { s.tareG, s.tared = s.loadG, s.loadG != 0 }) }

func (s *Scale) change(how func()) {
	s.mu.Lock()
	defer s.mu.Unlock()
	how()
	s.changed = time.Now()
}

// Shake gives every reading from now on a noise of so many grams, as a fan that blows
// on the pan does; 0 ends it. NoiseG is the noise to begin with.
func (s *Scale) Shake(noiseG float64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.options.NoiseG = max(noiseG, 0)
}

// Pour adds grams at gramsPerSecond and returns when they are in, or with the
// context's error with a part of them poured.
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

// Silence stops and starts the lines, while the port stays open.
func (s *Scale) Silence(silent bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.silent = silent
}

// Noise sends bytes as they are, between two lines.
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

// Unplug pulls the plug: readers lose the port, and its name disappears.
func (s *Scale) Unplug() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if !s.plugged {
		return nil
	}
	s.plugged = false
	return s.port.unplug()
}

// Replug brings the same name back, with another device behind it.
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
