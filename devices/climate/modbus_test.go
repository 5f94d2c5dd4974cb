package climate

import (
	"errors"
	"math"
	"net"
	"testing"

	"potlifed/devices/link"
	"potlifed/devices/modbus"
)

// The numbers are those of the two's complement and of IEEE 754: 21.5 is 0x41ac0000.
func TestRegistersAsNumbers(t *testing.T) {
	for _, c := range []struct {
		r         Register
		registers []uint16
		want      float64
		err       error
	}{
		{Register{Type: Int16, Factor: 0.1}, []uint16{215}, 21.5, nil},
		{Register{Type: Int16, Factor: 0.1}, []uint16{0xffcd}, -5.1, nil},
		{Register{Type: Uint16, Factor: 0.1}, []uint16{0xffcd}, 6548.5, nil},
		{Register{Type: Uint16, Factor: 0.01, Offset: -40}, []uint16{6150}, 21.5, nil},
		{Register{Type: Int32, Factor: 0.001}, []uint16{0, 21500}, 21.5, nil},
		{Register{Type: Int32, Factor: 0.001}, []uint16{0xffff, 0xec14}, -5.1, nil},
		{Register{Type: Uint32, Factor: 0.001, LowFirst: true}, []uint16{21500, 0}, 21.5, nil},
		{Register{Type: Float32, Factor: 1}, []uint16{0x41ac, 0}, 21.5, nil},
		{Register{Type: Float32, Factor: 1, LowFirst: true}, []uint16{0, 0x41ac}, 21.5, nil},
		{Register{Type: Float32, Factor: 1}, []uint16{0x7fc0, 0}, 0, ErrNoValue},
		{Register{Type: Int16, Factor: 0.1, Missing: 32767, HasMissing: true}, []uint16{0x7fff}, 0, ErrNoValue},
		{Register{Type: Int16, Factor: 0.1, Missing: -32768, HasMissing: true}, []uint16{0x8000}, 0, ErrNoValue},
		{Register{Type: Uint16, Factor: 0.1, Missing: 65535, HasMissing: true}, []uint16{0xffff}, 0, ErrNoValue},
		{Register{Type: Int16, Factor: 0.1}, []uint16{0x7fff}, 3276.7, nil},
	} {
		got, err := c.r.value(c.registers)
		if !errors.Is(err, c.err) || math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%+v of %#x: %v, %v; want %v, %v", c.r, c.registers, got, err, c.want, c.err)
		}
	}
}

// Both quantities come with one request, whichever of them is first.
func TestOneRequestForBoth(t *testing.T) {
	word := func(at int, kind RegisterType) Register { return Register{Address: at, Type: kind, Factor: 1} }
	for _, c := range []struct {
		t, h         Register
		first, count int
	}{
		{word(1, Int16), word(2, Uint16), 1, 2}, {word(1, Int16), word(0, Uint16), 0, 2}, {word(2, Float32), word(0, Float32), 0, 4},
		{word(0, Int16), word(124, Uint16), 0, 125}, {word(65535, Int16), word(65534, Uint16), 65534, 2}, {word(7, Int16), word(7, Int32), 7, 2},
	} {
		m := ModbusConfig{Unit: 1, Temperature: c.t, Humidity: c.h}
		if r := m.request(); m.Check() != nil || int(r.First) != c.first || r.Count != c.count {
			t.Errorf("%+v: %+v, %v", m, r, m.Check())
		}
	}
	for _, c := range []ModbusConfig{{Temperature: word(0, Int16), Humidity: word(125, Int16)}, {Temperature: word(65535, Float32), Humidity: word(65530, Int16)}} {
		if c.Check() == nil {
			t.Errorf("%+v was accepted", c)
		}
	}
}

// A unit that is gone is asked less often, so that it does not hold up the others on its line.
func TestASilentUnitIsAskedLessOften(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	port := "tcp://" + l.Addr().String()
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	bus, err := modbus.New(link.Settings{Port: port}, "")
	if err != nil {
		t.Fatal(err)
	}
	r := Register{Type: Int16, Factor: 0.1}
	m, err := NewModbus(bus, ModbusConfig{Unit: 1, Function: modbus.ReadInput, Temperature: r, Humidity: Register{Address: 1, Type: Uint16, Factor: 0.1}})
	if err != nil {
		t.Fatal(err)
	}
	for i := range 20 {
		if _, err := m.Read(t.Context()); !errors.Is(err, link.ErrAbsent) {
			t.Errorf("reading %d: %v", i, err)
		}
	}
	if m.failing != patience+1 {
		t.Errorf("asked %d times in 20 readings, want %d before it waits", m.failing, patience+1)
	}
}
