package cure

import "time"

// PastStep is a closed step with the time at which it began.
type PastStep struct {
	Start time.Time `json:"start"`
	Step  Step      `json:"step"`
}

// End returns when the step ended.
func (p PastStep) End() time.Time { return p.Start.Add(p.Step.Duration) }
