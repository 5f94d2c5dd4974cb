package record

import (
	"maps"

	"potlifed/model/health"
)

// KindScaleDay is the kind of [ScaleDay].
const KindScaleDay Kind = "scale-day"

// ScaleDay records how a scale settled over a day, how noisy it was, and what it showed when it was empty.
type ScaleDay struct {
	Scale string `json:"scale" doc:"id of the scale"`
	health.PanDay
}

func (ScaleDay) Kind() Kind    { return KindScaleDay }
func (ScaleDay) About() string { return "" }

func (e ScaleDay) apply(s *State, _ Record) {
	s.ScaleDays = maps.Clone(s.ScaleDays)
	if s.ScaleDays == nil { // a checkpoint of a version that did not know days
		s.ScaleDays = map[string][]health.PanDay{}
	}
	s.ScaleDays[e.Scale] = health.KeptOfPan(s.ScaleDays[e.Scale], e.PanDay)
}
