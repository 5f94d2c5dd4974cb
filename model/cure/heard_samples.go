package cure

import "time"

// Heard is what a sample said.
type Heard struct {
	ID  uint64        // of the sample
	Age time.Duration // when it was taken
	// Confirmed: two runs agree, the temperature of the ink with that of the cup, and all samples of the batch are of
	// one flow cup. Another sample can only shorten the life.
	Confirmed bool
	// TwoCups: the samples of the batch are of different flow cups.
	TwoCups bool
	// Agree: two runs agree. A sample that agrees and is not confirmed had another temperature than the cup.
	Agree bool
	// Doubted is the probability, 0 to 1, that the sample is wrong.
	Doubted float64
}

// Heard returns the samples in use, oldest first.
func (c *Ensemble) Heard() []Heard {
	if c.heard == nil || len(c.heard.samples) == 0 {
		return nil
	}
	samples, twoCups := make([]Heard, len(c.heard.samples)), len(c.heard.cups()) > 1
	for k, s := range c.heard.samples {
		samples[k] = Heard{ID: s.ID, Age: s.Age, Confirmed: s.Confirmed && !twoCups, Agree: s.Of.Agree(), TwoCups: twoCups, Doubted: c.heard.doubted[k]}
	}
	return samples
}
