package verify

import (
	"errors"
	"fmt"
	"math"
)

const sqrt3 = 1.7320508075688772

func quadrature(x ...float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	return math.Sqrt(sum)
}

// Point is one point of a check of a humidity sensor.
type Point struct {
	RawPct       float64 // what the sensor read, without any correction, in % RH
	ReferencePct float64 // what it should have read
	StandardPct  float64 // standard uncertainty of the difference of the two, in % RH
}

// LinearCorrection is what makes the readings of a sensor right: OffsetPct + Gain · reading.
type LinearCorrection struct {
	OffsetPct float64 `json:"offset_pct" doc:"what is added to the reading once it is multiplied by gain, in % relative humidity"`
	Gain      float64 `json:"gain" doc:"what the reading is multiplied by"`
	// The standard uncertainties, and the covariance of offset and gain.
	OffsetStandardPct float64 `json:"offset_standard_pct" doc:"standard uncertainty of offset_pct in % relative humidity"`
	GainStandard      float64 `json:"gain_standard" doc:"standard uncertainty of gain"`
	Covariance        float64 `json:"covariance" doc:"covariance of offset_pct and gain"`
}

// None corrects nothing.
var None = LinearCorrection{Gain: 1}

// Apply returns a reading in % RH as corrected, between 0 and 100. The zero LinearCorrection corrects
// nothing.
func (c LinearCorrection) Apply(rawPct float64) float64 {
	if c.Gain == 0 {
		return rawPct
	}
	return min(max(c.OffsetPct+c.Gain*rawPct, 0), 100)
}

// StandardPct returns the standard uncertainty of a corrected reading in % RH that comes from the
// correction.
func (c LinearCorrection) StandardPct(rawPct float64) float64 {
	v := c.OffsetStandardPct*c.OffsetStandardPct + 2*rawPct*c.Covariance + rawPct*rawPct*c.GainStandard*c.GainStandard
	return math.Sqrt(max(v, 0))
}

// errSame is returned for points whose readings lie too close together to tell the gain.
var errSame = errors.New("the points lie too close together to tell the gain")

// leastApartPct is how far apart two points must be, in % RH, to tell the gain of a sensor.
const leastApartPct = 15

// Correct returns the correction that points of a check lead to. One point gives an offset; two or
// more give offset and gain, by least squares weighted with the points' uncertainties (for two
// points, the line through both). The uncertainties follow from those of the points, and with three
// points or more also from how far these are from a line: the larger counts (the correlation
// coefficients of JCGM 100, H.3). Points that are less than 15 % RH apart give the offset alone.
func Correct(points []Point) (LinearCorrection, error) {
	if len(points) == 0 {
		return None, errors.New("no point")
	}
	for _, p := range points {
		if !(p.StandardPct > 0) || math.IsInf(p.StandardPct, 0) || math.IsNaN(p.RawPct+p.ReferencePct) {
			return None, fmt.Errorf("a point of %v %% against %v %%, uncertain by %v %%: want figures, and an uncertainty above 0", p.RawPct, p.ReferencePct, p.StandardPct)
		}
	}
	c, err := line(points)
	if errors.Is(err, errSame) {
		return offsetOf(points), nil
	}
	return c, err
}

// offsetOf is the weighted mean of the differences.
func offsetOf(points []Point) LinearCorrection {
	var weights, sum float64
	for _, p := range points {
		w := 1 / (p.StandardPct * p.StandardPct)
		weights += w
		sum += w * (p.ReferencePct - p.RawPct)
	}
	return LinearCorrection{OffsetPct: sum / weights, Gain: 1, OffsetStandardPct: math.Sqrt(1 / weights)}
}

// line fits reference = offset + gain · reading to points that are at least 15 % RH apart, else
// it returns errSame.
func line(points []Point) (LinearCorrection, error) {
	low, high := math.Inf(1), math.Inf(-1)
	for _, p := range points {
		low, high = min(low, p.RawPct), max(high, p.RawPct)
	}
	if !(high-low >= leastApartPct) {
		return None, errSame
	}
	return fit(points), nil
}

