//go:build linux

package instruments

import (
	"bufio"
	"errors"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"

	"potlifed/daemon/config"
	"potlifed/daemon/peers"
	"potlifed/model/health"
)

// server is a Modbus server by another author, pymodbus. Unit 1 has input registers: humidity 48.3
// % and temperature -5.1 °C in tenths; unit 2 has holding registers with 21.5 °C and 61.0 % as
// floats, low half first; unit 3 has none.
const server = `
import sys
from pymodbus.datastore import ModbusSequentialDataBlock as block, ModbusSlaveContext as unit, ModbusServerContext as context
from pymodbus.server import StartTcpServer, StartSerialServer
from pymodbus.transaction import ModbusRtuFramer
units = {
    1: unit(ir=block(0, [483, 0xffcd]), zero_mode=True),
    2: unit(hr=block(10, [0x0000, 0x41ac, 0x0000, 0x4274]), zero_mode=True),
    3: unit(ir=block(100, [1]), zero_mode=True),
}
print("ready", flush=True)
if sys.argv[1] == "tcp":
    StartTcpServer(context=context(units, single=False), address=("127.0.0.1", int(sys.argv[2])))
elif sys.argv[1] == "rtu-over-tcp":
    StartTcpServer(context=context(units, single=False), framer=ModbusRtuFramer, address=("127.0.0.1", int(sys.argv[2])))
else:
    StartSerialServer(context=context(units, single=False), framer=ModbusRtuFramer, port=sys.argv[2], baudrate=9600, timeout=0.05)
`

// startServer starts the server. It ends with the test.
func startServer(t *testing.T, args ...string) {
	t.Helper()
	c := exec.CommandContext(t.Context(), peers.Python(t, "pymodbus.server", "serial"), append([]string{"-c", server}, args...)...)
	out, err := c.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = c.Process.Kill()
		_ = c.Wait()
	})
	if line, err := bufio.NewReader(out).ReadString('\n'); err != nil || line != "ready\n" {
		t.Fatalf("the server said %q, %v", line, err)
	}
}

// cable connects two pseudo-terminals, as a cable does two serial ports.
func cable(t *testing.T) (one, other string) {
	t.Helper()
	var masters [2]io.ReadWriteCloser
	var names [2]string
	for i := range masters {
		master, slave, err := pty.Open()
		if err != nil {
			t.Fatal(err)
		}
		raw, err := unix.IoctlGetTermios(int(slave.Fd()), unix.TCGETS)
		if err != nil {
			t.Fatal(err)
		}
		raw.Lflag &^= unix.ECHO | unix.ICANON | unix.ISIG
		raw.Iflag &^= unix.ICRNL | unix.IXON
		raw.Oflag &^= unix.OPOST
		if err := unix.IoctlSetTermios(int(slave.Fd()), unix.TCSETS, raw); err != nil {
			t.Fatal(err)
		}
		// Without a poller, closing would not end a read.
		fd, err := unix.Dup(int(master.Fd()))
		if err == nil {
			err = errors.Join(unix.SetNonblock(fd, true), master.Close())
		}
		if err != nil {
			t.Fatal(err)
		}
		masters[i], names[i] = os.NewFile(uintptr(fd), master.Name()), slave.Name()
		t.Cleanup(func() { _ = slave.Close() })
	}
	ended := make(chan struct{}, 2)
	for i := range masters {
		go func() {
			_, _ = io.Copy(masters[i], masters[1-i])
			ended <- struct{}{}
		}()
	}
	t.Cleanup(func() {
		_ = errors.Join(masters[0].Close(), masters[1].Close())
		<-ended
		<-ended
	})
	return names[0], names[1]
}

func freePort(t *testing.T) int {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port
}

// TestModbusByAnotherAuthor: transmitters on one serial line and over TCP, read by the service and
// for check.
func TestModbusByAnotherAuthor(t *testing.T) {
	peers.Python(t, "pymodbus.server", "serial")
	here, there := cable(t)
	startServer(t, "serial", there)
	tcp := freePort(t)
	startServer(t, "tcp", strconv.Itoa(tcp))
	through := freePort(t)
	startServer(t, "rtu-over-tcp", strconv.Itoa(through))
	for name, port := range map[string]string{
		"RTU": here, "TCP": "tcp://127.0.0.1:" + strconv.Itoa(tcp), "RTU over TCP": "tcp://127.0.0.1:" + strconv.Itoa(through),
	} {
		t.Run(name, func(t *testing.T) {
			framing := ""
			if strings.Contains(name, "over") {
				framing = ", framing: rtu"
			}
			shop, err := config.Parse(filepath.Base(t.Name()), []byte(`
bench: bench-1
scales: [{id: scale-1, port: /dev/scale}]
sensors:
  - {id: west, zone: hall, source: modbus, port: "`+port+`"`+framing+`, unit: 1, every: 300ms, temperature: {register: 1, factor: 0.1}, humidity: {register: 0, factor: 0.1}}
  - {id: east, zone: hall, source: modbus, port: "`+port+`"`+framing+`, unit: 2, every: 300ms, registers: holding, word_order: low-first,
     temperature: {register: 10, type: float32}, humidity: {register: 12, type: float32}}
  - {id: empty, zone: hall, source: modbus, port: "`+port+`"`+framing+`, unit: 3, every: 300ms, temperature: {register: 1, factor: 0.1}, humidity: {register: 0, factor: 0.1}}
inks: [{id: dial-satin, hardener_ratio: "5:1", pot_life: {about: 5h}}]
`))
			if err != nil {
				t.Fatal(err)
			}
			s, err := OpenSensor(shop.Sensors[0])
			if err != nil {
				t.Fatal(err)
			}
			a, err := ReadSensor(t.Context(), s)
			for giveUp := time.Now().Add(2 * time.Minute); err != nil && time.Now().Before(giveUp); { // the server may not listen yet
				time.Sleep(100 * time.Millisecond)
				a, err = ReadSensor(t.Context(), s)
			}
			raw := s.(interface{ Raw() string }).Raw()
			if err != nil || a.TemperatureC < -5.11 || a.TemperatureC > -5.09 || a.HumidityPct < 48.29 || a.HumidityPct > 48.31 || raw != "registers from 0: 0x01e3 0xffcd" {
				t.Fatalf("read %+v, %v, %q", a, err, raw)
			}
			if err := s.(io.Closer).Close(); err != nil {
				t.Fatal(err)
			}
			h := newHeard()
			shop.Scales = nil
			runs(t, shop, h)
			h.until(t, "both units", func() bool {
				west, east := h.read["west"], h.read["east"]
				return h.reads["west"] > 2 && west.Err == nil && west.Air.HumidityPct > 48.29 && west.Air.HumidityPct < 48.31 &&
					h.reads["east"] > 2 && east.Err == nil && east.Air.TemperatureC == 21.5 && east.Air.HumidityPct == 61
			})
			h.until(t, "a unit without these registers", func() bool {
				return h.read["empty"].Fault == health.NoValue && strings.Contains(h.read["empty"].Err.Error(), "the register is not there")
			})
		})
	}
}
