package instruments

import (
	"testing"

	"potlifed/daemon/config"
	"potlifed/model/health"
)

// A torque that comes as lines and one that is published, each with what it is read by; a message that does not
// fit, and a port that is not there, are faults.
func TestInstrumentsThatFollowABatch(t *testing.T) {
	h, s := newHeard(), &station{ready: make(chan struct{})}
	runsBy(t, hastened{}, config.Shop{Trends: []config.Trend{
		{ID: "stirrer", Source: config.Lines, Port: streams(t, "T 12.5 mNm\r\n"), Line: "T {value} {word}", Factor: 2, Offset: -5},
		{ID: "gone", Source: config.Lines, Port: "/nothing/of/that/name", Line: "{value}", Factor: 1},
		{ID: "drive", Source: config.Published, Topic: "press-1/drive", Pointer: "/current_a", Factor: 1, Offset: -0.2},
	}}, h, s)
	<-s.ready
	s.receive("press-1/drive", []byte(`{"current_a": 0.7}`), false)
	h.until(t, "values", func() bool {
		return h.trends["stirrer"] == TrendReading{Value: 20} && h.trends["drive"].Err == nil && h.trends["drive"].Value > 0.49 && h.trends["gone"].Fault == health.Absent
	})
	s.receive("press-1/other", []byte(`{"current_a": 0.9}`), false)
	s.receive("press-1/drive", []byte(`{"speed": 0.7}`), false)
	h.until(t, "a fault", func() bool { return h.trends["drive"].Fault == health.Garbled })
	h.until(t, "that a port that is not there is told again and again", func() bool { return h.told["gone"] > 3 })
	s.receive("press-1/drive", []byte(`{"current_a": 0.7}`), true)
	h.until(t, "that a retained message has no age", func() bool { return h.trends["drive"].Fault == health.NotHeard })
}
