package modbus

import (
	"context"
	"encoding/binary"
	"errors"
	"io"
	"net"
	"os"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"go.uber.org/goleak"

	"potlifed/devices/link"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// MODBUS over Serial Line V1.02, 6.2.2: the checksum of the frame 02 07 is 0x1241, sent as 41 12.
// The other value is the usual check value of CRC-16/MODBUS.
func TestChecksum(t *testing.T) {
	for text, want := range map[string]uint16{"\x02\x07": 0x1241, "123456789": 0x4b37} {
		if got := crc([]byte(text)); got != want {
			t.Errorf("%q: %#x, want %#x", text, got, want)
		}
	}
}

// The examples of V1.1b3, 6.3 (registers 108 to 110 hold 555, 0, 100) and 6.4 (input register 9
// holds 10), in which the address on the wire is one less.
func TestTheSpecificationsExamples(t *testing.T) {
	r := Request{Unit: 0x11, Function: ReadHolding, First: 0x6b, Count: 3}
	if got := requestRTU(r); string(got[:6]) != "\x11\x03\x00\x6b\x00\x03" {
		t.Errorf("request % x", got)
	}
	got, err := parsePDU(r, []byte{0x03, 0x06, 0x02, 0x2b, 0x00, 0x00, 0x00, 0x64})
	if err != nil || !slices.Equal(got, []uint16{555, 0, 100}) {
		t.Errorf("answer %v, %v", got, err)
	}
	got, err = parsePDU(Request{Function: ReadInput, First: 8, Count: 1}, []byte{0x04, 0x02, 0x00, 0x0a})
	if err != nil || !slices.Equal(got, []uint16{10}) {
		t.Errorf("answer %v, %v", got, err)
	}
	// TCP V1.0b, the example of a request for register 5: 15 01, 00 00, 00 06, FF, 03, 00 04, 00 01.
	tcp := requestTCP(0x1501, Request{Unit: 0xff, Function: ReadHolding, First: 4, Count: 1})
	if string(tcp) != "\x15\x01\x00\x00\x00\x06\xff\x03\x00\x04\x00\x01" {
		t.Errorf("TCP request % x", tcp)
	}
}

// answerRTU is a unit's answer with registers.
func answerRTU(unit byte, f Function, registers ...uint16) []byte {
	frame := []byte{unit, byte(f), byte(2 * len(registers))}
	for _, r := range registers {
		frame = binary.BigEndian.AppendUint16(frame, r)
	}
	return binary.LittleEndian.AppendUint16(frame, crc(frame))
}

// line is a serial line with a unit behind it: what the unit sends, at once or later, comes back
// from Read, which waits 100 ms at most as a link does.
type line struct {
	bytes  chan byte
	answer func(request []byte) []later
	asked  int
	lost   atomic.Bool
}

type later struct {
	after time.Duration
	bytes []byte
}

func (l *line) Write(request []byte) (int, error) {
	l.asked++
	for _, a := range l.answer(request) {
		time.AfterFunc(a.after, func() {
			for _, c := range a.bytes {
				l.bytes <- c
			}
		})
	}
	return len(request), nil
}

func (l *line) Read(p []byte) (int, error) {
	if l.lost.Load() {
		return 0, link.ErrLost
	}
	select {
	case c := <-l.bytes:
		p[0] = c
		n := 1
		for n < len(p) && len(l.bytes) > 0 {
			p[n] = <-l.bytes
			n++
		}
		return n, nil
	case <-time.After(100 * time.Millisecond):
		return 0, os.ErrDeadlineExceeded
	}
}

func (l *line) Close() error { return nil }

// on returns a bus on a line.
func on(t *testing.T, l *line) *Bus {
	t.Helper()
	b, err := New(link.Settings{Port: "/dev/made-up"}, "")
	if err != nil {
		t.Fatal(err)
	}
	l.bytes = make(chan byte, 4096)
	b.open = func(context.Context, link.Settings) (io.ReadWriteCloser, error) { l.lost.Store(false); return l, nil }
	return b
}

var asked = Request{Unit: 1, Function: ReadInput, First: 1, Count: 2}

func TestWhatIsNoAnswer(t *testing.T) {
	good := answerRTU(1, ReadInput, 215, 480)
	broken := slices.Clone(good)
	broken[3] ^= 0x10
	for name, c := range map[string]struct {
		came []byte
		want error
	}{
		"nothing":                        {nil, ErrTimeout},
		"another unit":                   {answerRTU(2, ReadInput, 215, 480), ErrFrame},
		"another function":               {answerRTU(1, ReadHolding, 215, 480), ErrFrame},
		"too short":                      {answerRTU(1, ReadInput, 215), ErrFrame},
		"too long":                       {answerRTU(1, ReadInput, 215, 480, 7), ErrFrame},
		"a count that is not the length": {append(slices.Clone(good[:2]), 6, 0, 215, 1, 224, 0, 0), ErrFrame},
		"broken checksum":                {broken, ErrFrame},
		"half":                           {good[:6], ErrFrame},
		"noise behind":                   {append(slices.Clone(good), 0x55), ErrFrame},
		"noise before":                   {append([]byte{0x55}, good...), ErrFrame},
		"two answers":                    {append(slices.Clone(good), answerRTU(1, ReadInput, 216, 481)...), ErrFrame},
		"the request itself":             {requestRTU(asked), ErrFrame},
		"exception 2":                    {binary.LittleEndian.AppendUint16([]byte{1, 0x84, 2}, crc([]byte{1, 0x84, 2})), ErrException},
	} {
		synctest.Test(t, func(t *testing.T) {
			l := &line{answer: func([]byte) []later { return []later{{20 * time.Millisecond, c.came}} }}
			got, err := on(t, l).Read(t.Context(), asked)
			if !errors.Is(err, c.want) || got != nil {
				t.Errorf("%s: %v, %v; want %v", name, got, err, c.want)
			}
		})
	}
	synctest.Test(t, func(t *testing.T) {
		l := &line{answer: func([]byte) []later { return []later{{20 * time.Millisecond, append([]byte{0}, good...)}} }}
		if got, err := on(t, l).Read(t.Context(), asked); err != nil || !slices.Equal(got, []uint16{215, 480}) {
			t.Errorf("after a zero byte of the driver: %v, %v", got, err)
		}
	})
}

// TestALateAnswerIsNotTakenForAnotherUnits: unit 1 answers late, at any time up to 3 s; unit 2 is
// asked meanwhile, again and again. Each value says which unit it is of.
func TestALateAnswerIsNotTakenForAnotherUnits(t *testing.T) {
	for delay := 50 * time.Millisecond; delay < 3*time.Second; delay += 130 * time.Millisecond {
		synctest.Test(t, func(t *testing.T) {
			l := &line{answer: func(request []byte) []later {
				after := 10 * time.Millisecond
				if request[0] == 1 {
					after = delay
				}
				return []later{{after, answerRTU(request[0], ReadInput, uint16(request[0]), uint16(request[0]))}}
			}}
			b := on(t, l)
			got := 0
			for range 8 {
				for unit := byte(1); unit <= 2; unit++ {
					r := asked
					r.Unit = unit
					registers, err := b.Read(t.Context(), r)
					if err == nil && !slices.Equal(registers, []uint16{uint16(unit), uint16(unit)}) {
						t.Fatalf("delay %v: unit %d gave %v", delay, unit, registers)
					}
					if err == nil && unit == 2 {
						got++
					}
				}
			}
			if got < 4 {
				t.Errorf("delay %v: only %d of 8 readings of the unit in order", delay, got)
			}
			time.Sleep(5 * time.Second) // let the last late answer come
		})
	}
}

// What waits on the line from before is not the answer.
func TestWhatWaitedIsDiscarded(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := &line{answer: func([]byte) []later { return []later{{10 * time.Millisecond, answerRTU(1, ReadInput, 215, 480)}} }}
		b := on(t, l)
		for _, c := range answerRTU(1, ReadInput, 9, 9) {
			l.bytes <- c
		}
		if got, err := b.Read(t.Context(), asked); err != nil || !slices.Equal(got, []uint16{215, 480}) {
			t.Errorf("got %v, %v", got, err)
		}
	})
}

