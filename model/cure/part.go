package cure

import (
	"time"

	"potlifed/model/air"
)

// Part returns the beginning of a measured step: its first d, between whose ends the air is
// linear as in the whole step. d must be above 0 and at most the step's duration.
func (s Step) Part(d time.Duration) Step {
	s.To = air.Lerp(s.From, s.To, d.Hours()/s.Duration.Hours())
	s.Duration = d
	return s
}
