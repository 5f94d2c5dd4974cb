package simulate

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// shownWeight is what a scale says in one line.
type shownWeight struct {
	grams                    float64
	moving, net, over, under bool
}

// number is a weight as text: its sign, and its digits with the name of the unit.
type number struct {
	sign     string
	digits   string
	unit     string
	value    float64 // in the unit
	decimals int
}

// units are the units that a scale may send, with how many g each has (NIST Handbook 44, Appendix C)
// and how many more decimals it shows than in g.
var units = map[string]struct {
	grams    float64
	decimals int
}{"g": {1, 0}, "kg": {1000, 3}, "oz": {28.349523125, 2}, "lb": {453.59237, 3}}

// number returns a mass in g with as many decimals as the division has.
func (o ScaleOptions) number(grams float64) number {
	name := o.Unit
	if o.Kilograms {
		name = "kg"
	}
	unit := units[name]
	decimals := max(0, int(math.Ceil(-math.Log10(o.DivisionG)-1e-9))) + unit.decimals
	value := grams / unit.grams
	n := number{sign: "+", digits: strconv.FormatFloat(math.Abs(value), 'f', decimals, 64), unit: name, value: value, decimals: decimals}
	if grams < 0 && strings.Trim(n.digits, "0.") != "" {
		n.sign = "-"
	}
	if o.DecimalComma {
		n.digits = strings.Replace(n.digits, ".", ",", 1)
	}
	return n
}

// zeros returns the digits, padded with zeros to a width.
func (n number) zeros(width int) string {
	return strings.Repeat("0", max(0, width-len(n.digits))) + n.digits
}

// signed returns the digits with a minus sign where there is one, padded with spaces.
func (n number) signed(width int) string {
	return fmt.Sprintf("%*s", width, strings.TrimPrefix(n.sign, "+")+n.digits)
}

// lineFormat returns a line without its end.
type lineFormat func(shownWeight, number) []byte

var lineFormats = map[string]lineFormat{
	"status-first":   statusFirst,
	"letters-first":  lettersFirst,
	"tare-first":     tareFirst,
	"stability-last": stabilityLast,
	"tare-last":      tareLast,
	"weight-unit":    weightUnit,
	"sign-digits":    signDigits,
	"digits":         bareDigits,
	"checksum":       withChecksum,
	"hid":            hidReport,
}

func pick(condition bool, yes, no string) string {
	if condition {
		return yes
	}
	return no
}

func statusFirst(w shownWeight, n number) []byte {
	status := pick(w.over, "OL", pick(w.under, "UL", pick(w.moving, "US", "ST")))
	return fmt.Appendf(nil, "%s,%s,%s%s %2s", status, pick(w.net, "NT", "GS"), n.sign, n.zeros(7), n.unit)
}

func lettersFirst(w shownWeight, n number) []byte {
	if w.over || w.under {
		return []byte(pick(w.over, "S +", "S -"))
	}
	return fmt.Appendf(nil, "S %s %s %s", pick(w.moving, "D", "S"), n.signed(10), n.unit)
}

// outOfRange replaces the digits by what a display shows out of range.
func outOfRange(w shownWeight, digits string) string {
	if w.over || w.under {
		return fmt.Sprintf("%*s", len(digits), pick(w.over, "OL", "UL"))
	}
	return digits
}

func tareFirst(w shownWeight, n number) []byte {
	unit := pick(w.moving, "", n.unit)
	return fmt.Appendf(nil, "%-6s%s %s %-3s", pick(w.net, "N", "G"), n.sign, outOfRange(w, fmt.Sprintf("%8s", n.digits)), unit)
}

func stabilityLast(w shownWeight, n number) []byte {
	return fmt.Appendf(nil, "%s %s %s %s", outOfRange(w, n.signed(10)), n.unit, pick(w.moving, "D", "S"), pick(w.net, "N", "G"))
}

func tareLast(w shownWeight, n number) []byte {
	return fmt.Appendf(nil, "%s %s %s", outOfRange(w, n.signed(10)), n.unit, pick(w.net, "N", "G"))
}

func weightUnit(w shownWeight, n number) []byte {
	return fmt.Appendf(nil, "%s %-2s", outOfRange(w, n.signed(10)), pick(w.moving, "", n.unit))
}

func signDigits(w shownWeight, n number) []byte {
	return fmt.Appendf(nil, "%s%s", n.sign, outOfRange(w, n.zeros(7)))
}

// bareDigits is a number and nothing else.
func bareDigits(w shownWeight, n number) []byte {
	return []byte(outOfRange(w, n.signed(8)))
}

// withChecksum is a line between STX and ETX, and behind the ETX the exclusive or of its characters
// and the ETX, as one byte.
func withChecksum(w shownWeight, n number) []byte {
	line := fmt.Appendf(nil, "%s%s%s %-2s%s", pick(w.net, "N", "G"), n.sign, outOfRange(w, n.zeros(8)), n.unit, pick(w.moving, "?", " "))
	check := byte(0x03)
	for _, c := range line {
		check ^= c
	}
	return append(append([]byte{0x02}, line...), 0x03, check)
}
