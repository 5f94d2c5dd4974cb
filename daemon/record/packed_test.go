package record

import (
	"encoding/json"
	"math"
	"reflect"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"potlifed/model/air"
	"potlifed/model/cure"
)

var exported = cmp.Exporter(func(reflect.Type) bool { return true })

// comesBack checks that a body is stored, and comes back as it comes back from JSON, from which the state of
// a replay was made so far.
func comesBack(t interface {
	Helper()
	Fatalf(string, ...any)
}, b Body) (stored []byte) {
	t.Helper()
	stored, err := Record{Body: b}.Stored()
	if err != nil {
		t.Fatalf("%+v: %v", b, err)
	}
	got, err := DecodeBody(b.Kind(), stored)
	if err != nil {
		t.Fatalf("%+v: %v", b, err)
	}
	text, err := json.Marshal(b)
	if err != nil {
		t.Fatalf("%v", err)
	}
	want, err := DecodeBody(b.Kind(), text)
	if err != nil {
		t.Fatalf("%v", err)
	}
	if d := cmp.Diff(want, got, exported); d != "" {
		t.Fatalf("came back changed:\n%s", d)
	}
	return stored
}

func TestEveryBodyIsStored(t *testing.T) {
	for _, b := range everyBody(t) {
		comesBack(t, b)
	}
}

// TestPackedBodies: whatever is in a step of air or in a report comes back, to the last digit.
func TestPackedBodies(t *testing.T) {
	figure := rapid.OneOf(rapid.SampledFrom([]float64{0, math.Copysign(0, -1), 20, 21.25, math.SmallestNonzeroFloat64, math.MaxFloat64}), rapid.Float64Range(-60, 120))
	moment := rapid.Custom(func(t *rapid.T) time.Time {
		at := time.Unix(rapid.Int64Range(-1, 4e9).Draw(t, "s"), rapid.Int64Range(0, 999_999_999).Draw(t, "ns")).UTC()
		return rapid.SampledFrom([]time.Time{at, {}, at.In(time.FixedZone("", 7200)), at.AddDate(400, 0, 0)}).Draw(t, "time")
	})
	text := rapid.StringN(0, 12, -1)
	state := func(t *rapid.T) air.State {
		return air.State{TemperatureC: figure.Draw(t, "°C"), HumidityPct: figure.Draw(t, "%")}
	}
	rapid.Check(t, func(t *rapid.T) {
		long := rapid.Int64()
		e := AirStep{Zone: text.Draw(t, "zone"), Start: moment.Draw(t, "start"), After: state(t), ReadAt: moment.Draw(t, "read"), Step: cure.Step{
			Duration: time.Duration(long.Draw(t, "duration")), From: state(t), To: state(t), Kind: rapid.SampledFrom(append(stepKinds, "", "other")).Draw(t, "kind"),
			Held: time.Duration(long.Draw(t, "held")), Worst: state(t), DriftK: figure.Draw(t, "K"), DriftPct: figure.Draw(t, "drift %"), Uncertain: rapid.Bool().Draw(t, "uncertain"),
		}}
		if rapid.Bool().Draw(t, "the same air") {
			e.Step.To, e.After = e.Step.From, e.Step.From
		}
		comesBack(t, e)
		known := func() *float64 { return rapid.Ptr(figure, true).Draw(t, "known") }
		c := Counted{Press: text.Draw(t, "press"), Defect: text.Draw(t, "defect"), Batch: text.Draw(t, "batch"), Add: long.Draw(t, "add"),
			Counter: rapid.Ptr(rapid.Uint64(), true).Draw(t, "counter"), Minute: moment.Draw(t, "minute"), Day: text.Draw(t, "day"), Late: rapid.Bool().Draw(t, "late")}
		if rapid.Bool().Draw(t, "first") {
			c.Conditions = &Conditions{Ink: text.Draw(t, "ink"), Spent: known(), LifeQuality: text.Draw(t, "life"), ThinnerPct: known(), RatioOffPct: known(),
				Zone: text.Draw(t, "zone"), TemperatureC: known(), HumidityPct: known(), VapourDensity: known(), AirQuality: text.Draw(t, "air")}
			if rapid.Bool().Draw(t, "aged") {
				c.Conditions.Age = new(time.Duration(long.Draw(t, "age")))
			}
		}
		comesBack(t, c)
	})
}

// TestPackedBodiesAreShort: a step of a usual minute takes less than a quarter of its JSON.
func TestPackedBodiesAreShort(t *testing.T) {
	at := time.Date(2026, 6, 12, 8, 0, 0, 123_456_789, time.UTC)
	a, b := air.State{TemperatureC: 21.346666666666664, HumidityPct: 48.21133333333333}, air.State{TemperatureC: 21.351, HumidityPct: 48.187}
	e := AirStep{Zone: "hall", Start: at, Step: cure.Step{Duration: time.Minute, From: a, To: b, Kind: cure.Measured}, After: b, ReadAt: at.Add(57 * time.Second)}
	text, err := json.Marshal(e)
	if err != nil {
		t.Fatal(err)
	}
	if n := len(comesBack(t, e)); n > len(text)/4 {
		t.Errorf("%d bytes, %d as JSON", n, len(text))
	}
}

// TestAnInfiniteFigureIsRefused: what has no value is an error, packed or not.
func TestAnInfiniteFigureIsRefused(t *testing.T) {
	for _, b := range []Body{
		AirStep{Step: cure.Step{Kind: cure.Measured, From: air.State{TemperatureC: math.Inf(1)}}}, AirStep{Step: cure.Step{Kind: cure.Measured, DriftK: math.NaN()}},
		Counted{Conditions: &Conditions{Spent: new(math.Inf(-1))}},
	} {
		if stored, err := (Record{Body: b}).Stored(); err == nil {
			t.Errorf("%+v is stored as %x", b, stored)
		}
	}
}

// FuzzPackedBodies: damaged bytes are an error or a body, which can be stored again; nothing panics.
func FuzzPackedBodies(f *testing.F) {
	for _, b := range everyBody(f) {
		if stored, err := (Record{Body: b}).Stored(); err == nil && stored[0] == packedBodies {
			f.Add(b.Kind() == KindAirStep, stored[1:])
			f.Add(b.Kind() != KindAirStep, stored[1:len(stored)-1])
		}
	}
	f.Fuzz(func(t *testing.T, step bool, stored []byte) {
		kind := KindCounted
		if step {
			kind = KindAirStep
		}
		if b, err := DecodeBody(kind, append([]byte{packedBodies}, stored...)); err == nil {
			again, err := Record{Body: b}.Stored()
			if err != nil {
				t.Fatal(err)
			}
			if same, err := DecodeBody(kind, again); err != nil || !cmp.Equal(b, same, exported) {
				t.Fatalf("%+v %v: %s", b, err, cmp.Diff(b, same, exported))
			}
		}
	})
}
