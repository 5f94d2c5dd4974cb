package scale

import (
	"fmt"
	"strings"
)

// ErrCheck means that the checksum of the line is wrong: a byte was changed or is missing. It
// wraps ErrTorn.
var ErrCheck error = cause{"the checksum is wrong", ErrTorn}

type checkForm uint8

const (
	noCheck checkForm = iota
	checkXOR
	checkSum
	checkNegatedSum
)

var checkForms = map[string]checkForm{"xor": checkXOR, "sum": checkSum, "negated-sum": checkNegatedSum}

// Checksum describes the checksum at the end of a line. The zero value is none. It covers the
// characters of the line that stand before it.
type Checksum struct {
	form         checkForm
	oneByte      bool // written as one byte, otherwise as two hexadecimal digits
	afterETX     bool // it follows the ETX
	stx, etx     bool // the STX before the line is covered too; the ETX
	withoutFirst bool // the first character of the line is not covered
	withoutLast  bool // the character before the checksum is not covered, such as a star
}

// ParseChecksum returns the checksum of what follows "check=" in a pattern, such as xor,after-etx;
// see [ParseShape].
func ParseChecksum(text string) (Checksum, error) {
	name, rest, _ := strings.Cut(text, ",")
	c := Checksum{form: checkForms[name]}
	if c.form == noCheck {
		return c, fmt.Errorf("checksum %q: want xor, sum or negated-sum", name)
	}
	for rest != "" {
		name, rest, _ = strings.Cut(rest, ",")
		option := map[string]*bool{
			"byte": &c.oneByte, "after-etx": &c.afterETX, "stx": &c.stx, "etx": &c.etx,
			"without-first": &c.withoutFirst, "without-last": &c.withoutLast,
		}[name]
		if option == nil {
			return c, fmt.Errorf("checksum option %q: want byte, after-etx, stx, etx, without-first or without-last", name)
		}
		*option = true
	}
	if (c.oneByte || c.etx) && !c.afterETX {
		return c, fmt.Errorf("checksum option byte or etx: want after-etx beside it, since a byte of any value could end the line")
	}
	return c, nil
}

// tail is how many bytes follow the ETX.
func (c Checksum) tail() int {
	switch {
	case !c.afterETX:
		return 0
	case c.oneByte:
		return 1
	}
	return 2
}

// Strip returns the line without its checksum. A line whose checksum follows the ETX is given with
// the ETX and all that follows it. The error is ErrUnknown where there is none, and
// ErrCheck where it is wrong.
func (c Checksum) Strip(line []byte) ([]byte, error) {
	if c.form == noCheck {
		return line, nil
	}
	if !c.afterETX {
		line = trimSpaces(line)
	}
	at := len(line) - 2
	if c.oneByte {
		at = len(line) - 1
	}
	if at < 0 || c.afterETX && (at < 1 || line[at-1] != endOfText) {
		return nil, ErrUnknown
	}
	said, ok := line[len(line)-1], true
	if !c.oneByte {
		said, ok = fromHex(line[at], line[at+1])
	}
	body := line[:at]
	if c.afterETX {
		body = line[:at-1]
	}
	switch {
	case !ok:
		return nil, ErrUnknown
	case said != c.of(body):
		return nil, ErrCheck
	}
	return body, nil
}

// of returns the checksum of the characters of a line.
func (c Checksum) of(body []byte) byte {
	covered := body
	if c.withoutFirst && len(covered) > 0 {
		covered = covered[1:]
	}
	if c.withoutLast && len(covered) > 0 {
		covered = covered[:len(covered)-1]
	}
	var xor, sum byte
	if c.stx {
		xor, sum = startOfText, startOfText
	}
	if c.etx {
		xor, sum = xor^endOfText, sum+endOfText
	}
	for _, b := range covered {
		xor ^= b
		sum += b
	}
	switch c.form {
	case checkXOR:
		return xor
	case checkNegatedSum:
		return -sum
	}
	return sum
}

func trimSpaces(line []byte) []byte {
	for len(line) > 0 && line[len(line)-1] == ' ' {
		line = line[:len(line)-1]
	}
	return line
}

func fromHex(high, low byte) (value byte, ok bool) {
	for _, c := range [2]byte{high, low} {
		value <<= 4
		switch {
		case c >= '0' && c <= '9':
			value |= c - '0'
		case c >= 'A' && c <= 'F':
			value |= c - 'A' + 10
		case c >= 'a' && c <= 'f':
			value |= c - 'a' + 10
		default:
			return 0, false
		}
	}
	return value, true
}
