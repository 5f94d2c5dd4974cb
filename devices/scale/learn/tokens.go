package learn

import (
	"math"
	"regexp"
	"strconv"
	"strings"
)

// kind is a kind of token.
type kind byte

const (
	word   kind = 'w' // letters
	number kind = 'n' // digits with at most one decimal mark, and a sign
	punct  kind = 'p' // any other character
)

// token is a part of a line.
type token struct {
	kind     kind
	text     string // of a number without its sign
	plain    string // of a number as Go reads it
	gap      bool   // spaces before it
	signed   bool   // a number with a sign, or with a space in the place of one
	trailing bool   // the sign follows the number
	negative bool
	column   int // where its text begins
}

// row is a line in tokens.
type row struct {
	n      int // its place among the lines
	text   text
	tokens []token
}

func tokenized(lines []text) ([]row, writing) {
	w, lines := writingOf(lines)
	lines = withStatus(lines, w.behindComma)
	rows := make([]row, 0, len(lines))
	for _, l := range lines {
		rows = append(rows, row{len(rows), l, w.tokens(l)})
	}
	return rows, w
}

// decimalMarks returns the characters that are decimal marks. Where most lines have numbers with a
// point, a comma parts two numbers, unless it always joins two that have no other mark and the
// second has the same number of digits each time: those are its decimals.
func decimalMarks(lines []text, behindComma bool) string {
	points := 0
	for _, l := range lines {
		for i := 1; i+1 < len(l.body); i++ {
			if l.body[i] == '.' && isDigit(l.body[i-1]) && isDigit(l.body[i+1]) {
				points++
				break
			}
		}
	}
	if 2*points > len(lines) && !decimalCommas(lines) || behindComma {
		return "."
	}
	return ".,"
}

var withComma = regexp.MustCompile(`^[^,]*?([0-9]+),([0-9]{2})(?:[,;]|$)`)

// statusBehindComma reports whether different numbers have few different ones of two digits behind a comma, which are no decimals: those are
// evenly spread over the next whole number.
func statusBehindComma(lines []text) bool {
	wholes, behind, step := map[string]bool{}, map[string]bool{}, 0
	for _, l := range lines {
		if found := withComma.FindStringSubmatch(l.body); found != nil {
			wholes[found[1]], behind[found[2]] = true, true
			n, _ := strconv.Atoi(found[2])
			for n > 0 {
				step, n = n, step%n
			}
		}
	}
	for text := range behind {
		if step < 1 || float64(step) >= math.Pow10(len(text))/10 {
			return false
		}
	}
	return len(behind) > 0 && len(behind) <= mostKinds && len(wholes) >= 2*len(behind)+4
}

// decimalCommas reports whether the commas between digits are decimal marks beside the points.
func decimalCommas(lines []text) bool {
	found, width := 0, 0
	for _, l := range lines {
		for i := 1; i+1 < len(l.body); i++ {
			if l.body[i] != ',' || !isDigit(l.body[i-1]) || !isDigit(l.body[i+1]) {
				continue
			}
			from, to := i, i+1
			for from > 0 && isDigit(l.body[from-1]) {
				from--
			}
			for to < len(l.body) && isDigit(l.body[to]) {
				to++
			}
			joined := func(at int) bool { return at >= 0 && at < len(l.body) && strings.IndexByte(".,:/", l.body[at]) >= 0 }
			if found++; joined(from-1) && from > 1 && isDigit(l.body[from-2]) || joined(to) && to+1 < len(l.body) && isDigit(l.body[to+1]) || found > 1 && to-i != width {
				return false
			}
			width = to - i
		}
	}
	return 4*found > 3*len(lines)
}

