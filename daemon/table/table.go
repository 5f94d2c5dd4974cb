// Package table writes rows of structures as tables. The fields' tags are the columns: json is the
// name, doc the meaning. A description of the columns is made from the same tags, so that it is
// that of the file.
package table

import (
	"encoding"
	"fmt"
	"io"
	"reflect"
	"strconv"
	"strings"
	"time"
)

// Column is a column of a table.
type Column struct {
	Name string
	Type string // text, time, number, count or yes/no
	Doc  string
	// Optional: a cell may be empty.
	Optional bool

	path []int
	kind cellKind
}

type cellKind int

const (
	text cellKind = iota
	instant
	number
	whole
	yesNo
)

var typeNames = [...]string{text: "text", instant: "time", number: "number", whole: "count", yesNo: "true/false"}

// Columns returns the columns of a structure, in the order of its fields. Embedded structures
// are part of it. It panics for a field that no cell can hold: that is a fault of the program.
func Columns(row reflect.Type) []Column { return columns(row, nil) }

func columns(row reflect.Type, path []int) (all []Column) {
	for i := range row.NumField() {
		field := row.Field(i)
		at := append(append([]int(nil), path...), i)
		if field.Anonymous {
			all = append(all, columns(field.Type, at)...)
			continue
		}
		name, options, _ := strings.Cut(field.Tag.Get("json"), ",")
		if name == "-" || name == "" {
			continue
		}
		c := Column{Name: name, Doc: field.Tag.Get("doc"), path: at, kind: kindOf(field.Type)}
		c.Optional = strings.Contains(options, "omit") || field.Type.Kind() == reflect.Pointer
		c.Type = typeNames[c.kind]
		all = append(all, c)
	}
	return all
}

func kindOf(t reflect.Type) cellKind {
	if t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	if t == reflect.TypeFor[time.Time]() {
		return instant
	}
	switch t.Kind() {
	case reflect.String:
		return text
	case reflect.Float64:
		return number
	case reflect.Int, reflect.Int64, reflect.Uint64:
		return whole
	case reflect.Bool:
		return yesNo
	}
	panic(fmt.Sprintf("table: no cell holds %v", t))
}

// cell appends the text of a value to a buffer; nothing for one that is absent.
func (c Column) cell(to []byte, row reflect.Value) []byte {
	v := row.FieldByIndex(c.path)
	if v.Kind() == reflect.Pointer {
		if v.IsNil() {
			return to
		}
		v = v.Elem()
	}
	switch c.kind {
	case instant:
		at := v.Interface().(time.Time)
		if at.IsZero() {
			return to
		}
		return at.UTC().AppendFormat(to, time.RFC3339Nano)
	case number:
		return strconv.AppendFloat(to, v.Float(), 'f', -1, 64)
	case whole:
		if v.CanUint() {
			return strconv.AppendUint(to, v.Uint(), 10)
		}
		return strconv.AppendInt(to, v.Int(), 10)
	case yesNo:
		return strconv.AppendBool(to, v.Bool())
	}
	return append(to, Harmless(textOf(v))...)
}

func textOf(v reflect.Value) string {
	if m, ok := v.Interface().(encoding.TextMarshaler); ok {
		if b, err := m.MarshalText(); err == nil {
			return string(b)
		}
	}
	return v.String()
}

// Harmless returns text that a spreadsheet does not take for a formula: where it begins with
// = + - @, a tab or a carriage return, an apostrophe is put before it. Text that begins with an
// apostrophe gets another, so that [Plain] gives back the same text.
func Harmless(s string) string {
	if s != "" && strings.ContainsRune("=+-@\t\r'", rune(s[0])) {
		return "'" + s
	}
	return s
}

// Plain returns text as it was before [Harmless].
func Plain(s string) string {
	if len(s) > 1 && s[0] == '\'' && strings.ContainsRune("=+-@\t\r'", rune(s[1])) {
		return s[1:]
	}
	return s
}

// CSV writes rows of one type, with a header.
type CSV struct {
	to      io.Writer
	columns []Column
	line    []byte
	started bool
	err     error
}

// NewCSV returns a writer of CSV for rows of a type.
func NewCSV(to io.Writer, row reflect.Type) *CSV { return &CSV{to: to, columns: Columns(row)} }

// Header writes the header, where it is not written yet: a table without rows has one.
func (w *CSV) Header() error {
	if w.started || w.err != nil {
		return w.err
	}
	w.started = true
	names := make([]string, len(w.columns))
	for i, c := range w.columns {
		names[i] = c.Name
	}
	_, w.err = io.WriteString(w.to, strings.Join(names, ",")+"\n")
	return w.err
}

// Write writes a row of the type. After an error every call returns it.
func (w *CSV) Write(row any) error {
	if err := w.Header(); err != nil {
		return err
	}
	v := reflect.ValueOf(row)
	w.line = w.line[:0]
	for i, c := range w.columns {
		if i > 0 {
			w.line = append(w.line, ',')
		}
		start := len(w.line)
		w.line = c.cell(w.line, v)
		if c.kind == text {
			w.line = quoted(w.line, start)
		}
	}
	w.line = append(w.line, '\n')
	_, w.err = w.to.Write(w.line)
	return w.err
}

// quoted puts the cell that begins at start into quotes where it needs them (RFC 4180).
func quoted(line []byte, start int) []byte {
	cell := string(line[start:])
	if !strings.ContainsAny(cell, ",\"\r\n") && !strings.HasPrefix(cell, " ") && !strings.HasSuffix(cell, " ") {
		return line
	}
	line = append(line[:start], '"')
	line = append(line, strings.ReplaceAll(cell, `"`, `""`)...)
	return append(line, '"')
}
