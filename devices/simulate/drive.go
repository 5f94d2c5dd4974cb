package simulate

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"sync"
	"time"
)

// DriveOptions describe a simulated drive that moves ink and tells its torque. Zero values mean the defaults.
type DriveOptions struct {
	// Dir and Name are as in [ScaleOptions]; Name is "simulated-drive" by default.
	Dir, Name string
	// Every is the time between lines, 100 ms by default.
	Every time.Duration
	// Noise is the standard deviation of a value as a share of it.
	Noise float64
	// Seed is the seed of the noise.
	Seed uint64
	// TCP: the drive is a loopback TCP port even where there are pseudo-terminals.
	TCP bool
}

// DriveLine is the pattern of the drive's lines in a configuration.
const DriveLine = "T {value} mNm"

// Drive simulates a drive that moves ink, such as a stirrer's, and sends its torque in mNm again and again. All
// methods may be called concurrently.
type Drive struct {
	options DriveOptions
	port    port

	// mu guards the fields below. It is held while a line is written, which never takes long (see port).
	mu     sync.Mutex
	torque float64 // in mNm, without noise
	stuck  string  // the digits that it goes on to send, empty while it works
	closed bool
	random *rand.Rand
}

// NewDrive returns a drive that stands still, connected. It sends while Run runs. The end of Run removes it, and so
// does Close where Run is never called.
func NewDrive(o DriveOptions) (*Drive, error) {
	if o.Every < 0 || o.Noise < 0 {
		return nil, errors.New("simulate drive: negative options")
	}
	if o.Every == 0 {
		o.Every = 100 * time.Millisecond
	}
	if o.Name == "" {
		o.Name = "simulated-drive"
	}
	p, err := newPort(ScaleOptions{Dir: o.Dir, Name: o.Name, TCP: o.TCP})
	if err != nil {
		return nil, fmt.Errorf("simulate drive: %w", err)
	}
	return &Drive{options: o, port: p, random: rand.New(rand.NewPCG(o.Seed, 3))}, nil
}

// Port returns what a reader opens, see [Scale.Port].
func (d *Drive) Port() string { return d.port.path() }

// Set sets the torque in mNm.
func (d *Drive) Set(torque float64) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.torque = torque
}

// Stick makes the drive send one and the same value from now on, whatever the torque is, as a sensor that has stuck.
func (d *Drive) Stick() {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.stuck = d.value()
}

// Run sends lines until the context ends, and then removes the drive.
func (d *Drive) Run(ctx context.Context) error {
	ticker := time.NewTicker(d.options.Every)
	defer ticker.Stop()
	for {
		select {
		case <-ctx.Done():
			return d.Close()
		case <-ticker.C:
			if err := d.speak(); err != nil {
				return errors.Join(fmt.Errorf("simulate drive: %w", err), d.Close())
			}
		}
	}
}

// Close removes the drive. It may be called again.
func (d *Drive) Close() error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.closed {
		return nil
	}
	d.closed = true
	return d.port.unplug()
}

func (d *Drive) speak() error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.closed {
		return nil
	}
	return d.port.write(d.line())
}

// line returns a line for the present torque.
func (d *Drive) line() []byte { return fmt.Appendf(nil, "T %s mNm\r\n", d.value()) }

// value returns the digits that it shows.
func (d *Drive) value() string {
	if d.stuck != "" {
		return d.stuck
	}
	return fmt.Sprintf("%.3f", d.torque*(1+d.options.Noise*d.random.NormFloat64()))
}
