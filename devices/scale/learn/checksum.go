package learn

import (
	"fmt"
	"strings"

	"potlifed/devices/scale"
)

// check is a checksum at the end of the lines.
type check struct {
	pattern string // to append to the pattern, empty for none
	says    string
}

// stripChecksum looks for a checksum that fits the lines, and returns it with the lines
// without it. A form that fits by chance is as good as impossible: several different lines would
// have to agree in eight bits each.
func stripChecksum(lines []text) (check, []text) {
	for _, place := range []string{"", ",after-etx", ",after-etx,byte"} {
		for _, form := range []string{"xor", "sum", "negated-sum"} {
			for _, covers := range []string{"", ",etx", ",stx", ",stx,etx", ",without-last", ",without-first", ",without-first,without-last"} {
				name := form + place + covers
				c, err := scale.ParseChecksum(name)
				if err != nil {
					continue
				}
				if stripped, ok := strips(c, lines, place != ""); ok {
					return check{"{check=" + name + "}", "Each line ends with a checksum (" + name + "), which is verified."}, stripped
				}
			}
		}
	}
	return skippedTail(lines)
}

// leastDifferent is how many different lines show a checksum: three agree by chance once in sixteen
// million times.
const leastDifferent = 3

// strips returns the lines that have this checksum, without it. ok is false unless most
// have it, among them several different ones.
func strips(c scale.Checksum, lines []text, afterETX bool) (stripped []text, ok bool) {
	different := map[string]bool{}
	for i, l := range lines {
		body, err := c.Strip(l.framed(afterETX))
		if err == nil {
			different[string(body)] = true
			stripped = append(stripped, text{body: string(body), line: l.line, whole: l.whole})
		}
		if i == 19 && len(stripped) < 5 {
			return nil, false
		}
	}
	return stripped, len(different) >= leastDifferent && 4*len(stripped) >= 3*len(lines)
}

// skippedTail finds a checksum of a kind that is not known: hexadecimal digits at the end that
// are the same for the same line, and others for another.
func skippedTail(lines []text) (check, []text) {
	for _, n := range []int{4, 2} {
		tails, distinct, letters := map[string]string{}, map[string]bool{}, false
		fits, conflicts := 0, 0
		for _, l := range lines {
			trimmed := strings.TrimRight(l.body, " \t")
			at := len(trimmed) - n
			if at < 1 || !isHex(trimmed[at:]) || isHex(trimmed[at-1:at]) || trimmed[at-1] == '.' || trimmed[at-1] == ',' {
				continue
			}
			body, tail := trimmed[:at], trimmed[at:]
			if known, seen := tails[body]; seen && known != tail {
				conflicts++ // it says something of its own, or the line is damaged
			}
			tails[body], distinct[tail] = tail, true
			letters = letters || strings.ContainsAny(tail, "ABCDEFabcdef")
			fits++
		}
		if letters && 20*conflicts <= fits && 4*fits >= 3*len(lines) && len(tails) >= 5 && len(distinct)*2 > len(tails) {
			var kept []text
			for _, l := range lines {
				if trimmed := strings.TrimRight(l.body, " \t"); len(trimmed) > n {
					kept = append(kept, text{body: trimmed[:len(trimmed)-n], line: l.line, whole: l.whole})
				}
			}
			return check{fmt.Sprintf("{skip:%d}", n), "The lines seem to end with a checksum of an unknown kind, which is not verified."}, kept
		}
	}
	return check{}, lines
}

func isHex(s string) bool {
	for _, c := range s {
		if !(c >= '0' && c <= '9' || c >= 'A' && c <= 'F' || c >= 'a' && c <= 'f') {
			return false
		}
	}
	return s != ""
}
