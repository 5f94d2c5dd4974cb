package climate

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"potlifed/devices/link"
	"potlifed/devices/modbus"
	"potlifed/model/air"
)

// plugs is how often a sensor is unplugged and plugged in again.
func plugs(t *testing.T) int {
	const few, all = 25, 1000
	if os.Getenv("POTLIFED_LONG") != "" {
		return all
	}
	t.Logf("%d times instead of %d; set POTLIFED_LONG=1 for all", few, all)
	return few
}

// descriptors returns how many descriptors the process has open, -1 where the system does not tell.
func descriptors() int {
	list, err := os.ReadDir("/proc/self/fd")
	if err != nil {
		return -1
	}
	return len(list)
}

// noneLeft fails if the test ends with more descriptors open than it began with.
func noneLeft(t *testing.T) {
	t.Helper()
	before := descriptors()
	t.Cleanup(func() {
		if after := descriptors(); after > before+2 { // the runtime may have opened its own
			t.Errorf("%d descriptors are open, %d at the beginning", after, before)
		}
	})
}

// TestAKernelSensorPluggedAgainAndAgain: its folder goes and comes under another number while it is read.
// Each reading is whole: both values of one folder, or an error.
func TestAKernelSensorPluggedAgainAndAgain(t *testing.T) {
	noneLeft(t)
	for _, c := range []struct {
		name, folder          string
		temperature, humidity string
		open                  func(string) (interface {
			Read(context.Context) (air.State, error)
		}, error)
	}{
		{"hwmon", "hwmon", temperatureFile, humidityFile, func(p string) (interface {
			Read(context.Context) (air.State, error)
		}, error) {
			return OpenHWMon(p)
		}},
		{"iio", "iio:device", "in_temp_input", "in_humidityrelative_input", func(p string) (interface {
			Read(context.Context) (air.State, error)
		}, error) {
			return OpenIIO(p)
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			root := t.TempDir()
			at := func(n int) string { return filepath.Join(root, fmt.Sprintf("%s%d", c.folder, n)) }
			// Plugged in for the n-th time, the sensor reads n thousandths more in both files.
			plug := func(n int) {
				aside := filepath.Join(root, "aside")
				err := os.Mkdir(aside, 0o755)
				for _, file := range []string{c.temperature, c.humidity} {
					err = errors.Join(err, os.WriteFile(filepath.Join(aside, file), fmt.Appendf(nil, "%d\n", 20000+n), 0o600))
				}
				if err := errors.Join(err, os.Rename(aside, at(n))); err != nil {
					t.Fatal(err)
				}
			}
			times := plugs(t)
			plug(0)
			s, err := c.open(filepath.Join(root, c.folder+"*"))
			if err != nil {
				t.Fatal(err)
			}
			var reading sync.WaitGroup
			ctx, stop := context.WithCancel(t.Context())
			reading.Go(func() { // beside the plugging: what is in flight fails or is whole
				other, err := c.open(filepath.Join(root, c.folder+"*"))
				for err == nil && ctx.Err() == nil {
					if a, failed := other.Read(ctx); failed == nil && a.TemperatureC != a.HumidityPct {
						t.Errorf("a mixed reading: %+v", a)
					}
				}
			})
			for n := 1; n <= times; n++ {
				if err := os.RemoveAll(at(n - 1)); err != nil {
					t.Fatal(err)
				}
				if _, err := s.Read(t.Context()); !errors.Is(err, ErrAbsent) {
					t.Fatalf("unplugged: %v", err)
				}
				plug(n)
				if a, err := s.Read(t.Context()); err != nil || a.TemperatureC != float64(20000+n)/1000 {
					t.Fatalf("plugged in for the %d. time: %+v, %v", n, a, err)
				}
			}
			stop()
			reading.Wait()
		})
	}
}

// adapter is a serial server on the network. Each connection is served by serve, with the number of the
// connection, from 1, and is then cut.
func adapter(t *testing.T, serve func(n int, c net.Conn)) (port string) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	served := make(chan struct{})
	go func() {
		defer close(served)
		for n := 1; ; n++ {
			c, err := l.Accept()
			if err != nil {
				return
			}
			serve(n, c)
			_ = c.Close()
		}
	}()
	t.Cleanup(func() {
		_ = l.Close()
		<-served
	})
	return "tcp://" + l.Addr().String()
}

// TestALineSensorPluggedAgainAndAgain: it is cut in the middle of a line each time. The half line is never
// joined with the first one after it, and the first whole line is taken.
func TestALineSensorPluggedAgainAndAgain(t *testing.T) {
	noneLeft(t)
	times := plugs(t)
	port := adapter(t, func(n int, c net.Conn) {
		// The first line may have lost its beginning. The last is cut in its temperature.
		_, _ = fmt.Fprintf(c, "20.0 50.0\r\n%d.%d 50.0\r\n1", 20+n/10%10, n%10)
		_ = c.SetReadDeadline(time.Now().Add(2 * time.Second))
	})
	l, err := NewLine(LineConfig{Link: link.Settings{Port: port, RetryMin: time.Millisecond, RetryMax: time.Millisecond}, Pattern: "{temperature} {humidity}"})
	if err != nil {
		t.Fatal(err)
	}
	ctx, done := context.WithTimeout(t.Context(), time.Minute+time.Duration(times)*100*time.Millisecond)
	defer done()
	connected, read, lost := 0, 0, 0
	if err := l.Run(ctx, func(a air.State, err error) {
		read++
		if want := float64(20+connected/10%10) + float64(connected%10)/10; err != nil || a.TemperatureC-want > 1e-9 || want-a.TemperatureC > 1e-9 {
			t.Errorf("connection %d: %+v, %v; want %v", connected, a, err, want)
		}
	}, func(c link.Change) {
		switch c.Kind {
		case link.Connected:
			connected++
		case link.Lost:
			if lost++; lost == times {
				done()
			}
		}
	}); err != nil {
		t.Fatal(err)
	}
	if read != lost || lost != times {
		t.Errorf("%d readings of %d connections", read, lost)
	}
}

