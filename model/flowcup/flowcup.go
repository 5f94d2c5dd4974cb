// Package flowcup converts the flow time of an ink from a Ford cup into its kinematic viscosity.
// At the press, the flow time shows whether the ink has lost thinner.
package flowcup

import "fmt"

// cup is one size of cup: viscosity = factor · (time - offset), in mm²/s and seconds.
type cup struct{ factor, offsetS float64 }

// ford holds the cups of ASTM D1200; Nos. 3 and 4 from memory.
var ford = map[int]cup{
	1: {0.49, 35.0},
	2: {1.44, 18.0},
	3: {2.31, 6.58},
	4: {3.85, 4.49},
}

// The shortest and the longest flow time that a cup is made for (ASTM D1200, from memory). A
// faster flow is not laminar; a slower one means that the liquid is too thick for the cup.
const (
	shortestS = 20
	longestS  = 100
)

// ViscosityMM2PerS returns the kinematic viscosity in mm²/s (cSt) of a liquid that flows out of
// Ford cup No. 1 to 4 in the given time. It returns an error for another cup and for a time that
// the cup is not made for.
func ViscosityMM2PerS(number int, seconds float64) (float64, error) {
	c, ok := ford[number]
	if !ok {
		return 0, fmt.Errorf("ford cup: No. %d: want 1 to 4", number)
	}
	least := max(shortestS, c.offsetS)
	if !(seconds >= least && seconds <= longestS) {
		return 0, fmt.Errorf("ford cup No. %d: %v s: want %v to %v; take another cup", number, seconds, least, longestS)
	}
	return c.factor * (seconds - c.offsetS), nil
}
