package config

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/token"
)

// syntax reports text that is not valid YAML. The parser stops at the first such place, so
// it is the only fault. What the parser says of it is in its own terms, and often about the
// line after the mistake; the usual mistakes are therefore looked for by themselves.
func (r *reader) syntax(err error, text string, tokens token.Tokens) {
	var syntax *yaml.SyntaxError
	if !errors.As(err, &syntax) {
		r.fault(position{1, 1}, "", "text that is not valid YAML", err.Error())
		return
	}
	at := positionOf(syntax.Token)
	lines := splitLines(text)
	for _, explain := range []func() (Fault, bool){
		func() (Fault, bool) { return tabFault(lines, at.line) },
		func() (Fault, bool) { return quoteFault(syntax) },
		func() (Fault, bool) { return bracketFault(syntax, tokens) },
		func() (Fault, bool) { return indentFault(lines, at.line) },
		func() (Fault, bool) { return lineFault(syntax, lines) },
	} {
		if f, ok := explain(); ok {
			r.fault(position{f.Line, f.Column}, "", f.Found, f.Want)
			return
		}
	}
	found := "text that is not valid YAML"
	if word := strings.TrimSpace(syntax.Token.Value); word != "" {
		found = quote(word)
	}
	r.fault(at, "", found, "something that is valid YAML in this place ("+syntax.Message+")")
}

// splitLines splits as YAML counts lines.
func splitLines(text string) []string {
	return strings.Split(strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(text), "\n")
}

// tabFault finds a tab before the first word of the line at fault, or of the one after it.
func tabFault(lines []string, line int) (Fault, bool) {
	for n := line; n <= line+1 && n <= len(lines); n++ {
		indent := leading(lines[n-1], " \t")
		if tab := strings.IndexByte(indent, '\t'); tab >= 0 {
			return Fault{Line: n, Column: tab + 1, Found: "a tab in the indentation", Want: "spaces, since YAML does not take tabs there; set the editor to indent with spaces"}, true
		}
	}
	return Fault{}, false
}

// leading is the part of a line before the first character that is not in set.
func leading(line, set string) string { return line[:len(line)-len(strings.TrimLeft(line, set))] }

// quoteFault says which quote has no end.
func quoteFault(syntax *yaml.SyntaxError) (Fault, bool) {
	for sort, mark := range map[string]string{"single": "'", "double": `"`} {
		if strings.Contains(syntax.Message, "end character of "+sort+"-quoted") {
			at := positionOf(syntax.Token)
			return Fault{Line: at.line, Column: at.column, Found: "a text that begins with " + mark + " and does not end", Want: "another " + mark + " at the end of the text"}, true
		}
	}
	return Fault{}, false
}

// bracketFault says which bracket is not closed, or was never opened, where the parser
// complains of one. Invariant of the loop: open holds the brackets that are open before
// the token.
func bracketFault(syntax *yaml.SyntaxError, tokens token.Tokens) (Fault, bool) {
	if !strings.ContainsAny(syntax.Message, "[]{}") && !strings.Contains(syntax.Message, "flow map") {
		return Fault{}, false
	}
	at := positionOf(syntax.Token)
	var open []*token.Token
	for _, t := range tokens {
		here := positionOf(t)
		if here.line > at.line || here.line == at.line && here.column > at.column {
			break
		}
		switch t.Type {
		case token.SequenceStartType, token.MappingStartType:
			open = append(open, t)
		case token.SequenceEndType, token.MappingEndType:
			if len(open) == 0 {
				return Fault{Line: here.line, Column: here.column, Found: quote(t.Value), Want: "no such bracket, as none is open here"}, true
			}
			open = open[:len(open)-1]
		}
	}
	if len(open) == 0 {
		return Fault{}, false
	}
	last := open[len(open)-1]
	here := positionOf(last)
	return Fault{Line: here.line, Column: here.column, Found: quote(last.Value) + " that is not closed", Want: closing(last) + " at its end, and a comma between two entries"}, true
}

func closing(opening *token.Token) string {
	if opening.Type == token.SequenceStartType {
		return "]"
	}
	return "}"
}

// level is an indentation that a line may return to.
type level struct {
	spaces int
	list   bool // entries stand there, each with its hyphen
}

