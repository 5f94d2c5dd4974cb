package link

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"

	"potlifed/devices/simulate"
)

// holdPort names, in the environment, a port that this test binary opens and
// holds in place of running tests: another process for the tests of the lock.
const holdPort = "LINK_TEST_HOLD_PORT"

func TestMain(m *testing.M) {
	if port := os.Getenv(holdPort); port != "" {
		st, err := Open(context.Background(), Settings{Port: port})
		fmt.Println("open:", err)
		if err == nil {
			io.Copy(io.Discard, os.Stdin) // until the parent lets go, or dies
			st.Close()
		}
		return
	}
	goleak.VerifyTestMain(m)
}

// newScale runs a simulated scale until the test ends.
func newScale(t *testing.T, o simulate.ScaleOptions) *simulate.Scale {
	t.Helper()
	if o.Dir == "" {
		o.Dir = t.TempDir()
	}
	if o.Every == 0 {
		o.Every = 10 * time.Millisecond
	}
	s, err := simulate.NewScale(o)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- s.Run(ctx) }()
	t.Cleanup(func() {
		cancel()
		if err := <-done; err != nil {
			t.Errorf("simulated scale: %v", err)
		}
	})
	return s
}

func TestCheck(t *testing.T) {
	good := []Settings{
		{Port: "/dev/ttyUSB0"},
		{Port: "/dev/serial/by-id/usb-x", Baud: 1200, Mode: "7E1"},
		{Port: "tcp://127.0.0.1:4001"},
		{Port: "tcp://[::1]:4001", Mode: "7O2"},
		{Port: "hid:/dev/hidraw0"},
		{Port: "hid:0922:8003"},
		{Port: "hid:0922:8003:00:12", Request: "P\r\n", Every: 50 * time.Millisecond},
	}
	for _, s := range good {
		if err := s.Check(); err != nil {
			t.Errorf("%+v: %v", s, err)
		}
	}
	bad := map[string]Settings{
		"no port named":    {},
		"zero byte":        {Port: "/dev/\x00"},
		"hexadecimal":      {Port: "hid:0922:80"},
		"the request has":  {Port: "/dev/x", Request: strings.Repeat("P", 65)},
		"50ms at least":    {Port: "/dev/x", Request: "P", Every: time.Millisecond},
		"want tcp://":      {Port: "udp://h:1"},
		"TCP port":         {Port: "tcp://host"},
		"nothing more":     {Port: "tcp://host:1/path"},
		"in brackets":      {Port: "tcp://::1"},
		"baud -1":          {Port: "/dev/a", Baud: -1},
		`mode "8N3"`:       {Port: "/dev/a", Mode: "8N3"},
		`mode "9N1"`:       {Port: "/dev/a", Mode: "9N1"},
		`mode "8X1"`:       {Port: "/dev/a", Mode: "8X1"},
		"must not be neg":  {Port: "/dev/a", Silence: -1},
		"shorter than the": {Port: "/dev/a", RetryMin: 2, RetryMax: 1},
	}
	for text, s := range bad {
		err := s.Check()
		if !errors.Is(err, ErrSettings) || !strings.Contains(err.Error(), text) {
			t.Errorf("%+v: got %v, want ErrSettings with %q", s, err, text)
		}
	}
	both := Settings{Port: "hid:x", Baud: 1, Mode: "x"}.Check()
	for _, want := range []string{"hid:x", "baud 1", `mode "x"`} {
		if !strings.Contains(both.Error(), want) {
			t.Errorf("all faults at once: %q is missing in %v", want, both)
		}
	}
}

func FuzzCheck(f *testing.F) {
	f.Add("/dev/ttyUSB0", "8N1", 9600)
	f.Add("tcp://127.0.0.1:80", "7E1", 0)
	f.Add("tcp://[::1%lo]:80", "5S2", -3)
	f.Add("tcp://::1", "", 0)
	f.Fuzz(func(t *testing.T, port, mode string, baud int) {
		s := Settings{Port: port, Mode: mode, Baud: baud}
		err := s.Check()
		if err != nil && !errors.Is(err, ErrSettings) {
			t.Errorf("%v does not wrap ErrSettings", err)
		}
		if err == nil && isTCP(port) {
			address, err := tcpAddress(port)
			if err != nil {
				t.Fatal(err)
			}
			if _, _, err := net.SplitHostPort(address); err != nil {
				t.Errorf("accepted %q, which is no address: %v", address, err)
			}
		}
	})
}

