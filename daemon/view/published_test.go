package view_test

import (
	"encoding/json"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"potlifed/daemon/record"
	"potlifed/daemon/view"
	"potlifed/model/alarm"
	"potlifed/model/mix"
)

// kinds are the kinds of event.
func kinds() []record.Kind {
	return slices.DeleteFunc(record.Kinds(), func(k record.Kind) bool { return !k.IsEvent() })
}

// full fills everything that a value has room for: numbers from the given one, lists and
// maps with one entry.
func full(v reflect.Value, number float64) {
	switch v.Interface().(type) {
	case time.Time:
		v.Set(reflect.ValueOf(time.Date(2026, 3, 9, 7, 0, 0, 0, time.UTC)))
		return
	case mix.Ratio:
		v.Set(reflect.ValueOf(mix.Ratio(4)))
		return
	case map[string]alarm.Priority:
		v.Set(reflect.ValueOf(map[string]alarm.Priority{"sensor-stale": alarm.Medium}))
		return
	}
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			full(v.Field(i), number)
		}
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		full(v.Elem(), number)
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 1, 1))
		full(v.Index(0), number)
	case reflect.Map:
		v.Set(reflect.MakeMap(v.Type()))
		key, value := reflect.New(v.Type().Key()).Elem(), reflect.New(v.Type().Elem()).Elem()
		full(key, number)
		full(value, number)
		v.SetMapIndex(key, value)
	case reflect.String:
		v.SetString("a-name")
	case reflect.Bool:
		v.SetBool(true)
	case reflect.Float64:
		v.SetFloat(number)
	case reflect.Int, reflect.Int64:
		v.SetInt(int64(number*1e9) + 7)
	case reflect.Uint64:
		v.SetUint(uint64(math.Abs(number)*1e9) + 7)
	}
}

// stored returns a full body of a kind and its stored JSON.
func stored(t interface{ Fatal(...any) }, kind record.Kind, number float64) (record.Body, []byte) {
	zero, err := record.DecodeBody(kind, []byte("{}"))
	if err != nil {
		t.Fatal(err)
	}
	body := reflect.New(reflect.TypeOf(zero)).Elem()
	full(body, number)
	text, err := json.Marshal(body.Interface())
	if err != nil {
		t.Fatal(err)
	}
	return body.Interface().(record.Body), text
}

// fields lists the JSON fields of a type with their paths and types.
func fields(of reflect.Type, path string, each func(path string, of reflect.Type)) {
	switch {
	case of == reflect.TypeFor[mix.Ratio](): // written as text
	case of == reflect.TypeFor[time.Time]() || of == reflect.TypeFor[time.Duration]():
		each(path, of)
	case of.Kind() == reflect.Struct:
		for i := range of.NumField() {
			f := of.Field(i)
			name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
			switch {
			case name == "-" || !f.IsExported():
			case name == "" && f.Anonymous:
				fields(f.Type, path, each)
			case name == "":
				fields(f.Type, path+"."+f.Name, each)
			default:
				fields(f.Type, path+"."+name, each)
			}
		}
	case of.Kind() == reflect.Pointer || of.Kind() == reflect.Slice:
		fields(of.Elem(), path, each)
	case of.Kind() == reflect.Map:
		fields(of.Elem(), path+".*", each)
	default:
		each(path, of)
	}
}

// TestNoNanosecondsAndNoGoNamesArePublished publishes a full event of each kind.
func TestNoNanosecondsAndNoGoNamesArePublished(t *testing.T) {
	for _, kind := range kinds() {
		_, body := stored(t, kind, 1.23456789)
		e, err := view.WireEvent(view.Source{Bench: "bench-1", Journal: "j1"}, 7, time.Unix(0, 0), string(kind), "anna", body)
		if err != nil {
			t.Errorf("%s: %v", kind, err)
			continue
		}
		var v map[string]any
		if err := json.Unmarshal(e.JSON, &v); err != nil {
			t.Errorf("%s: %s: %v", kind, e.JSON, err)
			continue
		}
		names(v, func(name string) {
			if strings.HasSuffix(name, "_ns") || name != strings.ToLower(name) {
				t.Errorf("%s: field %q is published", kind, name)
			}
		})
	}
}

func names(v any, each func(string)) {
	switch v := v.(type) {
	case map[string]any:
		for name, value := range v {
			each(name)
			names(value, each)
		}
	case []any:
		for _, value := range v {
			names(value, each)
		}
	}
}