func isDigit(c byte) bool  { return c >= '0' && c <= '9' }
func isLetter(c byte) bool { return c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' }

// tokens cuts a line into words, numbers and single characters. It takes a sign to the number that
// it stands before, unless it joins two numbers as in a date.
func (w writing) tokens(of text) []token {
	var list []token
	gap, line := false, of.body
	for i := 0; i < len(line); {
		c, from := line[i], i
		switch {
		case of.status > 0 && i+1 >= of.status && i+1 < of.status+of.width:
			i += map[bool]int{true: 1, false: of.width}[of.flags]
			list = append(list, token{kind: word, text: line[from:i], gap: gap, column: from})
		case c == ' ' || c == '\t':
			gap = true
			i++
			continue
		case isDigit(c), startsWithMark(line, i, w.marks):
			i = w.endOfNumber(line, i)
			list = append(list, token{kind: number, text: line[from:i], plain: w.plain(line[from:i]), gap: gap, column: from})
		case isLetter(c):
			for i < len(line) && isLetter(line[i]) {
				i++
			}
			unit := w.gluedUnit(line[from:i], list, gap)
			if unit > 0 {
				list = append(list, token{kind: word, text: line[from : from+unit], column: from})
			}
			list = append(list, token{kind: word, text: line[from+unit : i], gap: gap, column: from + unit})
		case (c == '+' || c == '-') && w.isSign(line, i, list, gap):
			for i++; line[i] == ' '; i++ {
			}
			column := i
			i = w.endOfNumber(line, i)
			list = append(list, token{kind: number, text: line[column:i], plain: w.plain(line[column:i]), gap: gap, signed: true, negative: c == '-', column: column})
		case (c == '+' || c == '-') && !gap && len(list) > 0 && list[len(list)-1].kind == number && !list[len(list)-1].signed &&
			(i+1 == len(line) || !isDigit(line[i+1]) && line[i+1] != c):
			last := &list[len(list)-1]
			last.signed, last.trailing, last.negative = true, true, c == '-'
			i++
			continue
		default:
			i++
			list = append(list, token{kind: punct, text: line[from:i], gap: gap, column: from})
		}
		gap = false
	}
	return list
}

// gluedUnit returns how many letters of a word that follows a number are a unit with a mark
// directly behind it, as in 60.0gN.
func (w writing) gluedUnit(letters string, before []token, gap bool) int {
	if w.unit != "" && !gap && len(before) > 0 && before[len(before)-1].kind == number && strings.HasPrefix(letters, w.unit) && len(letters) > len(w.unit) {
		return len(w.unit)
	}
	if gap || len(before) == 0 || before[len(before)-1].kind != number || isUnit(letters) {
		return 0
	}
	for n := 1; n <= 2 && n < len(letters); n++ {
		if readable(letters[:n]) && meanings[strings.ToUpper(letters[n:])] != "" {
			return n
		}
	}
	return 0
}

var joinedByComma = regexp.MustCompile(`[0-9],[0-9]`)

// startsWithMark reports whether a number without a nought before its decimal mark begins at i, as in
// .218. What follows a letter or a digit is no number of its own.
func startsWithMark(line string, i int, marks string) bool {
	if end := i + 1; line[i] == ',' { // between the fields of a line, or beside a number with a decimal comma
		if joinedByComma.MatchString(line[:i]) {
			return false
		}
		for end < len(line) && isDigit(line[end]) {
			end++
		}
		if end < len(line) && (line[end] == ',' || line[end] == '.') {
			return false
		}
	}
	return strings.Contains(marks, line[i:i+1]) && i+1 < len(line) && isDigit(line[i+1]) &&
		(i == 0 || strings.IndexByte(" \t+-=:;[(", line[i-1]) >= 0)
}

// betweenThousands reports whether the character at i is a mark between thousands.
func betweenThousands(line string, i int, mark byte) bool {
	return line[i] == mark && i > 0 && isDigit(line[i-1]) && i+3 < len(line) &&
		isDigit(line[i+1]) && isDigit(line[i+2]) && isDigit(line[i+3]) && (i+4 == len(line) || !isDigit(line[i+4]))
}

// plain returns a number as Go reads it: without marks between thousands, and with a decimal point.
func (w writing) plain(text string) string {
	if w.groups != 0 {
		text = strings.ReplaceAll(text, string(rune(w.groups)), "")
	}
	return plainNumber.Replace(text)
}

// plainNumber is made once, since that is slow.
var plainNumber = strings.NewReplacer(",", ".", "'", "", "[", "", "]", "")

// value returns the number of a token without its sign; NaN where it is none that a float64 holds.
func (t token) value() float64 {
	v, err := strconv.ParseFloat(t.plain, 64)
	if err != nil {
		return math.NaN()
	}
	return v
}

// endOfNumber returns where the digits from i on end, with the power of ten where the numbers have one. A
// decimal mark stands between two digits, and what looks like a date or a time is not one number.
func (w writing) endOfNumber(line string, i int) int {
	found := 0
	for ; i < len(line); i++ {
		if isDigit(line[i]) || found == 0 && (betweenThousands(line, i, '\'') || w.groups != 0 && betweenThousands(line, i, w.groups)) {
			continue
		}
		if !strings.Contains(w.marks, line[i:i+1]) || found > 0 || i+1 >= len(line) || !isDigit(line[i+1]) {
			break
		}
		found++
	}
	if w.exponent {
		if power := powerOfTen.FindString(line[i:]); power != "" {
			i += len(power)
		}
	}
	return i
}

var powerOfTen = regexp.MustCompile(`^[Ee][+-]?[0-9]{1,2}`)

// isSign reports whether the + or - at i is the sign of the number that follows, with spaces
// between at most.
func (w writing) isSign(line string, i int, before []token, gap bool) bool {
	next := strings.TrimLeft(line[i+1:], " ")
	if next == "" || !isDigit(next[0]) && !startsWithMark(next, 0, w.marks) {
		return false
	}
	if w.marked[i] && !w.plus[i] && line[i+1] == ' ' {
		return false
	}
	if gap || len(before) == 0 || before[len(before)-1].kind != number || line[i] == '+' || w.plus[i] {
		return true
	}
	// A minus between two numbers joins them, as in a date, unless what follows has decimals.
	return strings.ContainsAny(next[:w.endOfNumber(next, 0)], w.marks)
}

// signature is what two lines have in common that differ in their numbers only.
func (r row) signature() string {
	var b strings.Builder
	for _, t := range r.tokens {
		if t.kind == number {
			b.WriteByte('#')
		} else {
			b.WriteString(t.text)
		}
		b.WriteByte('\x00')
	}
	return b.String()
}

// numbers is how many numbers a line has.
func (r row) numbers() int {
	n := 0
	for _, t := range r.tokens {
		if t.kind == number {
			n++
		}
	}
	return n
}

// label is the first word of a line.
func (r row) label() string {
	for _, t := range r.tokens {
		if t.kind == number {
			break
		}
		if t.kind == word {
			return t.text
		}
	}
	return ""
}

// withoutFragments leaves out rare lines that are the beginning or the end of another one: they
// have lost the rest on the way.
func withoutFragments(rows []row) []row {
	counts := map[string]int{}
	masks := make([]string, len(rows))
	for i, r := range rows {
		masks[i] = strings.Map(func(c rune) rune {
			if c >= '0' && c <= '9' {
				return '0'
			}
			return c
		}, r.text.body)
		counts[masks[i]]++
	}
	forms := sortedKeys(counts)
	if len(forms) > mostForms {
		forms = forms[:mostForms]
	}
	var kept []row
	for i, r := range rows {
		mask, fragment := masks[i], false
		for _, whole := range forms {
			if 10*counts[mask] >= len(rows) || counts[whole] <= counts[mask] {
				break
			}
			// What was damaged does not come twice in a row.
			again := i > 0 && rows[i-1].text.body == r.text.body || i+1 < len(rows) && rows[i+1].text.body == r.text.body
			fragment = fragment || !again && len(mask) < len(whole) && (strings.HasPrefix(whole, mask) || strings.HasSuffix(whole, mask))
		}
		if !fragment {
			kept = append(kept, r)
		}
	}
	return kept
}
