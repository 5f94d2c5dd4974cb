package learn

import (
	"regexp"
	"strings"
)

// writing is how a scale writes its numbers.
type writing struct {
	marks       string       // the decimal marks
	groups      byte         // between thousands, besides the apostrophe; 0 for nothing
	pad         byte         // before the number, in place of spaces; 0 for nothing
	bracket     bool         // the last digit stands in brackets
	behindComma bool         // a comma joins a status to the weight
	exponent    bool         // a power of ten follows
	plus        map[int]bool // columns in which some lines have a plus sign
	marked      map[int]bool // columns in which some lines have a mark that is no sign
	unit        string       // with which words directly behind a number begin that end with a mark, as gs and gm; else empty
}

var behindNumber = regexp.MustCompile(`[0-9]([A-Za-z]+)`)

// unitWithMarks returns the unit with which all words directly behind a number begin, where they differ in what
// follows.
func unitWithMarks(lines []text) string {
	words := map[string]int{}
	for _, l := range lines {
		for _, found := range behindNumber.FindAllStringSubmatch(l.body, -1) {
			words[found[1]]++
		}
	}
	for _, unit := range []string{"kg", "KG", "Kg", "oz", "OZ", "lb", "LB", "g"} {
		begin, longer := 0, 0
		for word := range words {
			if strings.HasPrefix(word, unit) {
				begin++
			}
			if len(word) == len(unit)+1 {
				longer++
			}
		}
		if begin == len(words) && len(words) >= 2 && longer >= 1 && len(words) <= 4 {
			return unit
		}
	}
	return ""
}

// share is the part of lines that must be written in a way.
const share = 0.8

// writingOf finds out how numbers are written, and returns the lines with spaces in place of another
// pad, without brackets around a digit.
func writingOf(lines []text) (writing, []text) {
	w := writing{}
	lines = w.takePad(lines)
	lines = w.takeBrackets(lines)
	w.exponent = most(lines, exponential)
	w.unit = unitWithMarks(lines)
	w.findColumns(lines)
	w.findGroups(lines)
	switch w.groups {
	case ',':
		w.marks = "."
	case '.':
		w.marks = ","
	default:
		w.behindComma = statusBehindComma(lines)
		w.marks = decimalMarks(lines, w.behindComma)
	}
	return w, lines
}

// fewestColumn is in how many lines a character is found in a column that tells how the column is used.
const fewestColumn = 3

// findColumns finds out in which columns a plus stands, so that a minus there is a sign even between two digits, and in which
// there is another mark, so that a minus is one too.
func (w *writing) findColumns(lines []text) {
	plus, marked := map[int]int{}, map[int]int{}
	for _, l := range lines {
		for i := range len(l.body) {
			switch c := l.body[i]; {
			case c == '+':
				plus[i]++
			case strings.IndexByte("=~*?!#", c) >= 0:
				marked[i]++
			}
		}
	}
	often := func(counts map[int]int) map[int]bool {
		columns := map[int]bool{}
		for i, n := range counts {
			columns[i] = n >= fewestColumn && 10*n >= len(lines)
		}
		return columns
	}
	w.plus, w.marked = often(plus), often(marked)
}

var (
	exponential = regexp.MustCompile(`[0-9]([.,][0-9]+[Ee][+-]?|[Ee][+-])[0-9]{1,2}([^0-9.]|$)`)
	bracketed   = regexp.MustCompile(`([0-9.,])\[([0-9])\]`)
	anyDigits   = regexp.MustCompile(`[0-9]`)
)

// most reports whether most lines with digits match.
func most(lines []text, what *regexp.Regexp) bool {
	with, fit := 0, 0
	for _, l := range lines {
		if anyDigits.MatchString(l.body) {
			with++
			if what.MatchString(l.body) {
				fit++
			}
		}
	}
	return with >= fewestLines && float64(fit) >= share*float64(with)
}

// fewestDigits is how many different digits stand in brackets where they are the last of a number. A
// channel or a flag has fewer.
const fewestDigits = 4

func (w *writing) takeBrackets(lines []text) []text {
	different := map[string]bool{}
	for _, l := range lines {
		if found := bracketed.FindStringSubmatch(l.body); found != nil {
			different[found[2]] = true
		}
	}
	if len(different) < fewestDigits || !most(lines, bracketed) {
		return lines
	}
	w.bracket = true
	return changed(lines, func(body string) string { return bracketed.ReplaceAllString(body, "$1$2") })
}

// changed returns the lines with their bodies changed.
func changed(lines []text, change func(string) string) []text {
	list := make([]text, len(lines))
	for i, l := range lines {
		list[i] = l
		list[i].body = change(l.body)
	}
	return list
}

