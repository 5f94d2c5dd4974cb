// Package viscosity describes how the viscosity of a two-component ink rises with its age, and
// learns that from the flow times of past batches.
//
// The age of a batch is u, the share of its own end dose that it has spent: 0 at the first hardener
// and 1 at its end. The logarithm of the viscosity is
//
//	ln v = Start + Rise · s(u) - PerKelvin (T - 23 °C) - PerPct (thinner - thinner when mixed)
//
// s goes from 0 to 1 along two straight lines that meet at Bend. Urethane systems are known whose
// ln v is linear in time (hydroxyl-terminated polybutadiene with HDI) and others that rise in two
// stages (with TDI and IPDI; Sekkar, J. Appl. Polym. Sci. 79 (2001) 1869, abstract). Viscosity moves by
// up to 5 % per °F (ASTM D4212), so each reading has the temperature of the ink.
//
// A viscosity says nothing of the ratio of ink and hardener: it does not replace weighing.
package viscosity

import (
	"fmt"
	"math"
	"slices"
)

// referenceTemperatureC is the temperature in °C that Curve.Start refers to (ISO 2431 tests at 23 °C).
const referenceTemperatureC = 23.0

// Curve is what is known of an ink's viscosity against its age: the centre of each parameter and
// its standard deviation from batch to batch, what is not known included. It is stored in the
// journal with each flow time.
type Curve struct {
	Start       float64 `json:"start" doc:"ln of the kinematic viscosity in mm²/s of the fresh mix at 23 °C"`
	StartSpread float64 `json:"start_spread" doc:"standard deviation of start from batch to batch"`
	Rise        float64 `json:"rise" doc:"rise of ln viscosity from the fresh mix to the end of the pot life"`
	RiseSpread  float64 `json:"rise_spread" doc:"standard deviation of rise"`
	Bend        float64 `json:"bend" doc:"share of the end dose at which the curve bends, 0.2 to 0.9"`
	Share       float64 `json:"share" doc:"share of the rise that is over at the bend, 0.02 to 0.98"`
	ShareSpread float64 `json:"share_spread" doc:"standard deviation of share"`
	PerKelvin   float64 `json:"per_kelvin" doc:"fall of ln viscosity for each kelvin"`
	PerKelvinSd float64 `json:"per_kelvin_spread" doc:"standard deviation of per_kelvin"`
	PerPct      float64 `json:"per_pct" doc:"fall of ln viscosity for each percent point of thinner added"`
	PerPctSd    float64 `json:"per_pct_spread" doc:"standard deviation of per_pct"`
	Ends        int     `json:"ends" doc:"number of batches with flow times and a known end that it was learned from"`
}

// The limits of a curve.
const (
	minBend, maxBend   = 0.2, 0.9
	minShare, maxShare = 0.02, 0.98
)

// Assumed returns the curve of an ink that no flow time is known of. A doubling of the viscosity is
// a usual definition of the pot life (common practice, no source); it is taken as known to 15 % of the
// rise. The straight line, the slopes with temperature and thinner and their spreads are
// assumptions. Start is unknown: only what changes within a batch tells its age.
func Assumed() Curve {
	return Curve{
		Start: 4.5, StartSpread: 1.5, Rise: math.Ln2, RiseSpread: 0.15 * math.Ln2,
		Bend: 0.5, Share: 0.5, ShareSpread: 0.06,
		PerKelvin: 0.05, PerKelvinSd: 0.02, PerPct: 0.08, PerPctSd: 0.04,
	}
}

// Valid returns nil when readings can be judged by the curve. Otherwise the error names the first
// parameter that is out of range, and its limits.
func (c Curve) Valid() error {
	for _, field := range []struct {
		name     string
		value    float64
		min, max float64
	}{
		{"start", c.Start, -20, 20}, {"spread of start", c.StartSpread, 1e-3, 10},
		{"rise", c.Rise, 0.02, 20}, {"spread of rise", c.RiseSpread, 0, 10},
		{"bend", c.Bend, minBend, maxBend}, {"share", c.Share, minShare, maxShare}, {"spread of share", c.ShareSpread, 0, 1},
		{"slope with temperature", c.PerKelvin, -1, 1}, {"its spread", c.PerKelvinSd, 0, 1},
		{"slope with thinner", c.PerPct, -1, 1}, {"its spread", c.PerPctSd, 0, 1},
	} {
		// Written as "not inside", so that a NaN fails too.
		if !(field.value >= field.min && field.value <= field.max) {
			return fmt.Errorf("viscosity: %s %v is outside %v..%v", field.name, field.value, field.min, field.max)
		}
	}
	return nil
}

// Risen returns s(u), the share of the rise that is over at age u ≥ 0, and its slope with Share. Beyond
// the end the second line continues.
func (c Curve) Risen(u float64) (s, perShare float64) {
	if u < c.Bend {
		perShare = u / c.Bend
		return c.Share * perShare, perShare
	}
	perShare = (1 - u) / (1 - c.Bend)
	return 1 - (1-c.Share)*perShare, perShare
}

