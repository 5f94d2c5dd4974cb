package config

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/token"
)

const (
	day = 24 * time.Hour
	// longestWait bounds what a person waits for; more is a slip of the unit.
	longestWait = day
)

// textRule says what a text must be: want in words, and check, which returns "" or
// what would be right. check may be nil.
type textRule struct {
	want  string
	check func(string) string
}

// text reads a text. Numbers and truth values are no text: YAML changes them before
// anybody sees them (0612 is 394), so an id of digits must be quoted.
func (m *mapping) text(key string, into *string, rule textRule) {
	m.note(key, rule.want, *into)
	f := m.field(key)
	if f == nil {
		return
	}
	if value, ok := m.asText(f.value, m.child(key), rule); ok {
		*into = value
	} else {
		f.bad = true
	}
}

func (m *mapping) asText(node ast.Node, path string, rule textRule) (string, bool) {
	switch n := node.(type) {
	case *ast.StringNode:
		if rule.check != nil {
			if want := rule.check(n.Value); want != "" {
				m.r.fault(start(node), path, describe(node), want)
				return "", false
			}
		}
		return n.Value, true
	case *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode, *ast.InfinityNode, *ast.NanNode:
		m.r.fault(start(node), path, describe(node)+" without quotes", rule.want+"; a text, so in quotes")
	default:
		m.r.fault(start(node), path, describe(node), rule.want)
	}
	return "", false
}

// texts reads a list of texts, none twice.
func (m *mapping) texts(key string, into *[]string, rule textRule) {
	want := "a list, each " + rule.want
	m.note(key, want, strings.Join(*into, ", "))
	nodes := m.elements(key, want)
	if nodes == nil {
		return
	}
	var list []string
	for i, node := range nodes {
		path := fmt.Sprintf("%s[%d]", m.child(key), i)
		value, ok := m.asText(node, path, rule)
		if !ok {
			m.fields[key].bad = true
			continue
		}
		if slices.Contains(list, value) {
			m.fields[key].bad = true
			m.r.fault(start(node), path, describe(node)+" a second time", "each one once")
			continue
		}
		list = append(list, value)
	}
	*into = list
}

// oneOrMore reads a text, or a list of texts, none twice and at least one.
func (m *mapping) oneOrMore(key string, into *[]string, rule textRule) {
	rule.want += ", or a list of these"
	if f := m.fields[key]; f != nil {
		if _, list := f.value.(*ast.SequenceNode); list {
			m.texts(key, into, rule)
			m.some(key, rule.want)
			return
		}
	}
	var one string
	m.text(key, &one, rule)
	if one != "" {
		*into = []string{one}
	}
}

// matching is the rule for a text that a pattern describes.
func matching(want string, pattern *regexp.Regexp) textRule {
	return textRule{want, func(text string) string {
		if pattern.MatchString(text) {
			return ""
		}
		return want
	}}
}

// oneOf is the rule for a text out of a short list.
func oneOf(words ...string) textRule {
	want := strings.Join(words, " or ")
	if len(words) > 2 {
		want = "one of " + strings.Join(words, ", ")
	}
	return textRule{want, func(text string) string {
		if slices.Contains(words, text) {
			return ""
		}
		return want
	}}
}

// bounds are the range of a number, with the words for it.
type bounds struct {
	min, max float64
	above    bool // min itself is outside
	unit     string
}

func (b bounds) hold(x float64) bool {
	return x <= b.max && (x > b.min || x == b.min && !b.above)
}

func (b bounds) String() string {
	unit := ""
	if b.unit != "" {
		unit = " in " + b.unit
	}
	if b.above {
		return fmt.Sprintf("a number%s above %v and at most %v", unit, b.min, b.max)
	}
	return fmt.Sprintf("a number%s from %v to %v", unit, b.min, b.max)
}

// decimal is how a number is written: no octal, hexadecimal or underscores, which
// YAML knows and people read otherwise (010 would be 8).
var decimal = regexp.MustCompile(`^-?(0|[1-9][0-9]*)(\.[0-9]+)?$`)

