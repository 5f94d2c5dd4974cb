// Package strictjson reads the JSON that other programs send. It refuses a text that two
// readers could understand differently, and it says where the fault is.
package strictjson

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"reflect"
	"strconv"
	"strings"
	"time"

	jsonv2 "github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"potlifed/daemon/excerpt"
)

// deepest is how many objects and lists may be nested. No change nests deeper than three.
const deepest = 8

// Error says why a text was refused. It never holds a value that was sent, which may be
// secret; names of fields it holds up to a length.
type Error struct {
	// Syntax: the text is not JSON. Otherwise it is JSON that cannot be taken.
	Syntax bool
	// Path is the value with the fault, such as components[0].g; empty for the whole text.
	Path string
	// Byte is the offset of the fault in the text where Syntax is set.
	Byte int64
	// Reason says what is wrong, in words for a person.
	Reason string
}

func (e *Error) Error() string {
	text := e.Reason
	if e.Path != "" {
		text = e.Path + ": " + text
	}
	if e.Syntax {
		text += fmt.Sprintf(", near byte %d", e.Byte)
	}
	return text
}

// Value returns the value of a text: nil, a bool, a float64, a string, a []any or a
// map[string]any. The text holds one value and nothing else, is valid UTF-8, has no name
// twice in one object and nests no deeper than eight objects and lists. Every error is an [*Error].
func Value(data []byte) (any, error) {
	if err := check(data); err != nil {
		return nil, err
	}
	var v any
	return v, explain(jsonv2.Unmarshal(data, &v))
}

// Object returns the fields of a text that holds one object. Like [Value] it checks the
// whole text. Every error is an [*Error].
func Object(data []byte) (map[string]json.RawMessage, error) {
	if err := check(data); err != nil {
		return nil, err
	}
	if kind := jsontext.Value(data).Kind(); kind != '{' {
		return nil, &Error{Reason: "not a JSON object but " + given[kind]}
	}
	var fields map[string]json.RawMessage
	return fields, explain(jsonv2.Unmarshal(data, &fields))
}

// Decode fills the structure that into points to. Beside what [Value] refuses it refuses
// a name that the structure does not have exactly so, and a value of another type. Every
// error is an [*Error].
func Decode(data []byte, into any) error {
	if err := check(data); err != nil {
		return err
	}
	return explain(jsonv2.Unmarshal(data, into, jsonv2.RejectUnknownMembers(true)))
}

// check reads a whole text, token by token, and returns what is wrong with it however it
// is used.
func check(data []byte) error {
	d := jsontext.NewDecoder(bytes.NewReader(data))
	for first := true; first || d.StackDepth() > 0; first = false {
		if _, err := d.ReadToken(); err != nil {
			return explain(err)
		}
		if d.StackDepth() > deepest {
			return &Error{Path: path(d.StackPointer()), Reason: fmt.Sprintf("nested more than %d deep", deepest)}
		}
	}
	end := d.InputOffset()
	if _, err := d.ReadToken(); !errors.Is(err, io.EOF) {
		return &Error{Syntax: true, Byte: end, Reason: "not JSON: more after the first value"}
	}
	return nil
}

// explain returns an error of the library in our words, nil for nil.
func explain(err error) error {
	var syntax *jsontext.SyntacticError
	var semantic *jsonv2.SemanticError
	switch {
	case err == nil:
		return nil
	case errors.As(err, &syntax) && errors.Is(err, jsontext.ErrDuplicateName):
		return &Error{Path: path(syntax.JSONPointer.Parent()), Reason: fmt.Sprintf("%q twice", excerpt.Short(syntax.JSONPointer.LastToken()))}
	case errors.As(err, &syntax):
		return &Error{Syntax: true, Path: path(syntax.JSONPointer), Byte: syntax.ByteOffset, Reason: "not JSON: " + excerpt.Short(syntax.Err.Error())}
	case errors.As(err, &semantic) && errors.Is(err, jsonv2.ErrUnknownName):
		return &Error{Path: path(semantic.JSONPointer.Parent()), Reason: fmt.Sprintf("unknown field %q", excerpt.Short(semantic.JSONPointer.LastToken()))}
	case errors.As(err, &semantic):
		return &Error{Path: path(semantic.JSONPointer), Reason: wrongType(semantic)}
	case errors.Is(err, io.EOF):
		return &Error{Syntax: true, Reason: "not JSON: the text is empty"}
	case errors.Is(err, io.ErrUnexpectedEOF):
		return &Error{Syntax: true, Reason: "not JSON: the text ends too early"}
	}
	return &Error{Reason: "not a value that can be taken"}
}

// wrongType says what a value should have been.
func wrongType(e *jsonv2.SemanticError) string {
	if errors.Is(e.Err, strconv.ErrRange) {
		return "the number is too large"
	}
	if e.GoType == nil {
		return "not a value that can be taken"
	}
	want, known := wanted[e.GoType.Kind()]
	if e.GoType == reflect.TypeFor[time.Time]() {
		want, known = `a time such as "2026-01-02T15:04:05Z"`, true
	}
	if !known {
		return "not a value that can be taken"
	}
	return "want " + want + ", not " + given[e.JSONKind]
}

// wanted names the JSON that the kinds of fields of a change are read from.
var wanted = map[reflect.Kind]string{
	reflect.String: "a text", reflect.Bool: "true or false", reflect.Float64: "a number",
	reflect.Uint64: "a whole number, 0 or more", reflect.Slice: "a list", reflect.Struct: "an object",
}

// given names the kinds of JSON values.
var given = map[jsontext.Kind]string{
	'n': "null", 't': "true", 'f': "false", '"': "this text", '0': "this number", '[': "a list", '{': "an object",
}

// path writes a pointer as people write fields: components[0].g.
func path(p jsontext.Pointer) string {
	var b strings.Builder
	for token := range p.Tokens() {
		switch {
		case token != "" && strings.Trim(token, "0123456789") == "":
			b.WriteString("[" + token + "]")
		case b.Len() > 0:
			b.WriteString("." + token)
		default:
			b.WriteString(token)
		}
	}
	return excerpt.Short(b.String())
}
