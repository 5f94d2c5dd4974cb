package simulate

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// form is a way to write lines that no named shape reads: with the pattern that reads it.
type form struct {
	pattern string
	format  lineFormat
}

// forms are ways to write a number, its sign and what is said of it. They are made up.
var forms = map[string]form{
	"status-bits":   {"{bits:2|moving=0|over=3|minus=4} {weight} {unit}", statusBits},
	"thousands":     {"{sign}{weight,} {unit} {stable=S|moving=D}", withThousands},
	"exponent":      {"{sign}{weightE} {unit}", withExponent},
	"bracket-digit": {"{sign}{weight[]} {unit} {moving=?|stable=}", bracketDigit},
	"last-first":    {"={weight<}{sign} {unit}", lastFirst},
	"dots":          {"{pad=.}{sign}{weight} {unit}{moving=?|stable=}", padDots},
	"sign-words":    {"{stable=STILL|moving=RUN} {plus=plus|minus=minus} {weight} {unit}", signWords},
	"commas":        {"{net=N|gross=G},{sign}{weight},{stable=S|moving=D},{unit}", betweenCommas},
	"minus-longer":  {"{minus=-|}{weight} {unit} {moving=M|stable=}", minusLonger},
}

// orOver returns digits, or what stands in their place when the weight is over range.
func (n number) orOver(s shownWeight, digits string) string { return pick(s.over, "OL", digits) }

func statusBits(s shownWeight, n number) []byte {
	bits := 0x40
	for bit, set := range map[int]bool{0: s.moving, 3: s.over, 4: n.sign == "-"} {
		if set {
			bits |= 1 << bit
		}
	}
	digits := n.zeros(9)
	if s.over {
		digits = strings.Repeat("0", 9)
	}
	return fmt.Appendf(nil, "%02X %s %s", bits, digits, n.unit)
}

func withThousands(s shownWeight, n number) []byte {
	whole, fraction, _ := strings.Cut(n.digits, ".")
	for at := len(whole) - 3; at > 0; at -= 3 {
		whole = whole[:at] + "," + whole[at:]
	}
	if fraction != "" {
		whole += "." + fraction
	}
	return fmt.Appendf(nil, "%14s %s %s", strings.TrimPrefix(n.sign, "+")+n.orOver(s, whole), n.unit, pick(s.moving, "D", "S"))
}

func withExponent(s shownWeight, n number) []byte {
	value, _ := strconv.ParseFloat(n.digits, 64)
	return fmt.Appendf(nil, "%s%s %s", n.sign, n.orOver(s, fmt.Sprintf("%.7E", math.Abs(value))), n.unit)
}

func bracketDigit(s shownWeight, n number) []byte {
	last := len(n.digits) - 1
	return fmt.Appendf(nil, "%14s %s %s", strings.TrimPrefix(n.sign, "+")+n.orOver(s, n.digits[:last]+"["+n.digits[last:]+"]"), n.unit, pick(s.moving, "?", ""))
}

func lastFirst(s shownWeight, n number) []byte {
	b := []byte(n.zeros(9))
	for i, j := 0, len(b)-1; i < j; i, j = i+1, j-1 {
		b[i], b[j] = b[j], b[i]
	}
	return fmt.Appendf(nil, "=%s%s %s", n.orOver(s, string(b)), strings.TrimPrefix(n.sign, "+"), n.unit)
}

func padDots(s shownWeight, n number) []byte {
	text := strings.TrimPrefix(n.sign, "+") + n.orOver(s, n.digits)
	return fmt.Appendf(nil, "%s%s %s%s", strings.Repeat(".", max(0, 12-len(text))), text, n.unit, pick(s.moving, "?", ""))
}

func signWords(s shownWeight, n number) []byte {
	return fmt.Appendf(nil, "%s %s %s %s", pick(s.moving, "RUN", "STILL"), pick(n.sign == "-", "minus", "plus"), n.orOver(s, n.digits), n.unit)
}

func betweenCommas(s shownWeight, n number) []byte {
	return fmt.Appendf(nil, "%s,%s%s,%s,%s", pick(s.net, "N", "G"), strings.TrimPrefix(n.sign, "+"), n.orOver(s, n.digits), pick(s.moving, "D", "S"), n.unit)
}

func minusLonger(s shownWeight, n number) []byte {
	return fmt.Appendf(nil, "%s%s %s%s", strings.TrimPrefix(n.sign, "+"), n.orOver(s, n.zeros(9)), n.unit, pick(s.moving, " M", ""))
}
