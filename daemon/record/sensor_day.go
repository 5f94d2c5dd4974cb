package record

import (
	"maps"

	"potlifed/model/health"
)

// KindSensorDay is the kind of [SensorDay].
const KindSensorDay Kind = "sensor-day"

// SensorDay records what a sensor's readings were like over a day, so that a drift of months is seen
// over restarts.
type SensorDay struct {
	Sensor string `json:"sensor" doc:"id of the sensor"`
	health.Day
}

func (SensorDay) Kind() Kind    { return KindSensorDay }
func (SensorDay) About() string { return "" }

func (e SensorDay) apply(s *State, _ Record) {
	s.SensorDays = maps.Clone(s.SensorDays)
	if s.SensorDays == nil { // a checkpoint of a version that did not know days
		s.SensorDays = map[string][]health.Day{}
	}
	s.SensorDays[e.Sensor] = health.Kept(s.SensorDays[e.Sensor], e.Day)
}

// forgetDays forgets what was learned of a sensor's readings. Sensors that were compared with it are
// compared again, as its readings are others from now on.
func (s *State) forgetDays(sensor string) {
	if s.SensorDays == nil {
		return
	}
	next := make(map[string][]health.Day, len(s.SensorDays))
	for id, days := range s.SensorDays {
		if id == sensor {
			continue
		}
		kept := make([]health.Day, len(days))
		for i, d := range days {
			if kept[i] = d; d.Beside == sensor {
				kept[i] = d.WithoutNeighbour()
			}
		}
		next[id] = kept
	}
	s.SensorDays = next
}
