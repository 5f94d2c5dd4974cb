package cure

import "time"

// PastStep is a closed step with its place in time.
type PastStep struct {
	Start time.Time `json:"start"`
	Step  Step      `json:"step"`
}

// End is when the step ended.
func (p PastStep) End() time.Time { return p.Start.Add(p.Step.Duration) }
