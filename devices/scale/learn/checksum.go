package learn

import (
	"errors"
	"fmt"
	"regexp"
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
	var best check
	var most []text
	forms := make([][]string, len(lines))
	for i, l := range lines {
		if anyDigits.MatchString(l.body) {
			forms[i] = outlines(l.body)
		}
	}
	for _, place := range []string{"", ",after-etx", ",after-etx,byte"} {
		for _, form := range []string{"xor", "sum", "negated-sum"} {
			for _, covers := range []string{"", ",etx", ",stx", ",stx,etx", ",without-last", ",without-first", ",without-first,without-last"} {
				name := form + place + covers
				c, err := scale.ParseChecksum(name)
				if err != nil {
					continue
				}
				if stripped, ok := strips(c, lines, forms, place != ""); ok && len(stripped) > len(most) {
					best, most = check{"{check=" + name + "}", "Each line ends with a checksum (" + name + "), which is verified."}, stripped
				}
			}
		}
	}
	if len(most) > 0 {
		return best, most
	}
	return skippedTail(lines)
}

// leastDifferent is how many different lines show a checksum: three agree by chance once in sixteen
// million times.
const leastDifferent = 3

// strips returns the lines that have this checksum, without it. ok is false unless a part of them that chance cannot
// explain has it, among them several different ones. The others may be of another kind, such as an echo or a rule; forms
// has what each line with digits has in common with those of its kind.
func strips(c scale.Checksum, lines []text, forms [][]string, afterETX bool) (stripped []text, ok bool) {
	different, right, wrong := map[string]bool{}, map[string]int{}, map[string]map[int]bool{}
	framed := map[int]bool{}
	for i, l := range lines {
		body, err := c.Strip(l.framed(afterETX))
		if err == nil {
			different[string(body)] = true
			for _, form := range forms[i] {
				right[form]++
			}
			stripped = append(stripped, text{body: string(body), line: l.line, whole: l.whole})
		} else {
			if afterETX && !errors.Is(err, scale.ErrCheck) {
				continue // a checksum that is one byte may be a line end, at which the line was cut
			}
			if afterETX {
				framed[i] = true
			}
			for _, form := range forms[i] {
				if wrong[form] == nil {
					wrong[form] = map[int]bool{}
				}
				wrong[form][i] = true
			}
		}
		if i == 39 && len(stripped) < 5 {
			return nil, false
		}
	}
	alike := framed // lines that look like those with the checksum and have another one
	for form := range right {
		for i := range wrong[form] {
			alike[i] = true
		}
	}
	return stripped, len(different) >= leastDifferent && 4*len(stripped) >= len(lines) && 8*len(alike) <= len(stripped)
}

var (
	clock       = regexp.MustCompile(`[0-9]:[0-9]{2}$`)
	words       = regexp.MustCompile(`[A-Za-z]+`)
	wholeNumber = regexp.MustCompile(`[-+ \t]*[0-9][0-9.,]*`)
)

// outlines returns what lines of one kind have in common: the first word, the last one, and the order of words and
// numbers. The last two characters do not count, since they may be a checksum.
func outlines(body string) []string {
	body = body[:max(0, len(body)-2)] // without a checksum
	list := []string{"form " + words.ReplaceAllString(wholeNumber.ReplaceAllString(body, "0"), "a")}
	if found := words.FindAllString(body, -1); len(found) > 0 {
		list = append(list, "first "+found[0], "last "+found[len(found)-1])
	}
	return list
}

// skippedTail finds a checksum of a kind that is not known: hexadecimal digits at the end that
// are the same for the same line, and others for another.
func skippedTail(lines []text) (check, []text) {
	for _, n := range []int{4, 2} {
		tails, distinct, letters := map[string]string{}, map[string]bool{}, false
		fits, conflicts, with := 0, 0, 0
		var kept []text
		for _, l := range lines {
			if !anyDigits.MatchString(l.body) {
				continue
			}
			with++
			trimmed := strings.TrimRight(l.body, " \t")
			at := len(trimmed) - n
			if at < 1 || !isHex(trimmed[at:]) || isHex(trimmed[at-1:at]) || trimmed[at-1] == '.' || trimmed[at-1] == ',' && n == 2 || clock.MatchString(trimmed) {
				continue
			}
			body, tail := trimmed[:at], trimmed[at:]
			if known, seen := tails[body]; seen && known != tail {
				conflicts++ // it says something of its own, or the line is damaged
			}
			tails[body], distinct[tail] = tail, true
			letters = letters || strings.ContainsAny(tail, "ABCDEFabcdef")
			fits++
			kept = append(kept, text{body: body, line: l.line, whole: l.whole})
		}
		if letters && 20*conflicts <= fits && 5*fits >= 2*with && len(tails) >= 5 && len(distinct)*2 > len(tails) {
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
