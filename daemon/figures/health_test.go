package figures

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"potlifed/model/health"
)

// TestHealth: a month of days as lines, in the tables beside them too. Older days, and those without a
// date, are left out; a day without a figure is a gap.
func TestHealth(t *testing.T) {
	m := maker()
	var days []health.Day
	var pan []health.PanDay
	for i := range 40 {
		date := morning.AddDate(0, 0, i-40).Format("2006-01-02")
		days = append(days, health.Day{Date: date, N: 90, Errors: 10, Jumps: i, Same: 90 * time.Minute, Oldest: 3 * time.Hour, Down: 6 * time.Hour, Beside: "hall-air", ApartPct: -0.5})
		pan = append(pan, health.PanDay{Date: date, Oldest: time.Hour, Down: 12 * time.Hour, Settled: 9, Settle: 2 * time.Second, Lines: 8000, Rejected: 1800, NoiseG: new(0.02), ZeroG: new(0.1)})
	}
	days[35].Beside, days[5].Date, pan[35].ZeroG = "", "", nil
	svg, tables := drawn(t, m, m.SensorHealth(morning, map[string][]health.Day{"bench-air": days}))
	if rows := tables["bench-air"].Rows; len(rows) < 29 || len(rows) > 31 || !strings.HasPrefix(fmt.Sprint(rows[0]), "[") {
		t.Errorf("%d rows: %v", len(rows), rows)
	}
	for _, want := range []string{"10.0", "1 h 30 min", "75.0", "3 h"} {
		if !strings.Contains(strings.ReplaceAll(svg, "\u00a0", " "), want) {
			t.Errorf("the picture does not say %q", want)
		}
	}
	svg, _ = drawn(t, m, m.ScaleHealth(morning, map[string][]health.PanDay{"scale-1": pan}))
	for _, want := range []string{"0.020", "0.100", "50.0", "22.5"} {
		if !strings.Contains(svg, want) {
			t.Errorf("the picture does not say %q", want)
		}
	}
	// Days that hardly differ look alike, and what is known of no day has no axis.
	same := []health.Day{{Date: morning.AddDate(0, 0, -3).Format("2006-01-02"), N: 9, Same: 54*time.Minute + 49*time.Second}, {Date: morning.AddDate(0, 0, -2).Format("2006-01-02"), N: 9, Same: 54*time.Minute + 49*time.Second + 50*time.Millisecond}}
	f := m.SensorHealth(morning, map[string][]health.Day{"bench-air": same})
	if len(f.Panels) != 3 {
		t.Errorf("%d panels for a sensor without a neighbour", len(f.Panels))
	}
	if y := f.Panels[2].Y; y.Min != 0 || y.Max < 0.9 || y.Max > 1 {
		t.Errorf("hours without a change from %v to %v", y.Min, y.Max)
	}
	if line := m.healthPanel(morning, m.percentAxis(""), map[string][]daily{"a": {{"2026-06-01", new(1.)}, {"2026-06-02", nil}, {"2026-06-03", new(2.)}, {"no day", new(3.)}}}); fmt.Sprint(line.Layers) == "" {
		t.Error("no line")
	}
}