// number reads a decimal number. It works on the file's text, since the YAML library
// takes some numbers for text and reads others in the wrong base.
func (m *mapping) number(key string, into *float64, within bounds) {
	m.note(key, within.String(), *into)
	f := m.field(key)
	if f == nil {
		return
	}
	x, ok := plainNumber(f.value)
	switch {
	case !ok:
		m.wrong(key, within.String()+", in plain decimals")
	case !within.hold(x):
		m.wrong(key, within.String())
	default:
		*into = x
	}
}

// whole reads a whole number.
func (m *mapping) whole(key string, into *int, within bounds) {
	x := float64(*into)
	m.number(key, &x, within)
	if x != math.Trunc(x) {
		m.wrong(key, "a whole number")
		return
	}
	*into = int(x)
}

func plainNumber(node ast.Node) (float64, bool) {
	switch node.(type) {
	case *ast.StringNode, *ast.IntegerNode, *ast.FloatNode:
	default:
		return 0, false
	}
	t := node.GetToken()
	if t.Type == token.SingleQuoteType || t.Type == token.DoubleQuoteType || !decimal.MatchString(t.Value) {
		return 0, false
	}
	x, err := strconv.ParseFloat(t.Value, 64)
	if err != nil || math.IsInf(x, 0) {
		return 0, false
	}
	return x, true
}

// boolean reads true or false.
func (m *mapping) boolean(key string, into *bool) {
	m.note(key, "true or false", *into)
	f := m.field(key)
	if f == nil {
		return
	}
	if value, ok := f.value.(*ast.BoolNode); ok {
		*into = value.Value
		return
	}
	m.wrong(key, "true or false")
}

// duration reads a duration with its unit, from shortest to longest.
func (m *mapping) duration(key string, into *time.Duration, shortest, longest time.Duration, example string) {
	want := fmt.Sprintf("a duration with its unit (ms, s, m, h, d) from %s to %s, such as %s",
		sayDuration(shortest), sayDuration(longest), example)
	m.note(key, want, *into)
	f := m.field(key)
	if f == nil {
		return
	}
	if text, ok := f.value.(*ast.StringNode); ok {
		if d, ok := parseDuration(text.Value); ok && shortest <= d && d <= longest {
			*into = d
			return
		}
	}
	m.wrong(key, want)
}

// date reads a day. YAML's own dates are taken too, which is what a day without quotes is.
func (m *mapping) date(key string, into *time.Time) {
	const want = "a day as YYYY-MM-DD, such as 2026-03-31"
	m.note(key, want, *into)
	f := m.field(key)
	if f == nil {
		return
	}
	if text, ok := f.value.(*ast.StringNode); ok {
		if d, err := time.Parse(time.DateOnly, text.Value); err == nil && d.Year() >= 2000 {
			*into = d
			return
		}
	}
	m.wrong(key, want)
}

// days is a duration that begins with whole days.
var days = regexp.MustCompile(`^([0-9]{1,5})d(.*)$`)

// parseDuration reads Go's durations and whole days before them: 90d, 1d12h, 30m.
// A bare 0 has no unit and is refused, as is a sign.
func parseDuration(text string) (time.Duration, bool) {
	whole := time.Duration(0)
	rest := text
	if parts := days.FindStringSubmatch(text); parts != nil {
		n, err := strconv.Atoi(parts[1])
		if err != nil {
			return 0, false
		}
		whole, rest = time.Duration(n)*day, parts[2]
		if rest == "" {
			return whole, true
		}
	}
	if rest == "0" || strings.ContainsAny(rest, "+-") {
		return 0, false
	}
	d, err := time.ParseDuration(rest)
	if err != nil || d > math.MaxInt64-whole {
		return 0, false
	}
	return whole + d, true
}

// sayDuration writes a duration as a person would in the file.
func sayDuration(d time.Duration) string {
	if d == 0 {
		return "0s"
	}
	if d%day == 0 {
		return fmt.Sprintf("%dd", d/day)
	}
	text := d.String()
	if strings.HasSuffix(text, "m0s") {
		text = strings.TrimSuffix(text, "0s")
	}
	if strings.HasSuffix(text, "h0m") {
		text = strings.TrimSuffix(text, "0m")
	}
	return text
}
