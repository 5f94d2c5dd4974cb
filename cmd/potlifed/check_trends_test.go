package main

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"potlifed/devices/simulate"
)

// An instrument that follows a batch is shown with what it reads, and what is wrong with it with what to do.
func TestCheckOfAnInstrumentThatFollowsABatch(t *testing.T) {
	t.Parallel()
	m, h := newMosquitto(t), newHardware(t)
	drive, err := simulate.NewDrive(simulate.DriveOptions{Dir: h.dir, Every: 20 * time.Millisecond})
	if err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- drive.Run(t.Context()) }()
	t.Cleanup(func() {
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	m.publishes("drive", func(int) string { return `{"current_a": 0.7}` })
	for _, row := range []struct {
		torque float64
		trend  string
		code   int
		want   string
	}{
		{21.5, fmt.Sprintf("source: line, port: %s, line: %q", drive.Port(), simulate.DriveLine), 0, "shows 21.5; it follows the batch on press-1 (experimental"},
		{0, fmt.Sprintf("source: line, port: %s, line: %q", drive.Port(), simulate.DriveLine), 0, "shows 0, which is not above idle_below"},
		{21.5, fmt.Sprintf("source: line, port: %s, line: \"{value} A\"", drive.Port()), 1, "sends lines that do not fit the pattern"},
		{0, "source: line, port: /dev/not-there, line: \"{value}\"", 1, "/dev/not-there is not there"},
		{0, "topic: drive, pointer: /current_a, offset: -0.2", 0, "drive shows 0.5; it follows"},
	} {
		drive.Set(row.torque)
		file := h.configuration(t, m.configuration()+"trends: [{id: drive-1, observes: {batch-of: press-1}, "+row.trend+"}]\n")
		code, out, errs := command(t, "check", "--config", file)
		if verdict := map[int]string{0: "ok     ", 1: "fault  "}[row.code] + "trend drive-1"; code != row.code || !strings.Contains(out, row.want) || !strings.Contains(out, verdict) {
			t.Errorf("%s: exit %d, want %q\n%s%s", row.trend, code, row.want, out, errs)
		}
	}
}
