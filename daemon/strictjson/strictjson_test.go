package strictjson

import (
	"encoding/json"
	"errors"
	"reflect"
	"strings"
	"testing"
	"time"
	"unicode/utf8"
)

// part and change have the kinds of fields that changes have.
type part struct {
	Name string  `json:"part"`
	G    float64 `json:"g"`
}

type change struct {
	Batch   string    `json:"batch"`
	Seq     uint64    `json:"seq,omitempty"`
	Undo    bool      `json:"undo,omitempty"`
	At      time.Time `json:"at,omitzero"`
	LeftG   *float64  `json:"left_g,omitempty"`
	Parts   []part    `json:"components,omitempty"`
	To      part      `json:"to,omitzero"`
	Counter *uint64   `json:"counter,omitempty"`
}

func TestFaultsAreToldWithTheirPlace(t *testing.T) {
	for _, c := range []struct {
		text   string
		syntax bool
		path   string
		says   string
	}{
		{``, true, "", "the text is empty"},
		{` `, true, "", "the text is empty"},
		{`{"batch":"b"`, true, "", "near byte 12"},
		{`{"batch":nul}`, true, "batch", "near byte 12"},
		{`{"batch":"b",}`, true, "", "near byte 12"},
		{`{"components":[{"g":NaN}]}`, true, "components[0].g", "near byte 20"},
		{`{"batch":"b"}{}`, true, "", "more after the first value, near byte 13"},
		{`{"batch":"b"} x`, true, "", "more after the first value, near byte 13"},
		{"{\"batch\":\"\xff\"}", true, "batch", "invalid UTF-8"},
		{`{"batch":"b","batch":"c"}`, false, "", `"batch" twice`},
		{`{"components":[{"g":1},{"g":1,"g":2}]}`, false, "components[1]", `"g" twice`},
		{`{"x":` + strings.Repeat("[", 20) + strings.Repeat("]", 20) + `}`, false, "x[0][0][0][0][0][0][0]", "nested more than 8 deep"},
		{`{"batch":"b","colour":"red"}`, false, "", `unknown field "colour"`},
		{`{"Batch":"b"}`, false, "", `unknown field "Batch"`},
		{`{"components":[{"part":"ink","grams":60}]}`, false, "components[0]", `unknown field "grams"`},
		{`{"batch":7}`, false, "batch", "want a text, not this number"},
		{`{"batch":{}}`, false, "batch", "want a text, not an object"},
		{`{"undo":"yes"}`, false, "undo", "want true or false, not this text"},
		{`{"left_g":"60"}`, false, "left_g", "want a number, not this text"},
		{`{"left_g":1e999}`, false, "left_g", "the number is too large"},
		{`{"seq":99999999999999999999}`, false, "seq", "the number is too large"},
		{`{"seq":-1}`, false, "seq", "want a whole number, 0 or more, not this number"},
		{`{"seq":1.5}`, false, "seq", "want a whole number, 0 or more, not this number"},
		{`{"components":{}}`, false, "components", "want a list, not an object"},
		{`{"components":[7]}`, false, "components[0]", "want an object, not this number"},
		{`{"to":true}`, false, "to", "want an object, not true"},
		{`{"at":"yesterday"}`, false, "at", `want a time such as "2026-01-02T15:04:05Z", not this text`},
		{`{"at":7}`, false, "at", `want a time such as`},
		{`[]`, false, "", "want an object, not a list"},
	} {
		var into change
		err := Decode([]byte(c.text), &into)
		var fault *Error
		if !errors.As(err, &fault) || fault.Syntax != c.syntax || fault.Path != c.path || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %+v (%v), want syntax %v at %q with %q", c.text, fault, err, c.syntax, c.path, c.says)
		}
	}
}

func TestObjectIsAnObject(t *testing.T) {
	fields, err := Object([]byte(` {"ref":"r1","g":1.50}`))
	if err != nil || len(fields) != 2 || string(fields["g"]) != "1.50" {
		t.Errorf("%v, %v", fields, err)
	}
	for _, text := range []string{`[]`, `null`, `7`, `"x"`, `true`} {
		if _, err := Object([]byte(text)); err == nil || !strings.HasPrefix(err.Error(), "not a JSON object but ") {
			t.Errorf("%s: %v", text, err)
		}
	}
}

// TestErrorsAreShort: what was sent does not fill the answer, and a value does not come
// back at all, as it may be a secret.
func TestErrorsAreShort(t *testing.T) {
	long := strings.Repeat("x", 5000)
	for _, text := range []string{
		`{"` + long + `":1}`, `{"` + long + `":1,"` + long + `":2}`, `{"` + long + `":{"a":1,"a":2}}`, `{"at":"` + long + `"}`, `{"batch":x` + long + `}`,
	} {
		var into change
		if err := Decode([]byte(text), &into); err == nil || utf8.RuneCountInString(err.Error()) > 300 {
			t.Errorf("%.40s: %v", text, err)
		}
	}
	for _, text := range []string{`{"batch":902817}`, `{"seq":"902817"}`, `{"at":"902817"}`, `{"undo":"902817"}`, `{"batch":["902817"]}`} {
		var into change
		if err := Decode([]byte(text), &into); err == nil || strings.Contains(err.Error(), "9028") {
			t.Errorf("%s: %v", text, err)
		}
	}
}

// FuzzReaders: what is taken means the same to another reader, all functions agree on it,
// and every refusal has its reason.
func FuzzReaders(f *testing.F) {
	for _, text := range []string{
		`{"batch":"0612-1","seq":17,"undo":true,"at":"2026-01-02T15:04:05Z","left_g":1.5,"components":[{"part":"ink","g":60}],"to":{"part":"x"},"counter":9}`,
		`{"batch":"b","batch":"c"}`, `{"a":[1,null,true,"\u00e4"]}`, `[[[[]]]]`, `null`, `-0`, `1e999`, ` {} `, `{}{}`, `{"a":"\ud800"}`, "\xff", ``,
	} {
		f.Add([]byte(text))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		v, err := Value(data)
		var into change
		errs := []error{err, Decode(data, &into)}
		fields, errFields := Object(data)
		for _, err := range append(errs, errFields) {
			var fault *Error
			if err != nil && (!errors.As(err, &fault) || fault.Reason == "" || !utf8.ValidString(err.Error())) {
				t.Fatalf("error %q is no fault with a reason", err)
			}
		}
		if err != nil {
			if errs[1] == nil {
				t.Fatalf("a structure is read from what is refused: %v", err)
			}
			return
		}
		var other any
		if err := json.Unmarshal(data, &other); err != nil || !reflect.DeepEqual(v, other) {
			t.Fatalf("%#v here, %#v to another reader, error %v", v, other, err)
		}
		object, is := v.(map[string]any)
		if is != (errFields == nil) || is && len(object) != len(fields) {
			t.Fatalf("%#v has the fields %v, error %v", v, fields, errFields)
		}
		if errs[1] == nil {
			var again change
			if err := json.Unmarshal(data, &again); err != nil || !reflect.DeepEqual(into, again) {
				t.Fatalf("%+v here, %+v to another reader, error %v", into, again, err)
			}
		}
	})
}
