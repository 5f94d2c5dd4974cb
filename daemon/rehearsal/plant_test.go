package rehearsal

import (
	"fmt"
	"log/slog"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"
)

// newMosquitto starts a real broker and returns its address. Without the program the test
// is skipped by name.
func newMosquitto(t testing.TB) string {
	t.Helper()
	program, err := exec.LookPath("mosquitto")
	if err != nil {
		if os.Getenv("POTLIFED_PEERS") == "require" {
			t.Fatal("mosquitto is required and not there")
		}
		t.Skip("mosquitto is not there")
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := l.Addr().String()
	_, port, _ := net.SplitHostPort(address)
	_ = l.Close()
	conf := filepath.Join(t.TempDir(), "mosquitto.conf")
	if err := os.WriteFile(conf, fmt.Appendf(nil, "listener %s 127.0.0.1\nallow_anonymous true\npersistence false\nlog_type none\nmax_queued_messages 0\n", port), 0o600); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(program, "-c", conf)
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
	})
	for began := time.Now(); ; {
		c, err := net.Dial("tcp", address)
		if err == nil {
			_ = c.Close()
			return "mqtt://" + address
		}
		if time.Since(began) > 10*time.Second {
			t.Fatal(err)
		}
		time.Sleep(10 * time.Millisecond)
	}
}

// TestFiftyBenchesOnOneBroker: every bench's events arrive in order and without gaps,
// every light shows the table's function, and nothing is left running (see TestMain) or
// lying about.
func TestFiftyBenchesOnOneBroker(t *testing.T) {
	if testing.Short() {
		t.Skip("runs fifty benches for some seconds")
	}
	broker, temporary := newMosquitto(t), t.TempDir()
	t.Setenv("TMPDIR", temporary)
	report, err := RunPlant(t.Context(), PlantOptions{
		Benches: 50, Broker: broker, Prefix: "potlife", For: 8 * time.Second, MixEvery: 4 * time.Second, Recorded: true,
		SampleEvery: 100 * time.Millisecond, SensorEvery: time.Second, Seed: 1,
		Log: slog.New(slog.NewTextHandler(t.Output(), &slog.HandlerOptions{Level: slog.LevelWarn})),
	})
	if err != nil {
		t.Fatal(err)
	}
	if err := report.Write(t.Output()); err != nil {
		t.Error(err)
	}
	for _, wrong := range report.WrongLights {
		t.Error(wrong)
	}
	for _, wrong := range report.MissingEvents {
		t.Error(wrong)
	}
	least := uint64(1 << 62)
	for _, e := range report.Events {
		least = min(least, e.Last)
	}
	if len(report.Events) != 50 || least < 7 { // its start and the three batches, recorded and loaded
		t.Errorf("%d benches were heard, one of them with %d events only", len(report.Events), least)
	}
	if len(report.Latencies) == 0 {
		t.Error("no light was measured")
	}
	left, err := os.ReadDir(temporary)
	if err != nil || len(left) > 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}