// Sample is what was measured on one sample of a batch: the flow times of one to three runs, as
// viscosities.
type Sample struct {
	LnRuns       []float64 `json:"ln_runs" doc:"ln of the kinematic viscosity in mm²/s of each run"`
	RunSpread    float64   `json:"run_spread" doc:"standard deviation of ln viscosity that each run has of its own"`
	CommonSpread float64   `json:"common_spread" doc:"standard deviation that all runs of the sample share"`
	TemperatureC float64   `json:"temperature_c" doc:"temperature of the ink in °C"`
	ThinnerPct   float64   `json:"thinner_pct" doc:"change of the thinner since the mix was made, in percent points of ink and hardener; negative after loss"`
	ThinnerSd    float64   `json:"thinner_spread" doc:"standard deviation of thinner_pct"`
	// Drift is that of an instrument that follows a batch by itself, see trend.go.
	Drift float64 `json:"drift,omitempty" doc:"standard deviation of how far the instrument may have moved since the batch's first sample, the same for all later ones; absent for a flow cup"`
	// Cup is the flow cup, empty where it is not known.
	Cup string `json:"cup,omitempty" doc:"flow cup; absent in events of older versions"`
}

// The repeatability of a flow time. Within one laboratory a dip cup's time repeats to 3.7 % (ASTM
// D4212, 13.1.1). Two runs of one sample differ by less than 5 % in 95 of 100 cases (ISO 2431 asks for a
// third determination beyond that; from memory), which is a standard deviation of 5 %/2.77 of each. The
// rest of the 3.7 % of their mean is what they have in common. An assumption where no source is named.
const (
	RunSpreadOfTime    = 0.018
	CommonSpreadOfTime = 0.035
)

// agreement is by how many standard deviations of a run two runs of one sample may differ: the 95 % point
// of the difference of two.
const agreement = 2.77

// Agree reports whether the sample has two runs or more that differ by no more than is usual. A slipped
// digit in such a sample is within the scatter of right runs.
func (r Sample) Agree() bool {
	return len(r.LnRuns) > 1 && slices.Max(r.LnRuns)-slices.Min(r.LnRuns) <= agreement*r.RunSpread
}

// Run returns one run as a sample.
func (r Sample) Run(i int) Sample {
	r.LnRuns = r.LnRuns[i : i+1 : i+1]
	return r
}

// Shortest and Longest return the sample with the run of the lowest and of the highest viscosity alone.
func (r Sample) Shortest() Sample { return r.Run(slices.Index(r.LnRuns, slices.Min(r.LnRuns))) }
func (r Sample) Longest() Sample  { return r.Run(slices.Index(r.LnRuns, slices.Max(r.LnRuns))) }

// maxRuns is how many runs a sample may have.
const maxRuns = 3

// Valid returns nil when the sample can be judged.
func (r Sample) Valid() error {
	if n := len(r.LnRuns); n < 1 || n > maxRuns {
		return fmt.Errorf("viscosity: a sample has %d runs, want 1 to %d", n, maxRuns)
	}
	for _, run := range r.LnRuns {
		if !(math.Abs(run) <= 20) {
			return fmt.Errorf("viscosity: sample: ln viscosity %v is outside -20..20", run)
		}
	}
	for _, field := range []struct {
		name     string
		value    float64
		min, max float64
	}{
		{"spread of a run", r.RunSpread, 1e-4, 10}, {"common spread", r.CommonSpread, 0, 10},
		{"temperature", r.TemperatureC, -60, 200}, {"change of thinner", r.ThinnerPct, -1000, 1000}, {"its spread", r.ThinnerSd, 0, 1000},
		{"drift", r.Drift, 0, 10},
	} {
		if !(field.value >= field.min && field.value <= field.max) {
			return fmt.Errorf("viscosity: sample: %s %v is outside %v..%v", field.name, field.value, field.min, field.max)
		}
	}
	return nil
}

// Plain returns ln viscosity of the only run of a sample at the reference temperature and with the thinner of the
// fresh mix, by the centre of the curve.
func (c Curve) Plain(r Sample) float64 {
	return r.LnRuns[0] + c.PerKelvin*(r.TemperatureC-referenceTemperatureC) + c.PerPct*r.ThinnerPct
}

// Variance returns the variance of Plain that a sample has of its own.
func (c Curve) Variance(r Sample) float64 {
	return r.RunSpread*r.RunSpread + r.CommonSpread*r.CommonSpread + c.PerPct*c.PerPct*r.ThinnerSd*r.ThinnerSd
}

// Covariance returns the covariance of Plain of two samples of one batch, apart from the rise and from what
// each sample has of its own: what start, slopes and the drift of the instrument add. Samples from before and after another batch
// was poured in do not share start.
func (c Curve) Covariance(a, b Sample, sameStart bool) float64 {
	v := c.PerKelvinSd*c.PerKelvinSd*(a.TemperatureC-referenceTemperatureC)*(b.TemperatureC-referenceTemperatureC) +
		c.PerPctSd*c.PerPctSd*a.ThinnerPct*b.ThinnerPct + a.Drift*b.Drift
	if sameStart {
		v += c.StartSpread * c.StartSpread
	}
	return v
}
