package web

import (
	"math"
	"net/http"
	"reflect"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/view"
	"potlifed/model/air"
	"potlifed/model/airpath"
	"potlifed/model/cure"
	"potlifed/model/viscosity"
)

// oneLife is a fresh batch of an ink of 6 to 8 hours at 20 °C.
func oneLife(mixedAt time.Time) view.Life {
	ink, err := cure.Sheet{Shortest: 270 * time.Minute, Longest: 330 * time.Minute}.Calibrate()
	if err != nil {
		panic(err)
	}
	c := cure.New(ink, cure.Sensor{}, 0, air.State{TemperatureC: 20, HumidityPct: 50})
	return view.Life{Ensemble: c, Place: cure.Place{Exposure: 1}, MixedAt: mixedAt}
}

func TestWhatIf(t *testing.T) {
	s := newStand()
	h := newServer(t, s).Handler()
	asked := func(query string) map[string]any {
		t.Helper()
		w := answerTo(h, fromHere("GET", "/api/v1/batches/0612-1/what-if"+query, ""))
		if w.Code != http.StatusOK {
			t.Fatalf("%s: status %d: %s", query, w.Code, w.Body)
		}
		return object(t, w)
	}
	expected := func(o map[string]any) time.Time {
		t.Helper()
		at, err := time.Parse(time.RFC3339, o["ends_at"].(map[string]any)["expected"].(string))
		if err != nil {
			t.Fatal(err)
		}
		return at
	}
	as, dry := asked(""), asked("?dehumidifier_pct=30")
	if !expected(dry).After(expected(as)) {
		t.Errorf("with a dehumidifier at 30 %% it ends at %v, without at %v", expected(dry), expected(as))
	}
	if got := dry["humidity_pct"].(float64); got != 30 {
		t.Errorf("the air is taken to be at %v %%", got)
	}
	for query, status := range map[string]int{
		"/api/v1/batches/0612-9/what-if":                     404,
		"/api/v1/batches/0612-1/what-if?zone=attic":          404,
		"/api/v1/batches/0612-1/what-if?dehumidifier_pct=-1": 422,
		"/api/v1/batches/0612-1/what-if?dehumidifier_pct=x":  422,
	} {
		isProblem(t, answerTo(h, fromHere("GET", query, "")), status)
	}
}

// The band of an open batch is explained by its parts, which have names, and by one advice.
func TestBand(t *testing.T) {
	s := newStand()
	h := newServer(t, s).Handler()
	asked := func() map[string]any {
		t.Helper()
		w := answerTo(h, fromHere("GET", "/api/v1/batches/0612-1/band", ""))
		if w.Code != http.StatusOK {
			t.Fatalf("status %d: %s", w.Code, w.Body)
		}
		return object(t, w)
	}
	// No sensor of its zone: the air to come matters most, and the answer says so.
	if got := asked(); !strings.Contains(got["advice"].(string), "sensor") {
		t.Errorf("the zone was never measured: %q", got["advice"])
	}
	s.show(func(snap *view.Snapshot) {
		at, measured := snap.At, air.State{TemperatureC: 20, HumidityPct: 50}
		snap.Outlooks = map[string]airpath.Outlook{}
		for _, zone := range snap.Air {
			snap.Outlooks[zone.Zone] = airpath.Outlook{Closed: airpath.Closed{Until: at, Air: measured, ReadAt: at}, StaleAfter: time.Hour, Read: true}
		}
	})
	got := asked()
	parts, names := got["parts"].([]any), got["names"].([]any)
	if len(parts) < 3 || len(names) != len(parts) {
		t.Fatalf("parts %v, names %v", parts, names)
	}
	sum := 0.0
	for _, p := range parts {
		sum += p.(map[string]any)["share"].(float64)
	}
	if math.Abs(sum-1) > 1e-5 {
		t.Errorf("the shares add up to %v", sum)
	}
	if by := got["narrowings"].([]any)[0].(map[string]any)["by"]; by != cure.NarrowFlowTimes || !strings.Contains(got["advice"].(string), "flow cup") {
		t.Errorf("nobody has measured it: %v, advice %q", by, got["advice"])
	}

	// Two runs that agree are believed; one run alone, and one that contradicts the age, are named with the reason.
	life := s.Snapshot().Lives["0612-1"]
	c := life.Ensemble.Clone()
	for seq, runs := range [][]float64{{4.7, 4.71}, {4.72}, {9, 9.01}} {
		of := viscosity.Sample{LnRuns: runs, RunSpread: 0.018, CommonSpread: 0.035, TemperatureC: 20}
		if err := c.Hear(uint64(seq+1), viscosity.Assumed(), of); err != nil {
			t.Fatal(err)
		}
	}
	s.show(func(snap *view.Snapshot) {
		life.Ensemble = c
		snap.Lives = map[string]view.Life{"0612-1": life}
	})
	got = asked()
	why := []string{}
	for _, f := range got["flow_times"].([]any) {
		text, _ := f.(map[string]any)["why"].(string)
		why = append(why, text)
	}
	if len(why) != 3 || why[0] != "" || !strings.Contains(why[1], "second run") || !strings.Contains(why[2], "wrong") {
		t.Errorf("%q", why)
	}
	if strings.Contains(got["advice"].(string), "flow cup") {
		t.Errorf("measured already: %q", got["advice"])
	}
	isProblem(t, answerTo(h, fromHere("GET", "/api/v1/batches/0612-9/band", "")), http.StatusNotFound)
}

// Every part and every advice has words.
func TestWordsOfABand(t *testing.T) {
	locale := newServer(t, newStand()).settings.Locale
	for _, key := range []string{"band-part.", "band-advice."} {
		of := reflect.TypeFor[cure.Part]()
		if key == "band-advice." {
			of = reflect.TypeFor[cure.Narrowing]()
		}
		for _, word := range strings.Split(of.Field(0).Tag.Get("enum"), ",") {
			if text := locale.Say(key+word, "pct", "20 %"); text == "" || strings.Contains(text, key) {
				t.Errorf("%s%s: %q", key, word, text)
			}
		}
	}
}
