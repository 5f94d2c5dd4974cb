package viscosity

import "math"

// A trend is what a torque or the current of a motor says of a batch. Its level means nothing: the unit, the
// stirrer and the depth differ. A sample of a trend is ln (value / first value of this batch), and its curve
// starts at 0. A torque is taken to be proportional to the viscosity, as in laminar flow (Metzner and Otto, AIChE
// J. 3 (1957) 3, from memory); a current is so once the current of the idle motor was subtracted.
//
// Experimental: no series of a real instrument is known to the authors. All figures here are assumptions.

// The errors of a trend. Each sample is the median of some minutes.
const (
	// DriftOfTrend is the standard deviation of ln value by which an instrument moves within one pot life, by its
	// warming for one. See DriftAfter.
	DriftOfTrend = 0.03
	// LeastNoiseOfTrend is the least standard deviation of a sample's own.
	LeastNoiseOfTrend = 0.003
	// leastRise is the share of the expected rise below which a trend does not rise. A batch that lives for two
	// medians, beyond four standard deviations, rises by half.
	leastRise = 0.4
	// mostRise is the share of the expected rise above which a trend rises by something else than the ink's age, likewise:
	// a batch that lives for half a median rises by twice as much.
	mostRise = 2.5
	// BetweenSamples is how much of the pot life lies between two samples: much enough for a rise to show above
	// noise and drift. Of 0.05, 0.07 and 0.1 the last made the bands of simulated batches narrowest.
	BetweenSamples = 0.1
)

// startSpreadOfTrend is how far ln value of the fresh mix may be from 0, which is that of the first sample: a
// batch may be old by then.
const startSpreadOfTrend = 1.0

// AssumedTrend returns the curve of an instrument and an ink of which no series is known: that of [Assumed],
// with a rise that is known to 30 %, since the part of the torque that is not the ink's is not known.
func AssumedTrend() Curve {
	c := Assumed()
	c.Start, c.StartSpread, c.RiseSpread = 0, startSpreadOfTrend, 0.3*c.Rise
	return c
}

// LearnTrend returns the curve of an instrument and an ink from the batches that it has followed. Without any
// it is that of [AssumedTrend].
func LearnTrend(series []Series) Curve {
	c := learn(series, AssumedTrend())
	c.Start, c.StartSpread = 0, startSpreadOfTrend // each batch has its own level
	return c
}

// DriftAfter returns the standard deviation of the drift since the first sample, after a share of the pot life: that
// of a random walk.
func DriftAfter(share float64) float64 { return DriftOfTrend * math.Sqrt(max(share, 0)) }

// Expected returns by how much ln value rises from one age to a later one, by the centre of the curve.
func (c Curve) Expected(from, to float64) float64 {
	a, _ := c.Risen(from)
	b, _ := c.Risen(to)
	return c.Rise * (b - a)
}

// Rises reports whether a trend has risen from one sample to a later one as a right one does at least, the ages
// being those of a batch of median life.
func (c Curve) Rises(from, to Sample, ageFrom, ageTo float64) bool {
	return c.Plain(to)-c.Plain(from) >= leastRise*c.Expected(ageFrom, ageTo)
}

// Steep reports whether a trend has risen from one sample to a later one by more than a right one does.
func (c Curve) Steep(from, to Sample, ageFrom, ageTo float64) bool {
	return c.Plain(to)-c.Plain(from) > mostRise*c.Expected(ageFrom, ageTo)
}

// noiseOfMedian returns the standard deviation of the median of n values with a median absolute deviation: 1.48 times the
// latter is the standard deviation of a normal distribution, and that of its median 1.25/√n of that. It is at
// least [LeastNoiseOfTrend].
func noiseOfMedian(deviation float64, n int) float64 {
	return max(1.4826*1.2533*deviation/math.Sqrt(float64(max(n, 1))), LeastNoiseOfTrend)
}
