package bench

import (
	"strings"
	"testing"
	"time"

	"potlifed/daemon/config"
	"potlifed/daemon/words"
	"potlifed/model/health"
)

// TestAFaultIsInPeoplesWords: whatever a driver reports, the text has no path, no error of the
// system and no key of the catalogue; these are in the detail.
func TestAFaultIsInPeoplesWords(t *testing.T) {
	const raw = `open serial port "/dev/serial/by-id/usb-A10K": it is not there: stat /dev/serial/by-id/usb-A10K: no such file or directory`
	now := time.Date(2026, 6, 12, 8, 0, 0, 0, time.UTC)
	for fault, of := range map[health.Fault]string{
		health.NotOpened: "scale", health.Busy: "scale and sensor", health.Denied: "scale and sensor", health.NotSerial: "scale and sensor", health.Settings: "scale and sensor", health.Lost: "scale and sensor",
		health.Absent: "scale and sensor", health.OtherFault: "scale and sensor",
		health.Garbled: "sensor", health.Blocked: "scale and sensor", health.Implausible: "sensor", health.NoHumidity: "sensor", health.NoValue: "sensor", health.NotHeard: "sensor", health.OtherKind: "sensor",
	} {
		var told []trouble
		if strings.Contains(of, "scale") {
			s := newScale(config.Scale{ID: "scale-1"}, newClock(), words.Locale{})
			s.fault, s.detail = fault, raw
			_, why := s.condition(now)
			told = append(told, why)
		}
		if strings.Contains(of, "sensor") {
			s := &sensor{Sensor: config.Sensor{ID: "hall-air"}, clock: newClock(), failing: downAfter, fault: fault, failure: raw}
			_, why := s.condition(now)
			told = append(told, why)
		}
		for _, why := range told {
			if why.detail != raw {
				t.Errorf("%s: detail %q", fault, why.detail)
			}
			if strings.ContainsAny(why.text, `/"{`) || !strings.HasSuffix(why.text, ".") && !strings.HasSuffix(why.text, "?") {
				t.Errorf("%s: text %q", fault, why.text)
			}
		}
	}
}
