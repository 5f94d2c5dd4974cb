package request

import (
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// TestTable checks what HTTP, MQTT and the rights rely on in every row.
func TestTable(t *testing.T) {
	verbs := map[string]bool{}
	inBraces := regexp.MustCompile(`\{\w+\}`)
	for _, r := range Table() {
		if r.Verb == "" || verbs[r.Verb] {
			t.Errorf("verb %q is empty or stands twice", r.Verb)
		}
		verbs[r.Verb] = true
		if !slices.Contains(Rights(), r.Right) {
			t.Errorf("%s: %q is no right", r.Verb, r.Right)
		}
		if got, ok := Find(r.Verb); !ok || got.Type != r.Type {
			t.Errorf("%s: found %v", r.Verb, got.Type)
		}
		if Needs(r.Verb) != r.Right {
			t.Errorf("%s needs %s, want %s", r.Verb, Needs(r.Verb), r.Right)
		}
		if r.Summary == "" || strings.HasPrefix(r.Path, "/") || strings.HasSuffix(r.Path, "/") {
			t.Errorf("%s: path %q, summary %q", r.Verb, r.Path, r.Summary)
		}
		if n := len(inBraces.FindAllString(r.Path, -1)); len(r.About) > 0 && n != len(r.About) {
			t.Errorf("%s: %d parts of %s in braces, but it is about %v", r.Verb, n, r.Path, r.About)
		}
		_, change := r.New()
		if got := change(); got.Verb() != r.Verb || reflect.TypeOf(got) != r.Type {
			t.Errorf("%s: an empty change is a %T with verb %s", r.Verb, got, got.Verb())
		}
		if !r.MQTT {
			continue
		}
		for _, field := range r.About {
			if !slices.Contains(jsonNames(r.Type), field) {
				t.Errorf("%s: about %q, which is no field of %s", r.Verb, field, r.Type)
			}
		}
	}
	if _, ok := Find("no-such-verb"); ok || Needs("no-such-verb") != RightConfigure || Needs("") != RightConfigure {
		t.Error("a verb that is not in the table does not need the highest right")
	}
}

func jsonNames(t reflect.Type) (names []string) {
	for i := range t.NumField() {
		name, _, _ := strings.Cut(t.Field(i).Tag.Get("json"), ",")
		names = append(names, name)
	}
	return names
}

func TestWith(t *testing.T) {
	r, _ := Find("shelve")
	got := r.With(ShelveAlarm{Reason: "being moved"}, "sensor-stale", "hall-air")
	if want := (ShelveAlarm{Alarm: "sensor-stale", Subject: "hall-air", Reason: "being moved"}); got != want {
		t.Errorf("got %+v, want %+v", got, want)
	}
}

func TestRequired(t *testing.T) {
	for verb, want := range map[string][]string{
		"load": {"batch", "press"}, "split": {"batch", "grams", "to"}, "stirred": {"can"}, "mix": {"ink"}, "cans": nil,
		"record": {"ink", "mixed_at", "components"},
	} {
		r, _ := Find(verb)
		if got := r.Required(); !slices.Equal(got, want) {
			t.Errorf("%s requires %v, want %v", verb, got, want)
		}
	}
}
