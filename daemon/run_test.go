package daemon

import (
	"context"
	"log/slog"
	"net"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/clock"
	"potlifed/daemon/config"
)

const shop = `
bench: bench-1
data_dir: %DIR%
http: {listen: "127.0.0.1:0", web_config_file: %FILE%}
scales:
  - {id: scale-1, port: "tcp://127.0.0.1:1", division_g: 0.1, zone: bench}
sensors:
  - {id: bench-air, zone: bench, path: /no-such/sensor}
presses:
  - {id: press-1, zone: bench, cup: cup-70}
cups:
  - {id: cup-70, ink_minimum_g: 40, fill_maximum_g: 80}
inks:
  - id: dial-satin
    hardener_ratio: "5:1"
    pot_life: {shortest: 4h30m, longest: 5h30m}
`

// settings returns the options of a run in a folder of its own; file is its
// web_config_file.
func settings(t *testing.T, file string) Options {
	t.Helper()
	text := strings.NewReplacer("%DIR%", t.TempDir(), "%FILE%", file).Replace(shop)
	c, err := config.Parse("shop.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	now, err := clock.NewSystem(true)
	if err != nil {
		t.Fatal(err)
	}
	return Options{Shop: c, Version: "test", Clock: now, Log: slog.New(slog.DiscardHandler)}
}

// TestABadWebConfigFileEndsTheRun: the service does not live on without its page, and
// systemd is not told that it is ready.
func TestABadWebConfigFileEndsTheRun(t *testing.T) {
	told := notifications(t)
	o := settings(t, "/no-such/web.yml")
	o.Ready = func(Addresses) { t.Error("ready without a page") }
	if err := Run(t.Context(), o); err == nil || !strings.Contains(err.Error(), "web_config_file") {
		t.Errorf("the run ends with %v", err)
	}
	if got := told(10 * time.Millisecond); got != "" {
		t.Errorf("systemd was told %q", got)
	}
}

// TestReadyOnceThePageIsServed asks for the page as soon as systemd was told.
func TestReadyOnceThePageIsServed(t *testing.T) {
	told := notifications(t)
	o := settings(t, `""`)
	at := make(chan string, 1)
	o.Ready = func(a Addresses) { at <- a.HTTP }
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- Run(ctx, o) }()
	if got := told(time.Minute); got != "READY=1" {
		t.Fatalf("systemd was told %q", got)
	}
	c, err := net.Dial("tcp", <-at)
	if err != nil {
		t.Errorf("ready, and nothing listens: %v", err)
	} else {
		c.Close()
	}
	stop()
	if err := <-ended; err != nil {
		t.Errorf("a stop in good order: %v", err)
	}
}

// notifications stands in for systemd. It returns a function that waits for its next
// message; empty when none comes in time.
func notifications(t *testing.T) func(time.Duration) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "notify")
	c, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	if err != nil {
		t.Skipf("no unix datagram socket here: %v", err)
	}
	t.Cleanup(func() { c.Close() })
	t.Setenv("NOTIFY_SOCKET", path)
	return func(d time.Duration) string {
		if err := c.SetReadDeadline(time.Now().Add(d)); err != nil {
			t.Fatal(err)
		}
		b := make([]byte, 256)
		n, _ := c.Read(b)
		return string(b[:n])
	}
}