// TestCountsKeepTheirDigits: a field that is a whole number is published as it is stored,
// and every other number is rounded.
func TestCountsKeepTheirDigits(t *testing.T) {
	const number = 1234.567890123
	for _, kind := range kinds() {
		zero, err := record.DecodeBody(kind, []byte("{}"))
		if err != nil {
			t.Fatal(err)
		}
		_, body := stored(t, kind, number)
		e, err := view.WireEvent(view.Source{Bench: "bench-1", Journal: "j1"}, 7, time.Unix(0, 0), string(kind), "anna", body)
		if err != nil {
			t.Fatal(err)
		}
		fields(reflect.TypeOf(zero), "", func(path string, of reflect.Type) {
			name := path[strings.LastIndex(path, ".")+1:]
			whole := of.Kind() == reflect.Int || of.Kind() == reflect.Uint64
			if whole && !strings.Contains(string(e.JSON), `"`+name+`":1234567890130`) {
				t.Errorf("%s: the count %s is published rounded: %s", kind, path, e.JSON)
			}
			if of.Kind() == reflect.Float64 && name != "division_g" && strings.Contains(string(e.JSON), `"`+name+`":1234.567890123`) {
				t.Errorf("%s: the figure %s is published with all digits: %s", kind, path, e.JSON)
			}
		})
	}
}

func TestDurationsArePublishedInSeconds(t *testing.T) {
	for _, c := range []struct {
		body record.Body
		want string
	}{
		{record.Started{Instance: "i", Version: "v", Gap: 90*time.Second + 40*time.Millisecond, GapKnown: true, Shift: -time.Hour},
			`"instance":"i","version":"v","gap_s":90,"gap_known":true,"shift_s":-3600,"countable":false`},
		{record.ClockChanged{Step: 7*time.Second + 160*time.Millisecond, Synced: true}, `"step_s":7.2,"synced":true`},
		{record.Loaded{Batch: "b", Press: "p", Zone: "z"}, `"batch":"b","press":"p","zone":"z","place":{"exposure":0,"lag_s":0}`},
	} {
		body, err := json.Marshal(c.body)
		if err != nil {
			t.Fatal(err)
		}
		e, err := view.WireEvent(view.Source{Bench: "bench-1", Journal: "j1"}, 7, time.Date(2026, 6, 12, 12, 0, 0, 0, time.UTC), string(c.body.Kind()), "bench", body)
		want := `{"time":"2026-06-12T12:00:00Z","seq":7,"bench":"bench-1","journal":"j1","kind":"` + string(c.body.Kind()) + `","by":"bench",` + c.want + `}`
		if err != nil || string(e.JSON) != want {
			t.Errorf("published\n%s (%v), want\n%s", e.JSON, err, want)
		}
	}
}

// Masses are rounded by the scale that the event names, and to 0.01 g without one.
func TestMassesAreRoundedByTheirScale(t *testing.T) {
	for body, want := range map[string]string{
		`{"added_g":1.23456,"mix":{"recipe":{"division_g":0.05},"pours":[{"g":2.34567,"base_g":-0}]}}`:               `"added_g":1.235,"mix":{"recipe":{"division_g":0.05},"pours":[{"g":2.345,"base_g":0}]}`,
		`{"added_g":1.23456,"mix":{"recipe":{"division_g":1}}}`:                                                      `"added_g":1.2,"mix":{"recipe":{"division_g":1}}`,
		`{"mix":{"recipe":{"division_g":1},"by_hand":true,"pours":[{"g":2.34567}]}}`:                                 `"mix":{"recipe":{"division_g":1},"by_hand":true,"pours":[{"g":2.35}]}`,
		`{"left_g":22.200000000000003}`:                                                                              `"left_g":22.2`,
		`{"basis":{"solvent":{"thinner":{"VapourPressurePa":420.123,"MolarMassG":100.2},"mouth_mm":70}}}`:            `"basis":{"solvent":{"thinner":{"vapour_pressure_pa":420.12,"molar_mass_g":100.2},"mouth_mm":70}}`,
		`{"life":{"l_ref_h":6.123456789,"moisture_share":0.123456789,"activation_kj_mol":50.129,"sigma":0.1500004}}`: `"life":{"l_ref_h":6.1235,"moisture_share":0.123457,"activation_kj_mol":50.13,"sigma":0.15}`,
		`{"read":{"temperature_c":20.123,"humidity_pct":49.876},"note":"say \"1.234\": \\ ü","undo":true,"at":null}`: `"read":{"temperature_c":20.12,"humidity_pct":49.88},"note":"say \"1.234\": \\ ü","undo":true,"at":null`,
	} {
		e, err := view.WireEvent(view.Source{Bench: "bench-1", Journal: "j1"}, 7, time.Date(2026, 6, 12, 12, 0, 0, 0, time.UTC), "k", "bench", []byte(body))
		whole := `{"time":"2026-06-12T12:00:00Z","seq":7,"bench":"bench-1","journal":"j1","kind":"k","by":"bench",` + want + `}`
		if err != nil || string(e.JSON) != whole {
			t.Errorf("published\n%s (%v), want\n%s", e.JSON, err, whole)
		}
	}
}

