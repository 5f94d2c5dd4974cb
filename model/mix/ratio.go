// Package mix does the arithmetic of a two-component ink: the targets of a recipe, the
// corrections of a wrong pour, and the effect of the scale's division on both.
//
// The hardener is weighed by the ink's ratio to the ink that is really in the cup, the thinner
// as a share of ink and hardener together (common practice, no source). Masses are in g.
package mix

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Ratio is the mass of ink per mass of hardener: 4 for "4:1". Valid ratios are 0.01 to 100.
type Ratio float64

// The limits of a ratio. Beyond them one of the parts is only a trace.
const (
	smallestRatio = 0.01
	largestRatio  = 100
)

// ParseRatio returns the ratio of a text such as "4:1", "3.5:1" or "100:30". Spaces around the
// numbers are allowed. The error shows what was read and says what is wrong with it.
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

// Valid reports whether the ratio is one that [ParseRatio] could return: 0.01 to 100.
func (r Ratio) Valid() bool { return r >= smallestRatio && r <= largestRatio }

// String returns the ratio to one part of hardener with all its digits, such as "3.5:1".
func (r Ratio) String() string { return strconv.FormatFloat(float64(r), 'f', -1, 64) + ":1" }

// MarshalText returns the text of [Ratio.String]. It returns an error for a ratio that is not
// valid.
func (r Ratio) MarshalText() ([]byte, error) {
	if !r.Valid() {
		return nil, fmt.Errorf("ratio %v is out of range", float64(r))
	}
	return []byte(r.String()), nil
}

// UnmarshalText reads a text as [ParseRatio] does, with the same errors.
func (r *Ratio) UnmarshalText(text []byte) error {
	x, err := ParseRatio(string(text))
	if err != nil {
		return err
	}
	*r = x
	return nil
}
