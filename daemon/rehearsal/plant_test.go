package rehearsal

import (
	"log/slog"
	"os"
	"testing"
	"time"

	"potlifed/daemon/mqtt/mqtttest"
)

// newMosquitto starts a real broker that queues without a bound, and returns its address.
func newMosquitto(t testing.TB) string {
	t.Helper()
	return "mqtt://" + mqtttest.StartMosquitto(t, "max_queued_messages 0").Addr()
}

// TestManyBenchesOnOneBroker: every bench's events arrive in order and without gaps,
// every light shows the table's function, and nothing is left running (see TestMain) or
// lying about. There are fifty benches with POTLIFED_LONG=1, which a machine with much other work
// does not run fast enough.
func TestManyBenchesOnOneBroker(t *testing.T) {
	if testing.Short() {
		t.Skip("runs many benches for some seconds")
	}
	benches := 20
	if os.Getenv("POTLIFED_LONG") != "" {
		benches = 50
	}
	broker, temporary := newMosquitto(t), t.TempDir()
	t.Setenv("TMPDIR", temporary)
	report, err := RunPlant(t.Context(), PlantOptions{
		Benches: benches, Broker: broker, Prefix: "potlife", For: 8 * time.Second, MixEvery: 4 * time.Second, Recorded: true,
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
	if len(report.Events) != benches || least < 7 { // its start and the three batches, recorded and loaded
		t.Errorf("%d benches were received, one of them with %d events only", len(report.Events), least)
	}
	if len(report.Latencies) == 0 {
		t.Error("no light was measured")
	}
	left, err := os.ReadDir(temporary)
	if err != nil || len(left) > 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}
