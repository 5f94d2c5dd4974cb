package simulate

import "math"

// hidReport is the data report of a weight. The unit is g or oz, with the decimals of the division.
func hidReport(w shownWeight, n number) []byte {
	const zero, moving, stable, under, over = 2, 3, 4, 5, 6
	unit := map[string]byte{"g": 2, "kg": 3, "oz": 11, "lb": 12}[n.unit]
	count := math.Round(math.Abs(n.value) * math.Pow10(n.decimals))
	status := byte(stable)
	switch {
	case w.over:
		status = over
	case w.moving:
		status = moving
	case count == 0:
		status = zero
	}
	if w.under || n.sign == "-" {
		status = under
	}
	c := uint16(min(count, 65535))
	return []byte{3, status, unit, byte(int8(-n.decimals)), byte(c), byte(c >> 8)}
}