// indentFault finds the first line that begins neither below a key without a value nor
// under one of the lines that it could belong to. It looks as far as the first line with
// text behind the given one. Brackets and texts that go over several lines are not
// followed.
func indentFault(lines []string, at int) (Fault, bool) {
	levels := []level{{spaces: -1}}
	opens := true // whether the line before opens a deeper level
	for n := 1; n <= len(lines); n++ {
		rest := strings.TrimLeft(withoutComment(lines[n-1]), " ")
		if strings.TrimSpace(rest) == "" {
			continue
		}
		indent := len(leading(lines[n-1], " "))
		before := levels[len(levels)-1].spaces
		inner := before
		for levels[len(levels)-1].spaces > indent {
			inner = levels[len(levels)-1].spaces
			levels = levels[:len(levels)-1]
		}
		last := levels[len(levels)-1]
		entry := strings.HasPrefix(rest, "- ")
		switch {
		case last.spaces == indent && last.list && !entry:
			return indented(n, indent, rest, spaces(inner)+" as the keys of the entry above"), true
		case last.spaces == indent:
		case indent <= before:
			return indented(n, indent, rest, "as many spaces as the line has that it belongs beside"), true
		case !opens:
			return indented(n, indent, rest, spaces(before)+" as the line before, which has its value already"), true
		default:
			levels = append(levels, level{indent, entry})
		}
		for strings.HasPrefix(rest, "- ") { // the entry's keys have a level of their own
			key := strings.TrimLeft(rest[1:], " ")
			indent += len(rest) - len(key)
			levels, rest = append(levels, level{spaces: indent}), key
		}
		opens = strings.HasSuffix(strings.TrimSpace(rest), ":") || strings.TrimSpace(rest) == "-"
		if n > at {
			break
		}
	}
	return Fault{}, false
}

// indented is the fault of a line that is indented wrongly.
func indented(line, indent int, text, want string) Fault {
	word, _, _ := strings.Cut(text, ":")
	return Fault{Line: line, Column: indent + 1, Found: quote(strings.TrimSpace(word)) + " after " + spaces(indent), Want: want}
}

func spaces(n int) string {
	if n == 1 {
		return "1 space"
	}
	return strconv.Itoa(n) + " spaces"
}

// withoutComment cuts a comment off a line. A # inside quotes is taken for one too when a
// space is before it, which matters to nothing that is looked for here.
func withoutComment(line string) string {
	if strings.HasPrefix(strings.TrimLeft(line, " "), "#") {
		return ""
	}
	before, _, _ := strings.Cut(line, " #")
	return before
}

// lineFault explains what is wrong within one line.
func lineFault(syntax *yaml.SyntaxError, lines []string) (Fault, bool) {
	at := positionOf(syntax.Token)
	f := Fault{Line: at.line, Column: at.column, Found: quote(strings.TrimSpace(syntax.Token.Value))}
	whole := ""
	if at.line <= len(lines) {
		whole = strings.TrimSpace(withoutComment(lines[at.line-1]))
	}
	message := syntax.Message
	switch {
	case strings.Contains(message, "mapping value is not allowed"):
		f.Found, f.Want = quote(whole), "one KEY: VALUE on a line; a key inside goes onto the next line, indented, and a text with a colon and a space goes into quotes"
	case strings.Contains(message, "non-map value") || strings.Contains(message, "unexpected key name"):
		f.Found, f.Want = quote(whole), "KEY: VALUE, with a colon and a space between"
	case strings.Contains(message, "reserved character") || strings.Contains(message, "directive"):
		f.Want = "the text in quotes, since this character means something else in YAML"
	case strings.Contains(message, "escape character"):
		f.Found, f.Want = "a backslash inside double quotes", "single quotes around the text, or two backslashes for one"
	case strings.Contains(message, "map key-value is pre-defined"):
		f.Found, f.Want = quote(whole), "nothing behind the quoted text, or all of it in quotes"
	default:
		return f, false
	}
	return f, true
}

// firstNoText finds the first byte that is not valid UTF-8, or the first control
// character. found is empty when the whole text is right.
func firstNoText(text string) (at position, found, want string) {
	at = position{1, 1}
	for i, c := range text {
		if c == utf8.RuneError {
			if _, size := utf8.DecodeRuneInString(text[i:]); size == 1 {
				return at, "a byte that is not valid UTF-8", "UTF-8 text; save the file again with the encoding UTF-8"
			}
		}
		switch {
		case c == '\n', c == '\r' && !strings.HasPrefix(text[i+1:], "\n"):
			at = position{at.line + 1, 1} // YAML counts a lone carriage return as well
			continue
		case c < ' ' && c != '\t' && c != '\r' || c == 0x7f:
			return at, fmt.Sprintf("the control character %U", c), "text without it"
		}
		at.column++
	}
	return position{}, "", ""
}
