// Package mix is the arithmetic of a two-component ink: what a recipe asks for,
// what puts a wrong pour right, and what the scale's division does to it all.
//
// Hardener goes by the ink's own ratio to the ink really in the cup, thinner as
// a share of ink and hardener together: common practice of the trade. Masses
// are in grams.
package mix

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Ratio is ink to hardener by weight: 4 for "4:1". Valid between 0.01 and 100.
type Ratio float64

// The widest ratios that make sense; beyond them one part is a trace.
const (
	smallestRatio = 0.01
	largestRatio  = 100
)

// ParseRatio reads "4:1", "3.5:1" or "100:30"; spaces around the numbers are
// allowed. The error says what is wrong and shows what was read.
func ParseRatio(text string) (Ratio, error) {
	ink, hardener, found := strings.Cut(text, ":")
	if !found {
		return 0, fmt.Errorf("ratio %q: write ink to hardener by weight, as in 5:1", text)
	}
	a, err := ratioPart(ink)
	if err != nil {
		return 0, fmt.Errorf("ratio %q: ink: %w", text, err)
	}
	b, err := ratioPart(hardener)
	if err != nil {
		return 0, fmt.Errorf("ratio %q: hardener: %w", text, err)
	}
	r := Ratio(a / b)
	if !r.Valid() {
		return 0, fmt.Errorf("ratio %q: must lie between 1:%d and %d:1", text, largestRatio, largestRatio)
	}
	return r, nil
}

func ratioPart(text string) (float64, error) {
	text = strings.TrimSpace(text)
	for _, c := range text {
		if (c < '0' || c > '9') && c != '.' {
			return 0, fmt.Errorf("%q is not a plain number above zero", text)
		}
	}
	x, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsInf(x, 0) {
		return 0, fmt.Errorf("%q is not a number", text)
	}
	if x <= 0 {
		return 0, fmt.Errorf("%q must be above zero", text)
	}
	return x, nil
}

// Valid reports whether the ratio is one that [ParseRatio] could return.
func (r Ratio) Valid() bool { return r >= smallestRatio && r <= largestRatio }

// String writes the ratio to one part of hardener, exactly.
func (r Ratio) String() string { return strconv.FormatFloat(float64(r), 'f', -1, 64) + ":1" }

// MarshalText writes the ratio as in [Ratio.String].
func (r Ratio) MarshalText() ([]byte, error) {
	if !r.Valid() {
		return nil, fmt.Errorf("ratio %v is out of range", float64(r))
	}
	return []byte(r.String()), nil
}

// UnmarshalText reads what [ParseRatio] reads.
func (r *Ratio) UnmarshalText(text []byte) error {
	x, err := ParseRatio(string(text))
	if err != nil {
		return err
	}
	*r = x
	return nil
}