// TestPublishingChangesNothingElse: whatever the figures are, the published event is valid
// JSON with the same structure, and each figure is within half a step of the stored one.
func TestPublishingChangesNothingElse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		kind := rapid.SampledFrom(kinds()).Draw(t, "kind")
		number := rapid.Float64Range(-1e5, 1e5).Draw(t, "number")
		_, body := stored(t, kind, number)
		e, err := view.WireEvent(view.Source{Bench: "bench-1", Journal: "j1"}, 7, time.Unix(0, 0), string(kind), "anna", body)
		if err != nil {
			t.Fatal(err)
		}
		var was, is map[string]any
		if err := json.Unmarshal(body, &was); err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal(e.JSON, &is); err != nil {
			t.Fatalf("%s: %v", e.JSON, err)
		}
		if kind, ok := was["kind"]; ok {
			t.Fatalf("a body has a field kind of its own: %v", kind)
		}
		for _, head := range []string{"time", "seq", "bench", "journal", "kind", "by"} {
			delete(is, head)
		}
		sameStructure(t, string(kind), was, is)
	})
}

func sameStructure(t *rapid.T, path string, was, is any) {
	switch w := was.(type) {
	case map[string]any:
		i, ok := is.(map[string]any)
		if !ok || len(i) != len(w) {
			t.Fatalf("%s: %v became %v", path, was, is)
		}
		for name, v := range w {
			other, scale := name, 1.0
			switch {
			case strings.HasSuffix(name, "_ns"):
				other, scale = strings.TrimSuffix(name, "_ns")+"_s", 1e-9
			case name == "VapourPressurePa":
				other = "vapour_pressure_pa"
			case name == "MolarMassG":
				other = "molar_mass_g"
			}
			if x, number := v.(float64); number {
				v = x * scale
			}
			sameStructure(t, path+"."+name, v, i[other])
		}
	case []any:
		i, ok := is.([]any)
		if !ok || len(i) != len(w) {
			t.Fatalf("%s: %v became %v", path, was, is)
		}
		for n := range w {
			sameStructure(t, path, w[n], i[n])
		}
	case float64:
		// The largest step is that of a mass by a scale of 1e5 g.
		if i, ok := is.(float64); !ok || math.Abs(i-w) > max(0.051, math.Abs(w)/20*1.001) {
			t.Fatalf("%s: %v became %v", path, was, is)
		}
	default:
		if was != is {
			t.Fatalf("%s: %v became %v", path, was, is)
		}
	}
}

// FuzzPublished gives the publisher bytes that no journal has.
func FuzzPublished(f *testing.F) {
	for _, body := range []string{`{}`, `{ }`, ` { "gap_ns" : 1 } `, `{"gap_ns":1}`, `{"a":[1,{"b_g":2.5e300}]}`, `{"a":`, `[1]`, `{} {}`, `{"g":1e999}`, `{"a":[}`, "{\"\xff\":1}"} {
		f.Add([]byte(body))
	}
	f.Fuzz(func(t *testing.T, body []byte) {
		e, err := view.WireEvent(view.Source{Bench: "bench-1", Journal: "j1"}, 7, time.Unix(0, 0), "k", "bench", body)
		if err == nil && !json.Valid(e.JSON) {
			t.Errorf("%q is published as %q, which is no JSON", body, e.JSON)
		}
	})
}

// BenchmarkPublished publishes the largest kind of event, of which each batch has a few.
// Budget on a Pi: 200 µs.
func BenchmarkPublished(b *testing.B) {
	_, body := stored(b, record.KindMixStarted, 12.3456789)
	for b.Loop() {
		if _, err := view.WireEvent(view.Source{Bench: "bench-1", Journal: "j1"}, 7, time.Unix(0, 0), "mix-started", "anna", body); err != nil {
			b.Fatal(err)
		}
	}
}