// takePad finds a character that fills the place before the number, in runs of different lengths behind the same
// character, or at the beginning of the line.
func (w *writing) takePad(lines []text) []text {
	for _, pad := range "._*#=~xX" {
		behind, lengths := map[byte]int{}, map[int]bool{}
		for _, l := range lines {
			if at, n := run(l.body, byte(pad), 2); n > 0 {
				behind[before(l.body, at)]++
				lengths[n] = true
			}
		}
		for c, n := range behind {
			if float64(n) < 0.6*float64(len(lines)) || len(lengths) < 2 {
				continue
			}
			w.pad = byte(pad)
			return changed(lines, func(body string) string {
				at, n := run(body, byte(pad), 2)
				if n == 0 {
					at, n = run(body, byte(pad), 1) // the number leaves one place
				}
				if before(body, at) != c {
					return body
				}
				return body[:at] + strings.Repeat(" ", n) + body[at+n:]
			})
		}
	}
	return lines
}

// before returns the character before a place, a line feed at the beginning.
func before(body string, at int) byte {
	if at == 0 {
		return '\n'
	}
	return body[at-1]
}

// run returns where the first run of a character, of at least so many, before a number begins, and its length; 0 for
// none.
func run(body string, pad byte, least int) (at, n int) {
	for i := 0; i < len(body); i++ {
		if body[i] != pad {
			continue
		}
		from := i
		for i < len(body) && body[i] == pad {
			i++
		}
		if i-from >= least && i < len(body) && (isDigit(body[i]) || (body[i] == '-' || body[i] == '+') && i+1 < len(body) && isDigit(body[i+1])) {
			return from, i - from
		}
	}
	return 0, 0
}

var numberish = regexp.MustCompile(`[.,]?[0-9][0-9.,]*`)

// findGroups finds a comma, a point or a blank between thousands.
func (w *writing) findGroups(lines []text) {
	for _, mark := range ",." {
		if groupedBy(lines, string(mark)) {
			w.groups = byte(mark)
			return
		}
	}
	if groupedByBlanks(lines) {
		w.groups = ' '
	}
}

// grouped are numbers with a mark between their thousands, with decimals and without.
var grouped = map[string]*regexp.Regexp{
	",": regexp.MustCompile(`^[1-9][0-9]{0,2}(,[0-9]{3})+(\.[0-9]+)?$`),
	".": regexp.MustCompile(`^[1-9][0-9]{0,2}(\.[0-9]{3})+(,[0-9]+)?$`),
}

// groupedBy reports whether a mark stands between thousands in one place of the lines: some numbers there have
// it, with three digits behind it, and those below a thousand do not.
func groupedBy(lines []text, mark string) bool {
	type seen struct {
		with, without, wrong int
		different            map[string]bool
	}
	var places []seen
	for _, l := range lines {
		for k, text := range numberish.FindAllString(l.body, -1) {
			if k >= len(places) {
				places = append(places, seen{different: map[string]bool{}})
			}
			text = strings.TrimRight(text, ".,")
			whole, _, _ := strings.Cut(text, map[string]string{",": ".", ".": ","}[mark])
			switch {
			case grouped[mark].MatchString(text):
				places[k].with++
				places[k].different[text] = true
			case !strings.Contains(text, mark) && len(whole) <= 3:
				places[k].without++
			default:
				places[k].wrong++
			}
		}
	}
	for _, p := range places {
		if len(p.different) >= 3 && p.without >= 3 && 20*p.wrong <= p.with+p.without {
			return true
		}
	}
	return false
}

var withBlank = regexp.MustCompile(`(^|[^0-9.,])([1-9][0-9]{0,2})((?: [0-9]{3})+)([.,][0-9]+)?($|[^0-9.,])`)

// groupedByBlanks reports whether lines with two or more parts of a number are, when these are joined, like
// the others.
func groupedByBlanks(lines []text) bool {
	plain, joined, other := map[string]int{}, map[string]int{}, 0
	for _, l := range lines {
		body := withBlank.ReplaceAllStringFunc(l.body, func(found string) string {
			p := withBlank.FindStringSubmatch(found)
			return p[1] + p[2] + strings.ReplaceAll(p[3], " ", "") + p[4] + p[5]
		})
		form := formOf(body)
		if body != l.body {
			joined[form]++
		} else {
			plain[form]++
		}
	}
	with, without := 0, 0
	for form, n := range joined {
		if plain[form] > 0 {
			with += n
			without += plain[form]
		} else {
			other += n
		}
	}
	return with >= 3 && without >= 3 && 10*other <= with
}

// formOf returns a line with each number as one sign, and without spaces.
func formOf(body string) string {
	return strings.ReplaceAll(numberish.ReplaceAllString(body, "#"), " ", "")
}