// A line that is lost is opened again with the next request, and one that only makes noise is told.
func TestLostAndNoisy(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := &line{answer: func([]byte) []later { return []later{{10 * time.Millisecond, answerRTU(1, ReadInput, 215, 480)}} }}
		b := on(t, l)
		if _, err := b.Read(t.Context(), asked); err != nil {
			t.Fatal(err)
		}
		l.lost.Store(true)
		if _, err := b.Read(t.Context(), asked); !errors.Is(err, link.ErrLost) {
			t.Errorf("unplugged: %v", err)
		}
		if _, err := b.Read(t.Context(), asked); err != nil {
			t.Errorf("plugged in again: %v", err)
		}
		quiet := make(chan struct{})
		defer close(quiet)
		go func() {
			tick := time.NewTicker(50 * time.Millisecond)
			defer tick.Stop()
			for {
				select {
				case <-tick.C:
					l.bytes <- 0x55
				case <-quiet:
					return
				}
			}
		}()
		if _, err := b.Read(t.Context(), asked); !errors.Is(err, ErrFrame) {
			t.Errorf("noise without end: %v", err)
		}
	})
}

func TestTheContextEndsARequest(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := on(t, &line{answer: func([]byte) []later { return nil }})
		ctx, cancel := context.WithTimeout(t.Context(), 250*time.Millisecond)
		defer cancel()
		if _, err := b.Read(ctx, asked); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("got %v", err)
		}
	})
	for _, r := range []Request{{Count: 0}, {Count: 126}, {First: 65535, Count: 2}} {
		if _, err := on(t, &line{}).Read(t.Context(), r); err == nil {
			t.Errorf("%+v was asked", r)
		}
	}
}

