package config

import (
	"cmp"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"unicode/utf8"

	"potlifed/daemon/excerpt"
)

// Fault is one thing that is wrong in a configuration: where it stands, what was
// found there and what would be right. Path is empty when the file as a whole is
// meant, as with text that is no YAML.
type Fault struct {
	File         string // the included file that it is in; empty for the configuration itself
	Line, Column int    // counted from 1; columns in characters, as an editor counts them
	Path         string // such as scales[0].port
	Found        string
	Want         string
}

// Faults is the error of a configuration that was read and refused: all its
// faults, in the order in which they stand in the file.
type Faults struct {
	File string
	List []Fault
}

var _ error = (*Faults)(nil)

// Error gives one line for each fault, file:line:column first, so that editors and
// people can go there.
func (f *Faults) Error() string {
	lines := make([]string, len(f.List))
	for i, one := range f.List {
		where := ""
		if one.Path != "" {
			where = one.Path + ": "
		}
		lines[i] = fmt.Sprintf("%s:%d:%d: %sfound %s: %s", cmp.Or(one.File, f.File), one.Line, one.Column, where, one.Found, one.Want)
	}
	return strings.Join(lines, "\n")
}

func (f *Faults) sort() {
	slices.SortStableFunc(f.List, func(a, b Fault) int {
		return cmp.Or(cmp.Compare(a.File, b.File), cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column))
	})
}

// quoteLimit keeps a pasted novel out of an error message.
const quoteLimit = 60

// userInfo is a user and perhaps a password in an address.
var userInfo = regexp.MustCompile(`//[^/]*@`)

// quote shows text that was found, shortened, with what cannot be printed escaped. A
// password in an address must not end up in a log.
func quote(text string) string {
	return fmt.Sprintf("%q", excerpt.Of(userInfo.ReplaceAllString(text, "//…@"), quoteLimit))
}

// nearest returns the word of the list that word is most likely a slip of, or ""
// when none is near: at most one slip for every three characters, so that short
// words are not taken for each other.
func nearest(word string, list []string) string {
	best, bestSlips := "", 0
	if utf8.RuneCountInString(word) > quoteLimit {
		return ""
	}
	for _, candidate := range list {
		n := slips(word, candidate)
		if n <= max(1, len(candidate)/3) && (best == "" || n < bestSlips) {
			best, bestSlips = candidate, n
		}
	}
	return best
}

// slips counts the insertions, deletions, replacements and swaps of neighbours that
// turn a into b, each place touched once (optimal string alignment). Invariant of
// the loop: row[j] is the count for the first i characters of a and the first j of
// b; last and lastButOne are the two rows above it.
func slips(a, b string) int {
	from, to := []rune(strings.ToLower(a)), []rune(b)
	last := make([]int, len(to)+1)
	for j := range last {
		last[j] = j
	}
	var lastButOne []int
	for i := 1; i <= len(from); i++ {
		row := make([]int, len(to)+1)
		row[0] = i
		for j := 1; j <= len(to); j++ {
			replaced := last[j-1]
			if from[i-1] != to[j-1] {
				replaced++
			}
			row[j] = min(replaced, last[j]+1, row[j-1]+1)
			if i > 1 && j > 1 && from[i-1] == to[j-2] && from[i-2] == to[j-1] {
				row[j] = min(row[j], lastButOne[j-2]+1)
			}
		}
		lastButOne, last = last, row
	}
	return last[len(to)]
}