// fit is the weighted least-squares line.
func fit(points []Point) LinearCorrection {
	var s, sx, sy float64
	for _, p := range points {
		w := 1 / (p.StandardPct * p.StandardPct)
		s, sx, sy = s+w, sx+w*p.RawPct, sy+w*p.ReferencePct
	}
	meanX, meanY := sx/s, sy/s
	var sxx, sxy float64
	for _, p := range points {
		w := 1 / (p.StandardPct * p.StandardPct)
		sxx += w * (p.RawPct - meanX) * (p.RawPct - meanX)
		sxy += w * (p.RawPct - meanX) * (p.ReferencePct - meanY)
	}
	gain := sxy / sxx
	offset := meanY - gain*meanX
	scale := 1.0
	if n := len(points); n > 2 {
		chi := 0.0
		for _, p := range points {
			r := (p.ReferencePct - offset - gain*p.RawPct) / p.StandardPct
			chi += r * r
		}
		scale = max(scale, chi/float64(n-2))
	}
	gainVariance := scale / sxx
	return LinearCorrection{
		OffsetPct: offset, Gain: gain,
		GainStandard:      math.Sqrt(gainVariance),
		OffsetStandardPct: math.Sqrt(scale/s + meanX*meanX*gainVariance),
		Covariance:        -meanX * gainVariance,
	}
}

// Finding is what the points of a check say about a sensor, beside whether they passed.
type Finding string

// The findings.
const (
	// NothingFound: the points passed, or say nothing in particular.
	NothingFound Finding = ""
	// Shifted: the sensor reads too much or too little by about the same everywhere.
	Shifted Finding = "shifted"
	// Solvent: it reads low where it is humid and right where it is dry. Vapours of ketones,
	// alcohols and aromatics do this to the polymer of such a sensor, mostly for good.
	Solvent Finding = "solvent"
)

// humidPct and dryPct are where a point counts as humid and as dry, in % RH: the salts usual for
// this are at 75 and 33 %.
const (
	humidPct = 60
	dryPct   = 45
)

// Find returns what points say about a sensor that may be off by allowedPct.
func Find(points []Point, allowedPct float64) Finding {
	var lowWhereHumid, rightWhereDry, wrongWhereDry, failed int
	same, sign := true, 0.0
	for _, p := range points {
		off := p.RawPct - p.ReferencePct
		wrong := math.Abs(off) > allowedPct
		switch {
		case p.ReferencePct >= humidPct && off < -allowedPct:
			lowWhereHumid++
		case p.ReferencePct <= dryPct && !wrong:
			rightWhereDry++
		case p.ReferencePct <= dryPct:
			wrongWhereDry++
		}
		if wrong {
			failed++
			same = same && (sign == 0 || sign*off > 0)
			sign = off
		}
	}
	switch {
	case lowWhereHumid > 0 && rightWhereDry > 0 && wrongWhereDry == 0:
		return Solvent
	case failed > 0 && failed == len(points) && same:
		return Shifted
	}
	return NothingFound
}

// The largest correction that is offered. A sensor that is off by more has a fault that a
// correction would only hide (an assumption; makers of such sensors replace them at less).
const (
	mostOffsetPct = 10
	leastGain     = 0.8
	mostGain      = 1.25
)

// Fit reports whether a correction may be offered: it moves no reading from 20 to 80 % RH by more
// than mostOffsetPct, and its gain is between 0.8 and 1.25.
func (c LinearCorrection) Fit() bool {
	moves := func(x float64) float64 { return math.Abs(c.OffsetPct + (c.Gain-1)*x) }
	return c.Gain >= leastGain && c.Gain <= mostGain && moves(20) <= mostOffsetPct && moves(80) <= mostOffsetPct
}
