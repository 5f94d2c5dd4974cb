// Package flowcup turns the time that an ink takes to run out of a Ford cup into its kinematic viscosity. Timing a cup is the way to see
// at the press whether thinner was lost.
package flowcup

import "fmt"

// cup is one size: viscosity = factor · (time - offset), in mm²/s and seconds.
type cup struct{ factor, offsetS float64 }

// ford are the cups of ASTM D1200; Nos. 3 and 4 from memory.
var ford = map[int]cup{
	1: {0.49, 35.0},
	2: {1.44, 18.0},
	3: {2.31, 6.58},
	4: {3.85, 4.49},
}

// The shortest and the longest time that a cup is good for (ASTM D1200, from memory): a quicker flow is not laminar, a slower one is
// too thick for the cup.
const (
	shortestS = 20
	longestS  = 100
)

// ViscosityMM2PerS is the kinematic viscosity in mm²/s (cSt) of a liquid that runs out of Ford cup No. 1 to 4 in so many seconds. An
// error for another cup, and for a time for which this cup is not made.
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
