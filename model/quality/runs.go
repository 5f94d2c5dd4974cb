package quality

import "math"

// Rule is a runs rule of a control chart. The rules are Nelson's tests, J. Quality Technology 16
// (1984) 237; the first four of them are close to the zone rules of the Western Electric handbook
// of 1956. The test for one point beyond a limit is [ChartPoint.Out].
type Rule string

// The runs rules.
const (
	NineOnOneSide     Rule = "nine-on-one-side"     // test 2
	SixInOneDirection Rule = "six-in-one-direction" // test 3
	FourteenInTurn    Rule = "fourteen-in-turn"     // test 4: up and down in turn
	TwoOfThreeFar     Rule = "two-of-three-far"     // test 5: beyond 2 deviations on one side
	FourOfFiveOff     Rule = "four-of-five-off"     // test 6: beyond 1 deviation on one side
	FifteenNear       Rule = "fifteen-near"         // test 7: all within 1 deviation
	EightAway         Rule = "eight-away"           // test 8: none within 1 deviation
)

// judgeRuns adds to each point the rules whose run ends there.
func (c *Chart) judgeRuns() {
	for end := range c.Points {
		p := &c.Points[end]
		z := func(back int) float64 { return c.Points[end-back].Z }
		// every reports whether a condition holds for each of the last n points.
		every := func(n int, holds func(back int) bool) bool {
			for back := range n {
				if end-back < 0 || !holds(back) {
					return false
				}
			}
			return true
		}
		// enough reports whether of the last n points, this one included, at least k are beyond a
		// limit on one side.
		enough := func(k, n int, limit float64) bool {
			if end+1 < n {
				return false
			}
			for _, side := range []float64{1, -1} {
				beyond := 0
				for back := range n {
					if side*z(back) > limit {
						beyond++
					}
				}
				if beyond >= k && side*z(0) > limit {
					return true
				}
			}
			return false
		}
		rises := func(back int, up bool) bool {
			if end-back-1 < 0 {
				return false
			}
			if up {
				return z(back) > z(back+1)
			}
			return z(back) < z(back+1)
		}
		for _, rule := range []struct {
			name  Rule
			holds bool
		}{
			{NineOnOneSide, every(9, func(b int) bool { return z(b) > 0 }) || every(9, func(b int) bool { return z(b) < 0 })},
			{SixInOneDirection, every(5, func(b int) bool { return rises(b, true) }) || every(5, func(b int) bool { return rises(b, false) })},
			{FourteenInTurn, every(13, func(b int) bool { return rises(b, b%2 == 0) }) || every(13, func(b int) bool { return rises(b, b%2 == 1) })},
			{TwoOfThreeFar, enough(2, 3, 2)},
			{FourOfFiveOff, enough(4, 5, 1)},
			{FifteenNear, every(15, func(b int) bool { return math.Abs(z(b)) < 1 })},
			{EightAway, every(8, func(b int) bool { return math.Abs(z(b)) > 1 })},
		} {
			if rule.holds {
				p.Rules = append(p.Rules, rule.name)
			}
		}
	}
}
