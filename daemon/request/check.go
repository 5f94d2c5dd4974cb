package request

import (
	"fmt"
	"math"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

const (
	// maxTextCharacters bounds a text that has no limit of its own.
	maxTextCharacters = 200
	// maxItems bounds a list that has no limit of its own.
	maxItems = 100
)

// Check returns a [*Refusal] when a field of a change is outside its limits: a text that is
// too long, too short or not printable, a word that is not in its list, a number outside
// its range. The limits are the tags of the fields: maxLength and minLength in characters,
// enum, pattern, minimum, maximum and maxItems. The description of the API is made from the
// same tags. A field that was left out passes.
//
// Every change is checked here, over HTTP, over MQTT and from the program itself.
func Check(c Change) error {
	if err := checkStruct("", reflect.ValueOf(c)); err != nil {
		return Refuse(Invalid, "not like this", "%v", err)
	}
	return nil
}

func checkStruct(path string, v reflect.Value) error {
	for i := range v.NumField() {
		field := v.Type().Field(i)
		name, _, _ := strings.Cut(field.Tag.Get("json"), ",")
		if name == "" {
			name = field.Name
		}
		if path != "" {
			name = path + "." + name
		}
		if err := checkValue(name, field.Tag, v.Field(i)); err != nil {
			return err
		}
	}
	return nil
}

func checkValue(name string, tag reflect.StructTag, v reflect.Value) error {
	switch v.Kind() {
	case reflect.Pointer:
		if v.IsNil() {
			return nil
		}
		return checkValue(name, tag, v.Elem())
	case reflect.String:
		return checkText(name, tag, v.String())
	case reflect.Float64:
		return checkNumber(name, tag, v.Float())
	case reflect.Slice:
		if most := limit(tag, "maxItems", maxItems); v.Len() > most {
			return fmt.Errorf("%s has %d entries; want at most %d", name, v.Len(), most)
		}
		for i := range v.Len() {
			if err := checkValue(fmt.Sprintf("%s[%d]", name, i), "", v.Index(i)); err != nil {
				return err
			}
		}
	case reflect.Struct:
		if v.Type().PkgPath() != "time" {
			return checkStruct(name, v)
		}
	}
	return nil
}

func checkText(name string, tag reflect.StructTag, text string) error {
	given := utf8.RuneCountInString(text)
	optional := strings.Contains(tag.Get("json"), "omitempty")
	switch {
	case text == "" && optional:
		return nil
	case !utf8.ValidString(text):
		return fmt.Errorf("%s is not valid UTF-8 text", name)
	case given > limit(tag, "maxLength", maxTextCharacters):
		return fmt.Errorf("%s has %d characters; want at most %d", name, given, limit(tag, "maxLength", maxTextCharacters))
	case given < limit(tag, "minLength", 0):
		return fmt.Errorf("%s is empty; want a text", name)
	case strings.ContainsFunc(text, unicode.IsControl):
		return fmt.Errorf("%s has control characters; want text on one line", name)
	}
	if words := tag.Get("enum"); words != "" && !slices.Contains(strings.Split(words, ","), text) {
		return fmt.Errorf("%s is %.80q; want one of %s", name, text, strings.ReplaceAll(words, ",", ", "))
	}
	if pattern := tag.Get("pattern"); pattern != "" && !regexp.MustCompile(pattern).MatchString(text) {
		return fmt.Errorf("%s is %.80q; want the form %s", name, text, pattern)
	}
	return nil
}

func checkNumber(name string, tag reflect.StructTag, x float64) error {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return fmt.Errorf("%s is no finite number", name)
	}
	if least, ok := number(tag, "minimum"); ok && x < least {
		return fmt.Errorf("%s is %v; want at least %v", name, x, least)
	}
	if most, ok := number(tag, "maximum"); ok && x > most {
		return fmt.Errorf("%s is %v; want at most %v", name, x, most)
	}
	return nil
}

// limit returns the number in a tag, or otherwise when the tag has none.
func limit(tag reflect.StructTag, key string, otherwise int) int {
	if n, err := strconv.Atoi(tag.Get(key)); err == nil {
		return n
	}
	return otherwise
}

func number(tag reflect.StructTag, key string) (float64, bool) {
	x, err := strconv.ParseFloat(tag.Get(key), 64)
	return x, err == nil
}
