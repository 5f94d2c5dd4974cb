package request

import (
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"potlifed/model/mix"
)

// TestLimitsHold gives every field of every change of the table a value beyond its limit.
func TestLimitsHold(t *testing.T) {
	tried := 0
	for _, row := range Table() {
		for i := range row.Type.NumField() {
			field := row.Type.Field(i)
			for what, spoil := range beyond(field) {
				v := reflect.New(row.Type).Elem()
				fill(v)
				if err := Check(v.Interface().(Change)); err != nil {
					t.Fatalf("%s: a good change is refused: %v", row.Verb, err)
				}
				target := v.Field(i)
				if target.Kind() == reflect.Pointer {
					target.Set(reflect.New(target.Type().Elem()))
					target = target.Elem()
				}
				spoil(target)
				tried++
				if err := Check(v.Interface().(Change)); err == nil {
					t.Errorf("%s.%s: %s is taken", row.Verb, field.Name, what)
				} else if refused, ok := err.(*Refusal); !ok || refused.Kind != Invalid || len(err.Error()) > 400 {
					t.Errorf("%s.%s: %s: %v", row.Verb, field.Name, what, err)
				}
			}
		}
	}
	if tried < 100 {
		t.Errorf("only %d values were tried", tried)
	}
}

// beyond returns what a field must not hold, by its type and tags.
func beyond(field reflect.StructField) map[string]func(reflect.Value) {
	kind := field.Type
	if kind.Kind() == reflect.Pointer {
		kind = kind.Elem()
	}
	out := map[string]func(reflect.Value){}
	switch kind.Kind() {
	case reflect.String:
		out["a text of 50,000 bytes"] = func(v reflect.Value) { v.SetString(strings.Repeat("x", 50_000)) }
		out["a control character"] = func(v reflect.Value) { v.SetString("a\x00b") }
		out["bytes that are no UTF-8"] = func(v reflect.Value) { v.SetString("a\xffb") }
		if field.Tag.Get("enum") != "" || field.Tag.Get("pattern") != "" {
			out["another word"] = func(v reflect.Value) { v.SetString("No Such Word") }
		}
		if field.Tag.Get("maxLength") == "60" {
			out["61 characters"] = func(v reflect.Value) { v.SetString(strings.Repeat("ä", 61)) }
		}
	case reflect.Float64:
		out["not a number"] = func(v reflect.Value) { v.SetFloat(math.NaN()) }
		out["infinity"] = func(v reflect.Value) { v.SetFloat(math.Inf(1)) }
		if field.Tag.Get("minimum") != "" {
			out["below the minimum"] = func(v reflect.Value) { v.SetFloat(-1e6) }
		}
		if field.Tag.Get("maximum") != "" {
			out["above the maximum"] = func(v reflect.Value) { v.SetFloat(1e6) }
		}
	}
	return out
}

// fill sets the fields that may not be left out to good values.
func fill(v reflect.Value) {
	for i := range v.NumField() {
		field := v.Type().Field(i)
		if strings.Contains(field.Tag.Get("json"), "omitempty") {
			continue
		}
		switch target := v.Field(i); target.Kind() {
		case reflect.String:
			word, _, _ := strings.Cut(field.Tag.Get("enum"), ",")
			target.SetString(word)
			if word == "" {
				target.SetString("a")
			}
		case reflect.Float64:
			target.SetFloat(1)
		}
	}
}

func TestCheckTakesWhatIsMeant(t *testing.T) {
	for name, c := range map[string]Change{
		"a lot of 60 characters, two bytes each": MakeCan{Ink: "dial-satin", Lot: strings.Repeat("ä", 60)},
		"a reason of 200 characters":             ShelveAlarm{Alarm: "a", Subject: "b", Until: time.Unix(0, 0), Reason: strings.Repeat("é", 200)},
		"fields left out":                        CloseBatch{Batch: "0612-1", Outcome: "used-up"},
		"components":                             RecordMix{Ink: "dial-satin", Components: []mix.Component{{Part: mix.Ink, G: 70}}},
		"the program's own verdict of an ink": AcceptLearned{Ink: "dial-satin", Verdict: "12 ends, 48 used up in time, 3 left out: this ink lasts 9 % more than its data sheet says, " +
			"90 % interval 3 to 15 (longer than the data sheet somewhere between its ends: shown, not used without an adhesion or rub test); " +
			"humidity share, activation energy, batch-to-batch spread still assumed"},
	} {
		if err := Check(c); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	for name, c := range map[string]Change{
		"101 components":        RecordMix{Ink: "dial-satin", Components: make([]mix.Component, 101)},
		"a can's id too long":   RecordMix{Ink: "dial-satin", Components: []mix.Component{{Part: mix.Ink, G: 1, Can: strings.Repeat("c", 201)}}},
		"an infinite part":      RecordMix{Ink: "dial-satin", Components: []mix.Component{{Part: mix.Ink, G: math.Inf(1)}}},
		"a place of its own":    SplitBatch{Batch: "b", Grams: 1, To: Where{Press: strings.Repeat("p", 201)}},
		"an empty reason":       TakeOutOfService{Sensor: "s", Until: time.Unix(0, 0)},
		"the least mass of ink": StartMix{Ink: "dial-satin", InkG: new(1e-300)},
	} {
		if err := Check(c); err == nil {
			t.Errorf("%s: taken", name)
		}
	}
}

func FuzzCheck(f *testing.F) {
	f.Add("note", "adhesion", 1.0)
	f.Add(strings.Repeat("x", 201), "", math.Inf(-1))
	f.Add("a\xff", "no such", math.NaN())
	f.Fuzz(func(t *testing.T, text, word string, x float64) {
		for _, c := range []Change{
			VerifySensor{Sensor: word, HumidityPct: &x, Note: text}, TestBatch{Batch: text, Kind: word, Result: "pass"},
			ThinBatch{Batch: word, Grams: x, Override: text}, MakeCan{ID: word, Lot: text},
		} {
			err := Check(c)
			if err == nil && (len([]rune(text)) > maxTextCharacters || math.IsInf(x, 0) && c.Verb() == "thin") {
				t.Errorf("%#v is taken", c)
			}
			if err != nil && len(err.Error()) > 1200 {
				t.Errorf("an answer of %d bytes", len(err.Error()))
			}
		}
	})
}
