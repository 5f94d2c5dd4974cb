package learn

import (
	"math/bits"
	"strings"

	"potlifed/devices/scale"
)

// text is one line.
type text struct {
	body   string // what is still to be explained
	status int    // where the digits of a status begin, from 1 on; 0 where there is none
	width  int    // how many digits it has
	flags  bool   // each of them is a mark of its own
	line   []byte // what stands before the ETX
	whole  []byte // with the ETX and what follows it
}

// framed returns the line as a framer gives it for a pattern.
func (l text) framed(afterETX bool) []byte {
	if afterETX {
		return l.whole
	}
	return l.line
}

// printable returns the lines of text among those received.
//
// A byte that is not ASCII is text too where it comes in many lines, as a letter with an accent or a mark
// between fields does; noise is of all kinds.
func printable(lines [][]byte) []text {
	var kept []text
	often := oftenBytes(lines)
	for _, l := range lines {
		body := l
		if i := strings.IndexByte(string(l), etx); i >= 0 {
			body = l[:i]
		}
		ok := len(body) > 0 && len(body) <= scale.MaxLineBytes
		for _, c := range body {
			ok = ok && (c >= ' ' && c <= '~' || c == '\t' || often[c])
		}
		if ok && strings.Trim(string(body), " \t") != "" {
			kept = append(kept, text{body: string(body), line: body, whole: l})
		}
	}
	return kept
}

// overlong returns how many lines have more characters than a line may have, without what follows the ETX.
func overlong(lines [][]byte) (n int) {
	for _, l := range lines {
		body, _, _ := strings.Cut(string(l), string(rune(etx)))
		if len(body) > scale.MaxLineBytes-4 && len(l) > scale.MaxLineBytes || len(body) > scale.MaxLineBytes {
			n++
		}
	}
	return n
}

// oftenBytes returns which bytes come in at least a quarter of the lines.
func oftenBytes(lines [][]byte) (often [256]bool) {
	var in [256]int
	for _, l := range lines {
		var has [256]bool
		for _, c := range l {
			has[c] = true
		}
		for c, is := range has {
			if is {
				in[c]++
			}
		}
	}
	for c, n := range in {
		often[c] = n >= fewestLines && 4*n >= len(lines)
	}
	return often
}

const (
	stx = 0x02
	etx = 0x03
)

// Split cuts received bytes into lines, without their ends. A line keeps its ETX and what
// follows it, where a checksum may be. The first line may have begun before and is left out
// unless an STX begins it; so is a last one that has not ended.
func Split(received []byte) [][]byte {
	var lines [][]byte
	begun, from := false, 0
	cut := func(to int) {
		if begun && to > from {
			lines = append(lines, received[from:to])
		}
		begun = true
	}
	for i, c := range received {
		if c == '\r' || c == '\n' || c == stx {
			cut(i)
			from = i + 1
		}
	}
	// Lines that end with ETX alone have no other end.
	if begun && from < len(received) && strings.IndexByte(string(received[from:]), etx) >= 0 {
		cut(len(received))
	}
	return lines
}

// FrameOf judges by its bytes whether a line was received in the right frame, with eight data
// bits and no parity. It returns 8N1 for plain text, in which a few bytes that are not ASCII may come again
// and again; 7E1 or 7O1 where bit 7 of the bytes is a parity bit; and empty where the bytes are no text, as at a
// wrong speed.
func FrameOf(received []byte) string {
	plain, even, odd, high, ends := 0, 0, 0, 0, 0
	var others [256]int
	for _, c := range received {
		low := c & 0x7f
		text := low >= ' ' && low <= '~' || low == '\r' || low == '\n' || low == '\t' || low == stx || low == etx
		if text && bits.OnesCount8(c)%2 == 0 {
			even++
		} else if text {
			odd++
		}
		if text && c == low {
			plain++
		} else {
			others[c]++
		}
		if c != low {
			high++
		}
		if low == '\r' || low == '\n' || low == etx {
			ends++
		}
	}
	enough := len(received) * 19 / 20
	switch {
	case len(received) < 4 || ends == 0:
		return ""
	case plain >= enough && high <= len(received)/20:
		return "8N1"
	case even >= enough:
		return "7E1"
	case odd >= enough:
		return "7O1"
	case plain+recurring(others[:], ends) >= enough:
		return "8N1"
	}
	return ""
}

// mostRecurring is how many bytes that are not ASCII a scale may send in its lines: letters with an accent, marks
// between fields.
const mostRecurring = 4

// recurring returns how many of the bytes that are no text come again in line after line, each about as often as a line ends.
func recurring(counts []int, ends int) int {
	n, kinds := 0, 0
	for _, count := range counts {
		if count >= fewestLines && 4*count >= ends && count <= 4*ends {
			n += count
			kinds++
		}
	}
	if kinds > mostRecurring {
		return 0
	}
	return n
}