// TestLateAnswersOverTCP: an answer to an earlier transaction is never taken for this one, and a
// frame that is none ends the connection.
func TestLateAnswersOverTCP(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	frame := func(transaction uint16, unit byte, registers ...uint16) []byte {
		pdu := []byte{unit, byte(ReadInput), byte(2 * len(registers))}
		for _, r := range registers {
			pdu = binary.BigEndian.AppendUint16(pdu, r)
		}
		return append(binary.BigEndian.AppendUint16(binary.BigEndian.AppendUint16(binary.BigEndian.AppendUint16(nil, transaction), 0), uint16(len(pdu))), pdu...)
	}
	answers := []func(transaction uint16) []byte{
		func(n uint16) []byte { return append(frame(n-1, 1, 9, 9), frame(n, 1, 215, 480)...) },
		func(n uint16) []byte { return frame(n, 2, 9, 9) },
		func(n uint16) []byte { return frame(n, 1, 9) },
		func(uint16) []byte { return []byte("HTTP/1.1 400 Bad Request\r\n") },
		func(n uint16) []byte { return frame(n, 1, 216, 481) },
	}
	served := make(chan struct{})
	go func() {
		defer close(served)
		next := 0
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			request := make([]byte, 12)
			for {
				if _, err := io.ReadFull(c, request); err != nil || next == len(answers) {
					break
				}
				if _, err := c.Write(answers[next](binary.BigEndian.Uint16(request))); err != nil {
					break
				}
				next++
			}
			c.Close()
		}
	}()
	b, err := New(link.Settings{Port: "tcp://" + l.Addr().String()}, "")
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []string{"", "unit 2", "2 bytes", "no header", ""} {
		got, err := b.Read(t.Context(), asked)
		if want == "" && (err != nil || !slices.Equal(got, []uint16{215 + uint16(i/4), 480 + uint16(i/4)})) ||
			want != "" && (!errors.Is(err, ErrFrame) || !strings.Contains(err.Error(), want)) {
			t.Errorf("answer %d: %v, %v; want %q", i, got, err, want)
		}
	}
	if err := errors.Join(b.Close(), l.Close()); err != nil {
		t.Error(err)
	}
	<-served
}

// TestRTUBehindASerialServer: frames of a serial line over TCP. The connection stays after a wrong
// answer and after a unit that is silent; it is opened again when it was lost, and when nothing came from
// any unit for half a minute.
func TestRTUBehindASerialServer(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, err := New(link.Settings{Port: "tcp://server:4001"}, RTU)
		if err != nil {
			t.Fatal(err)
		}
		silent, opened := false, 0
		l := &line{bytes: make(chan byte, 4096)}
		l.answer = func(request []byte) []later {
			if silent || request[0] == 9 {
				return nil
			}
			whole := answerRTU(request[0], ReadInput, 215, 480)
			return []later{{10 * time.Millisecond, whole[:4]}, {60 * time.Millisecond, whole[4:]}} // two packets
		}
		b.open = func(context.Context, link.Settings) (io.ReadWriteCloser, error) {
			opened++
			l.lost.Store(false)
			return l, nil
		}
		reads := func(unit byte, want error, connections int) {
			t.Helper()
			r := asked
			r.Unit = unit
			got, err := b.Read(t.Context(), r)
			if !errors.Is(err, want) || want == nil && !slices.Equal(got, []uint16{215, 480}) || opened != connections {
				t.Errorf("unit %d: %v, %v, %d connections; want %v, %d", unit, got, err, opened, want, connections)
			}
		}
		reads(1, nil, 1)
		for range 60 { // one unit is away for more than a minute
			reads(9, ErrTimeout, 1)
			reads(1, nil, 1)
		}
		l.lost.Store(true)
		reads(1, link.ErrLost, 1)
		reads(1, nil, 2)
		silent = true
		for began := time.Now(); time.Since(began) < 29*time.Second; {
			reads(1, ErrTimeout, 2)
		}
		for range 3 {
			_, _ = b.Read(t.Context(), asked)
		}
		silent = false
		reads(1, nil, 3)
	})
	for _, wrong := range []struct {
		port string
		f    Framing
	}{{"/dev/ttyUSB0", TCP}, {"tcp://server:4001", "ascii"}} {
		if _, err := New(link.Settings{Port: wrong.port}, wrong.f); !errors.Is(err, link.ErrSettings) {
			t.Errorf("%q with %q frames: %v", wrong.port, wrong.f, err)
		}
	}
}