func TestOpenTellsWhatIsWrong(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "file")
	if err := os.WriteFile(file, []byte("60 g"), 0o600); err != nil {
		t.Fatal(err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	nobody := "tcp://" + l.Addr().String()
	l.Close()
	for port, want := range map[string]error{
		filepath.Join(dir, "absent"): ErrAbsent,
		filepath.Join(file, "below"): ErrAbsent,
		file:                         ErrNotSerial,
		dir:                          ErrNotSerial,
		"/dev/null":                  ErrNotSerial,
		nobody:                       ErrAbsent,
	} {
		st, err := Open(t.Context(), Settings{Port: port})
		if !errors.Is(err, want) {
			t.Errorf("open %q: got %v, want %v", port, err, want)
		}
		if err == nil {
			st.Close()
			continue
		}
		if !strings.Contains(err.Error(), port) || Advice(err) == "" {
			t.Errorf("error %q with advice %q: want the port and something to do", err, Advice(err))
		}
	}
}

func TestReadWaitsAndStripsAndCloses(t *testing.T) {
	for _, tcp := range []bool{false, true} {
		s := newScale(t, simulate.ScaleOptions{TCP: tcp})
		st, err := Open(t.Context(), Settings{Port: s.Port(), Mode: "7E1"})
		if err != nil {
			t.Fatal(err)
		}
		s.Silence(true)
		buf := make([]byte, 256)
		for { // what was on its way when the silence began
			if n, err := st.Read(buf); n == 0 && errors.Is(err, os.ErrDeadlineExceeded) {
				break
			}
		}
		start := time.Now()
		if n, err := st.Read(buf); n != 0 || !errors.Is(err, os.ErrDeadlineExceeded) {
			t.Errorf("silent: read %d bytes, %v; want none, and a deadline", n, err)
		}
		if waited := time.Since(start); waited < pollEvery/2 {
			t.Errorf("a silent read came back after %v: it spins", waited)
		}
		// Bit 7 set as in 7E1 read with 8 bits: '6' has even parity, '1' odd.
		if err := s.Noise([]byte{'6', '1' | 0x80, '\r'}); err != nil {
			t.Fatal(err)
		}
		n, err := io.ReadFull(st, buf[:3])
		if err != nil || string(buf[:n]) != "61\r" {
			t.Errorf("read %q, %v; want bit 7 cleared", buf[:n], err)
		}
		if err := errors.Join(st.Close(), st.Close()); err != nil {
			t.Errorf("close twice: %v", err)
		}
		if _, err := st.Read(buf); !errors.Is(err, ErrClosed) || errors.Is(err, ErrLost) {
			t.Errorf("read after our own close: %v, want ErrClosed", err)
		}
	}
}

func TestUnpluggedIsLostNotClosed(t *testing.T) {
	for _, tcp := range []bool{false, true} {
		s := newScale(t, simulate.ScaleOptions{TCP: tcp})
		st, err := Open(t.Context(), Settings{Port: s.Port()})
		if err != nil {
			t.Fatal(err)
		}
		defer st.Close()
		buf := make([]byte, 256)
		if _, err := io.ReadAtLeast(st, buf, 1); err != nil && !errors.Is(err, os.ErrDeadlineExceeded) {
			t.Fatal(err)
		}
		if err := s.Unplug(); err != nil {
			t.Fatal(err)
		}
		for err = nil; err == nil || errors.Is(err, os.ErrDeadlineExceeded); {
			_, err = st.Read(buf)
		}
		if !errors.Is(err, ErrLost) || errors.Is(err, ErrClosed) {
			t.Errorf("tcp %v: got %v, want ErrLost", tcp, err)
		}
	}
}

func TestOldBytesAreNotTakenForNew(t *testing.T) {
	s := newScale(t, simulate.ScaleOptions{})
	s.Silence(true)
	if s.OnNetwork() {
		t.Skip("needs a pseudo-terminal")
	}
	if err := s.Noise([]byte("old")); err != nil {
		t.Fatal(err)
	}
	st, err := Open(t.Context(), Settings{Port: s.Port()})
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	if err := s.Noise([]byte("new")); err != nil {
		t.Fatal(err)
	}
	buf := make([]byte, 3)
	if _, err := io.ReadFull(st, buf); err != nil || string(buf) != "new" {
		t.Errorf("read %q, %v; want what came after opening", buf, err)
	}
}

// Two programs must not share a port, no matter who runs them: a root test run proves
// that the lock holds where the exclusive mode does not.
func TestPortHeldByAnotherProcessIsBusy(t *testing.T) {
	s := newScale(t, simulate.ScaleOptions{})
	if s.OnNetwork() {
		t.Skip("needs a pseudo-terminal")
	}
	holder := exec.Command(os.Args[0])
	holder.Env = append(os.Environ(), holdPort+"="+s.Port())
	stdin, err := holder.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	stdout, err := holder.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := holder.Start(); err != nil {
		t.Fatal(err)
	}
	if line, err := bufio.NewReader(stdout).ReadString('\n'); line != "open: <nil>\n" {
		t.Fatalf("the holder says %q, %v", line, err)
	}
	// By the name and by the device behind it.
	device, err := filepath.EvalSymlinks(s.Port())
	if err != nil {
		t.Fatal(err)
	}
	for _, port := range []string{s.Port(), device} {
		_, err := Open(t.Context(), Settings{Port: port})
		if !errors.Is(err, ErrBusy) || !strings.Contains(err.Error(), port) {
			t.Errorf("held by another process: got %v, want ErrBusy with the path", err)
		}
	}
	// Killed, so that it cannot tidy up: the port must be free all the same.
	// Over a pseudo-terminal the exclusive mode outlives it until the
	// simulated scale's next line clears it.
	if err := holder.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = holder.Wait()
	stdin.Close()
	deadline := time.Now().Add(5 * time.Second)
	for {
		st, err := Open(t.Context(), Settings{Port: s.Port()})
		if err == nil {
			st.Close()
			return
		}
		if time.Now().After(deadline) {
			t.Fatalf("after the holder died: %v", err)
		}
		time.Sleep(5 * time.Millisecond)
	}
}

func TestOpeningTwiceHereIsBusy(t *testing.T) {
	s := newScale(t, simulate.ScaleOptions{})
	if s.OnNetwork() {
		t.Skip("needs a pseudo-terminal")
	}
	st, err := Open(t.Context(), Settings{Port: s.Port()})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := Open(t.Context(), Settings{Port: s.Port()}); !errors.Is(err, ErrBusy) {
		t.Errorf("got %v, want ErrBusy", err)
	}
	if err := st.Close(); err != nil {
		t.Fatal(err)
	}
	again, err := Open(t.Context(), Settings{Port: s.Port()})
	if err != nil {
		t.Fatalf("after closing: %v", err)
	}
	again.Close()
}
