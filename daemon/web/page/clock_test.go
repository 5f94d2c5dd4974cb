package page

import (
	"testing"
	"time"

	"potlifed/daemon/view"
	"potlifed/daemon/words"
)

// TestShopsClockAndUnit: a page writes times in the zone of the shop, not in that of the device, and
// temperatures in the shop's unit.
func TestShopsClockAndUnit(t *testing.T) {
	t.Parallel()
	zone, err := time.LoadLocation("America/Chicago")
	if err != nil {
		t.Skip(err)
	}
	at := time.Date(2026, 9, 29, 3, 12, 0, 0, time.UTC) // 22:12 the day before in Chicago
	rows := shop(at)
	rows["alarms"].([]view.Alarm)[0].Since = at.Add(-10 * time.Minute)
	f := newFakeBenchIn(t, rows, words.Locale{Zone: zone, Fahrenheit: true})
	f.made = at
	b := openBrowser(t, 1280, 800)
	b.openAt(f, "/devices")
	f.send("scale", scaleRow(at, 107.6, true, "", nil))
	b.sees("#rests-on", "The bench’s time is 22:12.")
	b.sees("#instruments", "74.1 °F, 51.0 % RH") // 23.4 °C
	b.click(".alarms-elsewhere summary")         // where an alarm about ink is
	b.sees(".alarms-elsewhere", "since 22:02 (10 min ago)")
	b.openAt(f, "/closed?day=2026-09-28")
	b.sees(".sheet-title", "Mon 28 Sep 2026")
	asked := f.lastQuery(t, "from", "2026-09-28T05:00:00.000Z")
	if to := asked.Get("to"); to != "2026-09-29T05:00:00.000Z" {
		t.Errorf("the day ends at %s", to)
	}
}
