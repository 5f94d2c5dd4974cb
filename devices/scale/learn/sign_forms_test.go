package learn

import (
	"fmt"
	"math"
	"slices"
)

// signForms are forms that tell the sign, the movement or the place of the decimal mark in ways of their own.
var signForms = []form{
	{"bits in two digits without a letter", func(s onDisplay) string {
		return fmt.Sprintf("%02X %s", s.flag(s.moving, 1)|s.flag(s.g < 0, 2)|s.flag(s.over, 4), s.orOver(fmt.Sprintf("%07.2f", math.Abs(s.g)), "0000.00"))
	}, "g, not sent", 2, "right"},
	{"bits in one digit", func(s onDisplay) string {
		return fmt.Sprintf("%d,%s,g", s.flag(s.moving, 1)|s.flag(s.g < 0, 2)|s.flag(s.over, 4), s.orOver(fmt.Sprintf("%07.2f", math.Abs(s.g)), "0000.00"))
	}, "g", 2, "right"},
	{"bits in four digits", func(s onDisplay) string {
		return fmt.Sprintf("%04X %s g", 0x8000|s.flag(s.moving, 1)|s.flag(s.over, 16)|s.flag(s.g < 0, 8), s.orOver(fmt.Sprintf("%8.2f", math.Abs(s.g)), "  0000.00"))
	}, "g", 2, "right"},
	{"flags of noughts and ones", func(s onDisplay) string {
		return fmt.Sprintf("%d%d%d %s g", s.flag(!s.moving, 1), s.flag(s.g < 0, 1), s.flag(s.over, 1), s.orOver(fmt.Sprintf("%8.2f", math.Abs(s.g)), "  ----.--"))
	}, "g", 2, "right"},
	{"a letter for minus and one for plus", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("%s,%s,%08.2f,g", either(s.moving, "M", "S"), s.minus("N", "P"), math.Abs(s.g)), "M,P,--------,g")
	}, "g", 2, "right"},
	{"round brackets, small weights below zero only", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("%11s g %s", s.minus("(", "")+fmt.Sprintf("%.2f", math.Abs(s.g))+s.minus(")", ""), either(s.moving, "unst", "stbl")), "HHHHHH g unst")
	}, "g", 2, "right"},
	{"decimals told by a digit in front", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("D2%s%07.0fg%d/%03d", s.minus("-", "+"), math.Abs(s.g)*100, s.flag(s.moving, 8), int(math.Abs(s.g)*100)*7%256), "")
	}, "g", 2, "right"},
	{"thousandths of a kilogram, as a quotient", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("W=%s%06.0f/1000kg %s", s.minus("-", " "), math.Abs(s.g), either(s.moving, "US", "ST")), "")
	}, "g", 0, "right"},
	{"a power of ten behind digits without a mark", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("%s%07.0fE-2 g%s", s.minus("-", "+"), math.Abs(s.g)*100, either(s.moving, "*", " ")), "")
	}, "g", 2, "right"},
	{"last digit first, the sign in place of the last", func(s onDisplay) string {
		b := fmt.Appendf(nil, "%07.2f", math.Abs(s.g))
		slices.Reverse(b)
		return s.orOver("="+string(b)+s.minus("-", "0"), "")
	}, "g, not sent", 2, ""},
	{"a letter and a nought take turns before a checksum", func(s onDisplay) string {
		body := fmt.Sprintf("05:%s%08.2f:%s", s.minus("-", "+"), math.Abs(s.g), either(s.moving, "M", "0"))
		return s.orOver(fmt.Sprintf("%s%02X", body, xor(body)), "")
	}, "g, not sent", 2, "right"},
	{"a dash while moving", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("#%05d %s %9.2f g", s.n+33, either(s.moving, "-", "="), s.g), "")
	}, "g", 2, "right"},
	{"words for limits that were set", func(s onDisplay) string {
		grade := "LO"
		if s.g > 300 {
			grade = either(s.g > 900, "HI", "OK")
		}
		return s.orOver(fmt.Sprintf("%s %9.2f g %s", either(s.moving, "US", "ST"), s.g, grade), "")
	}, "g", 2, "right"},
	{"what is left to pour, with the unit behind it", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("SET 150.00 ACT %8.2f DIF %8.2f g %s", s.g, 150-s.g, either(s.moving, "M", "S")), "")
	}, "g", 2, "right"},
	{"all eights when it is out of range", func(s onDisplay) string {
		return fmt.Sprintf("%s%s g", either(s.moving, "*", " "), s.orOver(fmt.Sprintf("%9.2f", s.g), "  8888.88"))
	}, "g", 2, "right"},
	{"the code of a fault in place of the weight", func(s onDisplay) string {
		return fmt.Sprintf("%s g%s", s.orOver(fmt.Sprintf("%9.2f", s.g), "    -E12-"), either(s.moving, " ?", "  "))
	}, "g", 2, "right"},
	{"a check digit behind the mark", func(s onDisplay) string {
		body := fmt.Sprintf("%s%08.2f", s.minus("-", "+"), math.Abs(s.g))
		return s.orOver(fmt.Sprintf("%s g %s %d", body, either(s.moving, "M", "S"), xor(body)%10), "")
	}, "g", 2, "right"},
	{"dots that run while moving", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("%9.2f g %s", s.g, either(s.moving, "..."[:1+s.n%3], "done")), "")
	}, "g", 2, ""},
	{"a status behind a comma", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("%+08.0f,%02d", s.g*100, 40+s.flag(s.moving, 1)+s.flag(s.tareG > 0, 2)), "")
	}, "g, not sent", 2, "right"},
	{"weights below zero as what is missing to the next power of ten", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("%09.2f g", math.Mod(s.g+1e6, 1e6)), "")
	}, "g", 2, "unsure"},
	{"a movement flag right before the sign", func(s onDisplay) string {
		return s.orOver(fmt.Sprintf("$%d%s%07.0f", s.flag(s.moving, 1), s.minus("-", "+"), math.Abs(s.g)*100), "")
	}, "g, not sent", 2, "right"},
}

// flag returns a bit where something is so, else 0.
func (s onDisplay) flag(is bool, bit int) int { return map[bool]int{true: bit}[is] }

func xor(body string) (x byte) {
	for i := range len(body) {
		x ^= body[i]
	}
	return x
}
