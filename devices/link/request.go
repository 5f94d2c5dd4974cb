package link

import (
	"fmt"
	"strconv"
	"strings"
)

// ParseRequest returns the bytes of a request as a person writes it: text in which \r, \n, \t, \\ and \x
// with two hexadecimal digits stand for the bytes that cannot be typed. The error wraps ErrSettings.
func ParseRequest(text string) (string, error) {
	var b strings.Builder
	for i := 0; i < len(text); i++ {
		if text[i] != '\\' {
			b.WriteByte(text[i])
			continue
		}
		i++
		if i == len(text) {
			return "", fmt.Errorf("%w: request %q ends with a backslash; want \\\\ for one", ErrSettings, text)
		}
		switch text[i] {
		case 'r':
			b.WriteByte('\r')
		case 'n':
			b.WriteByte('\n')
		case 't':
			b.WriteByte('\t')
		case '\\':
			b.WriteByte('\\')
		case 'x':
			digits := text[i+1 : min(i+3, len(text))]
			v, err := strconv.ParseUint(digits, 16, 8)
			if err != nil || len(digits) != 2 {
				return "", fmt.Errorf("%w: request %q: want two hexadecimal digits after \\x", ErrSettings, text)
			}
			b.WriteByte(byte(v))
			i += 2
		default:
			return "", fmt.Errorf("%w: request %q: \\%c is not known; want \\r, \\n, \\t, \\\\ or \\x05", ErrSettings, text, text[i])
		}
	}
	if b.Len() > maxRequest {
		return "", fmt.Errorf("%w: request of %d bytes, want %d at most", ErrSettings, b.Len(), maxRequest)
	}
	return b.String(), nil
}

// FormatRequest returns a request as a person writes it: the inverse of [ParseRequest].
func FormatRequest(request string) string {
	var b strings.Builder
	for i := range len(request) {
		switch c := request[i]; {
		case c == '\r':
			b.WriteString("\\r")
		case c == '\n':
			b.WriteString("\\n")
		case c == '\t':
			b.WriteString("\\t")
		case c == '\\':
			b.WriteString("\\\\")
		case c < ' ' || c > '~':
			fmt.Fprintf(&b, "\\x%02x", c)
		default:
			b.WriteByte(c)
		}
	}
	return b.String()
}