// TestAModbusSensorPluggedAgainAndAgain: the connection is cut in the middle of every second answer, with
// TCP frames and with those of a serial line. The reading after it is that of the new connection. The
// frames of a serial line end by silence, so that a thousand take minutes: package modbus tries those with a
// clock of its own.
func TestAModbusSensorPluggedAgainAndAgain(t *testing.T) {
	noneLeft(t)
	for framing, times := range map[modbus.Framing]int{modbus.TCP: plugs(t), modbus.RTU: 3} {
		t.Run(string(framing), func(t *testing.T) {
			port := adapter(t, func(n int, c net.Conn) {
				for answers := 0; ; answers++ {
					answer, err := answerTo(c, framing, uint16(200+n%100), 500)
					if err != nil {
						return
					}
					if answers == 1 { // cut: the registers of the next connection are others
						_, _ = c.Write(answer[:len(answer)-3])
						return
					}
					if _, err := c.Write(answer); err != nil {
						return
					}
				}
			})
			bus, err := modbus.New(link.Settings{Port: port}, framing)
			if err != nil {
				t.Fatal(err)
			}
			m, err := NewModbus(bus, ModbusConfig{Unit: 1, Function: modbus.ReadInput, Temperature: Register{Type: Int16, Factor: 0.1}, Humidity: Register{Address: 1, Type: Uint16, Factor: 0.1}})
			if err != nil {
				t.Fatal(err)
			}
			for n := 1; n <= times; n++ {
				for range 2 { // the second is asked on the connection that is cut
					a, err := m.Read(t.Context())
					for tries := 0; err != nil && tries < 3; tries++ {
						a, err = m.Read(t.Context())
					}
					if err != nil || a.HumidityPct != 50 {
						t.Fatalf("time %d: %+v, %v", n, a, err)
					}
				}
			}
			if err := m.Close(); err != nil {
				t.Error(err)
			}
		})
	}
}

// answerTo reads a request and returns its answer with two registers.
func answerTo(c net.Conn, framing modbus.Framing, first, second uint16) ([]byte, error) {
	pdu := binary.BigEndian.AppendUint16(binary.BigEndian.AppendUint16([]byte{4, 4}, first), second)
	if framing == modbus.TCP {
		request := make([]byte, 12)
		if _, err := io.ReadFull(c, request); err != nil {
			return nil, err
		}
		return append([]byte{request[0], request[1], 0, 0, 0, byte(len(pdu) + 1), request[6]}, pdu...), nil
	}
	request := make([]byte, 8)
	if _, err := io.ReadFull(c, request); err != nil {
		return nil, err
	}
	frame := append([]byte{request[0]}, pdu...)
	return binary.LittleEndian.AppendUint16(frame, sumRTU(frame)), nil
}

// sumRTU is the checksum of MODBUS over Serial Line V1.02, 6.2.2, computed bit by bit from its polynomial.
func sumRTU(frame []byte) uint16 {
	sum := uint16(0xffff)
	for _, c := range frame {
		for bit := range 8 {
			carry := (sum ^ uint16(c>>bit)) & 1
			sum >>= 1
			sum ^= carry * 0xa001
		}
	}
	return sum
}

// TestAPublishingSensorComesAgainAndAgain: with each connection the broker sends the retained message of
// before first, which is no reading, then the sensor publishes.
func TestAPublishingSensorComesAgainAndAgain(t *testing.T) {
	p := NewPublished(PublishedConfig{
		Temperature: PublishedValue{Topic: "hall/air", Pointer: Pointer{"t"}, Factor: 1},
		Humidity:    PublishedValue{Topic: "hall/air", Pointer: Pointer{"h"}, Factor: 1}, Together: time.Minute,
	})
	for n := range plugs(t) {
		at := time.Duration(n) * time.Minute
		send := func(payload string, retained bool) (air.State, error) {
			a, _, err := p.Take(Message{Topic: "hall/air", Payload: []byte(payload), Retained: retained, At: at})
			return a, err
		}
		whole := fmt.Sprintf(`{"t":%d.5,"h":50}`, 10+n%20)
		if a, err := send(`{"t":9,"h":50}`, true); !errors.Is(err, ErrRetained) {
			t.Fatalf("retained: %+v, %v", a, err)
		}
		if a, err := send(whole[:strings.Index(whole, ",")], false); !errors.Is(err, ErrGarbled) {
			t.Fatalf("cut off: %+v, %v", a, err)
		}
		if a, err := send(whole, false); err != nil || a.TemperatureC != float64(10+n%20)+0.5 {
			t.Fatalf("time %d: %+v, %v", n, a, err)
		}
	}
}
