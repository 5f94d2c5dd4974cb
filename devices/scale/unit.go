package scale

// unit is the unit of mass of a line.
type unit uint8

const (
	noUnit unit = iota
	grams
	kilograms
	ounces
	pounds
	milligrams // in {unit=mg} only
	carats     // in {unit=ct} only
)

// gramsIn is how many g each unit has. The pound is 0.453 592 37 kg exactly and the ounce a
// sixteenth of it: NIST Handbook 44, Appendix C, "General Tables of Units of Measurement"
// (avoirdupois), after the agreement of 1959. The metric carat is 200 mg exactly: 4th CGPM, 1907. Troy
// ounces are not among the units.
var gramsIn = [...]float64{grams: 1, kilograms: 1000, ounces: 28.349523125, pounds: 453.59237, milligrams: 0.001, carats: 0.2}

// unitNames are the units as they are written in a pattern, such as {unit=oz}.
var unitNames = map[string]unit{"g": grams, "kg": kilograms, "mg": milligrams, "oz": ounces, "lb": pounds, "ct": carats}

// readUnit returns the unit that text begins with and how many bytes it has; noUnit for none. A
// capital G alone is not g, since it is the usual mark of a gross weight.
func readUnit(text []byte) (unit, int) {
	if len(text) == 0 {
		return noUnit, 0
	}
	if text[0] == 'g' {
		return grams, 1
	}
	if len(text) < 2 {
		return noUnit, 0
	}
	// ASCII letters differ from their capitals in bit 5 alone.
	switch [2]byte{text[0] | 0x20, text[1] | 0x20} {
	case [2]byte{'k', 'g'}:
		return kilograms, 2
	case [2]byte{'o', 'z'}:
		return ounces, 2
	case [2]byte{'l', 'b'}:
		return pounds, 2
	}
	return noUnit, 0
}

// powers are exact in a float64, as is a mantissa, so that one division or multiplication rounds
// correctly.
var powers = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15}

// scaled returns mantissa / 10^decimals of the unit in g. It is the nearest float64 for mg, g
// and kg, and at most two roundings from it for oz and lb.
func scaled(mantissa uint64, decimals int, in unit) float64 {
	switch in {
	case kilograms:
		decimals -= 3
	case milligrams:
		decimals += 3
	}
	g := float64(mantissa)
	switch in {
	case ounces, pounds:
		g *= gramsIn[in]
	case carats:
		g /= 5
	}
	if decimals < 0 {
		return g * powers[-decimals]
	}
	return g / powers[decimals]
}

// hidden follows the numbers of a scale whose lines leave the unit out while the weight moves.
// Such a number is taken in the unit of the line before. When a person presses the unit key in
// such a moment, the number is in another unit and nothing in the line says so. What can be seen
// is that the number of decimals changes, or that the number changes by the factor between two
// units. Either puts the unit in doubt: there is no weight until a line states its unit.
//
// A change of unit is not seen if fewer than doubtFrom counts are on the pan in that moment, and
// the decimals stay the same. The next settled line states the unit, so no settled weight is
// wrong in any case.
type hidden struct {
	mantissa uint64 // of the line before
	decimals int
	in       unit // its unit; noUnit before the first line, and while the unit is in doubt
}

// doubtFrom is the smallest number, in counts of its last digit, at which a change by the factor
// between two units can be told from a pour.
const doubtFrom = 10

// states takes a number with its unit.
func (h *hidden) states(m *match) { *h = hidden{m.mantissa, m.decimals, m.unit} }

// assumed returns the unit of a number that states none; noUnit when it is not known.
func (h *hidden) assumed(m *match) unit {
	if h.in == noUnit {
		return noUnit
	}
	if m.decimals != h.decimals || h.converted(m.mantissa) {
		h.in = noUnit
		return noUnit
	}
	h.mantissa = m.mantissa
	return h.in
}

// converted reports whether the number is, but for rounding and what was poured meanwhile, the
// one before it in another unit.
func (h *hidden) converted(now uint64) bool {
	if h.mantissa < doubtFrom {
		return false
	}
	for other := grams; other <= pounds; other++ {
		if other == h.in {
			continue
		}
		want := float64(h.mantissa) * gramsIn[h.in] / gramsIn[other]
		if off := float64(now) - want; off < 2+want/20 && off > -2-want/20 {
			return true
		}
	}
	return false
}
