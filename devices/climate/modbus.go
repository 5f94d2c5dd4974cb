package climate

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"
	"time"

	"potlifed/devices/modbus"
	"potlifed/model/air"
)

// ErrNoValue means that a transmitter says that it has no value at present.
var ErrNoValue = errors.New("the transmitter has no value")

// RegisterType is how a value is held in registers.
type RegisterType string

// The types, by their names in the configuration.
const (
	Int16   RegisterType = "int16"
	Uint16  RegisterType = "uint16"
	Int32   RegisterType = "int32"
	Uint32  RegisterType = "uint32"
	Float32 RegisterType = "float32"
)

// RegisterTypes returns all types.
func RegisterTypes() []RegisterType { return []RegisterType{Int16, Uint16, Int32, Uint32, Float32} }

// words is how many registers a value takes.
func (t RegisterType) words() int {
	if t == Int16 || t == Uint16 {
		return 1
	}
	return 2
}

// Register is where a transmitter holds a quantity, and how.
type Register struct {
	Address  int // in the request, from 0
	Type     RegisterType
	LowFirst bool // of two registers, the first holds the lower half
	// Factor and Offset make the quantity of the number in the registers: number · Factor +
	// Offset, in °C or per cent.
	Factor, Offset float64
	// Missing is the number that stands for no value; only if HasMissing.
	Missing    float64
	HasMissing bool
}

// value returns the quantity in registers that begin with its own, or ErrNoValue.
func (r Register) value(registers []uint16) (float64, error) {
	if r.Type.words() == 2 && r.LowFirst {
		registers = []uint16{registers[1], registers[0]}
	}
	both := func() uint32 { return uint32(registers[0])<<16 | uint32(registers[1]) }
	var number float64
	switch r.Type {
	case Int16:
		number = float64(int16(registers[0]))
	case Uint16:
		number = float64(registers[0])
	case Int32:
		number = float64(int32(both()))
	case Uint32:
		number = float64(both())
	case Float32:
		number = float64(math.Float32frombits(both()))
	}
	if r.HasMissing && number == r.Missing || math.IsNaN(number) {
		return 0, ErrNoValue
	}
	return number*r.Factor + r.Offset, nil
}

// ModbusConfig says which registers of which unit hold the air.
type ModbusConfig struct {
	Unit                  int
	Function              modbus.Function
	Temperature, Humidity Register
}

// request returns the one request for both quantities: on a serial line, two requests for ranges
// of one length could be answered in the wrong order, see package modbus.
func (c ModbusConfig) request() modbus.Request {
	t, h := c.Temperature, c.Humidity
	first := min(t.Address, h.Address)
	end := max(t.Address+t.Type.words(), h.Address+h.Type.words())
	return modbus.Request{Unit: byte(c.Unit), Function: c.Function, First: uint16(first), Count: end - first}
}

// Check returns nil if both quantities fit into one request of package modbus, and into the 65536
// addresses that there are.
func (c ModbusConfig) Check() error {
	t, h := c.Temperature, c.Humidity
	first, end := min(t.Address, h.Address), max(t.Address+t.Type.words(), h.Address+h.Type.words())
	if end-first > modbus.MostRegisters || first < 0 || end > 1<<16 {
		return fmt.Errorf("registers %d to %d: want both quantities within %d registers, since one request asks for both", first, end-1, modbus.MostRegisters)
	}
	return nil
}

// Modbus is a transmitter of temperature and humidity on a Modbus line.
type Modbus struct {
	bus *modbus.Bus
	c   ModbusConfig

	mu      sync.Mutex // guards what follows
	raw     []uint16   // of the last reading
	failing int        // readings in a row that were not answered
	askAt   time.Time  // not before this
	failure error
}

const (
	// patience is how many readings in a row may stay without an answer before the unit is asked
	// less often: each costs the other units of the line a second.
	patience       = 3
	longestRespite = 30 * time.Second
)

// NewModbus returns a transmitter. Several may share a bus. It asks for nothing yet.
func NewModbus(bus *modbus.Bus, c ModbusConfig) (*Modbus, error) {
	if err := c.Check(); err != nil {
		return nil, err
	}
	return &Modbus{bus: bus, c: c}, nil
}

// Name returns "": a transmitter has no name.
func (m *Modbus) Name() string { return "" }

// Close closes the bus. It is for a transmitter that has the bus to itself.
func (m *Modbus) Close() error { return m.bus.Close() }

// Raw returns the registers of the last reading as they came, empty before the first.
func (m *Modbus) Raw() string {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.raw == nil {
		return ""
	}
	var text strings.Builder
	fmt.Fprintf(&text, "registers from %d:", m.c.request().First)
	for _, r := range m.raw {
		fmt.Fprintf(&text, " 0x%04x", r)
	}
	return text.String()
}

// Read asks for both quantities in one request, twice if the first answer is none. The error wraps
// one of packages modbus and link, ErrNoValue or ErrImplausible. A unit that does not answer
// three times in a row is asked less often, at least every 30 s; in between, Read returns the last
// error without asking.
func (m *Modbus) Read(ctx context.Context) (air.State, error) {
	m.mu.Lock()
	failing, wait, failure := m.failing, time.Until(m.askAt), m.failure
	m.mu.Unlock()
	if wait > 0 {
		return air.State{}, failure
	}
	registers, err := m.bus.Read(ctx, m.c.request())
	if err != nil && failing == 0 && (errors.Is(err, modbus.ErrFrame) || errors.Is(err, modbus.ErrTimeout)) {
		registers, err = m.bus.Read(ctx, m.c.request())
	}
	if ctx.Err() == nil {
		m.note(registers, err)
	}
	if err != nil {
		return air.State{}, err
	}
	first := int(m.c.request().First)
	t, err := m.c.Temperature.value(registers[m.c.Temperature.Address-first:])
	if err != nil {
		return air.State{}, fmt.Errorf("temperature: %w", err)
	}
	h, err := m.c.Humidity.value(registers[m.c.Humidity.Address-first:])
	if err != nil {
		return air.State{}, fmt.Errorf("humidity: %w", err)
	}
	return judge(t, h)
}

// note counts readings without an answer.
func (m *Modbus) note(registers []uint16, err error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if err == nil {
		m.raw, m.failing, m.failure, m.askAt = slices.Clone(registers), 0, nil, time.Time{}
		return
	}
	m.failure = err
	if m.failing++; m.failing > patience {
		m.askAt = time.Now().Add(min(time.Second<<min(m.failing-patience, 6), longestRespite))
	}
}
