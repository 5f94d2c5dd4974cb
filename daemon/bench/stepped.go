package bench

import "potlifed/daemon/record"

// stepped returns the state that may be shown, with its instants in the present bench time. Bench
// time moves at once when the clock was stepped, while the state that may be shown moves only once
// the event is on disk. Without this an age would be wrong by the step as long as the commit takes,
// and a light with it. The state's number stays that of the newest event on disk.
func (p *pipeline) stepped() record.State {
	s := p.shown
	for _, step := range p.steps {
		if step.Seq <= p.shown.Seq {
			continue
		}
		s = record.Apply(s, step)
		s.Seq = p.shown.Seq
	}
	if s.Seq >= p.lastStep() {
		p.steps = nil
	}
	return s
}

// lastStep returns the number of the newest step of the clock, 0 for none.
func (p *pipeline) lastStep() uint64 {
	if len(p.steps) == 0 {
		return 0
	}
	return p.steps[len(p.steps)-1].Seq
}