// TestALinePluggedAgainAndAgain: it is lost in the middle of an answer, a thousand times. The rest of that
// answer, which waits on the line when it is plugged in again, is not taken for the next one.
func TestALinePluggedAgainAndAgain(t *testing.T) {
	for port, framing := range map[string]Framing{"/dev/made-up": RTU, "tcp://server:4001": RTU} {
		synctest.Test(t, func(t *testing.T) {
			l := &line{bytes: make(chan byte, 4096)}
			n, opened, closed := uint16(0), 0, 0
			l.answer = func([]byte) []later {
				whole := answerRTU(1, ReadInput, n, n)
				return []later{{10 * time.Millisecond, whole}}
			}
			b, err := New(link.Settings{Port: port}, framing)
			if err != nil {
				t.Fatal(err)
			}
			b.open = func(context.Context, link.Settings) (io.ReadWriteCloser, error) {
				l.lost.Store(false)
				opened++
				return closing{l, &closed}, nil
			}
			for n = 1; n <= 1000; n++ {
				time.AfterFunc(150*time.Millisecond, func() { l.lost.Store(true) }) // after the drain, in the answer
				if got, err := b.Read(t.Context(), asked); err == nil && !slices.Equal(got, []uint16{n, n}) || err != nil && !errors.Is(err, link.ErrLost) {
					t.Fatalf("time %d: %v, %v", n, got, err)
				}
				time.Sleep(100 * time.Millisecond)
				l.lost.Store(true)
				for _, c := range answerRTU(1, ReadInput, n, n)[4:] { // what was in flight
					l.bytes <- c
				}
				n++
				began := time.Now()
				got, err := b.Read(t.Context(), asked)
				if errors.Is(err, link.ErrLost) { // noticed now
					got, err = b.Read(t.Context(), asked)
				}
				if err != nil || !slices.Equal(got, []uint16{n, n}) || time.Since(began) > time.Second {
					t.Fatalf("time %d: %v, %v after %v", n, got, err, time.Since(began))
				}
			}
			if err := b.Close(); err != nil || opened != closed || opened < 500 {
				t.Errorf("%d opened, %d closed, %v", opened, closed, err)
			}
		})
	}
}

// closing is a stream that counts when it is closed.
type closing struct {
	*line
	closed *int
}

func (c closing) Close() error {
	*c.closed++
	return nil
}

func FuzzAnswer(f *testing.F) {
	f.Add(answerRTU(1, ReadInput, 215, 480), byte(2))
	f.Add([]byte{1, 0x84, 2, 0xc2, 0xc1}, byte(1))
	f.Add([]byte("\x15\x01\x00\x00\x00\x05\x01\x04\x02\x00\x05"), byte(1))
	f.Fuzz(func(t *testing.T, came []byte, count byte) {
		r := Request{Unit: 1, Function: ReadInput, Count: int(count%MostRegisters) + 1}
		if got, err := parseRTU(r, slices.Clone(came)); err == nil {
			if again := answerRTU(1, ReadInput, got...); !strings.HasSuffix(string(came), string(again)) {
				t.Errorf("% x was taken for %v", came, got)
			}
		}
		frame, done, err := splitTCP(0x1501, came)
		if done && (err != nil || binary.BigEndian.Uint16(frame) != 0x1501 || len(frame) < headerBytes+2) {
			t.Errorf("% x: % x, %v", came, frame, err)
		}
	})
}

// A unit that refuses says why in a person's words, and what to do (V1.1b3, 7).
func TestExceptionsSayWhatToDo(t *testing.T) {
	for code, want := range map[byte]string{1: "the function is not supported: set registers to input", 2: "the register is not there: look it up", 3: "the value is refused", 4: "it failed", 6: "it is busy", 11: "the gateway gets no answer", 99: "exception 99"} {
		_, err := parsePDU(Request{Function: 4, Count: 1}, []byte{0x84, code})
		if !errors.Is(err, ErrException) || !strings.Contains(err.Error(), want) {
			t.Errorf("exception %d: %v, want %q", code, err, want)
		}
	}
}
