package web

import (
	"net/http"
	"testing"
	"time"

	"potlifed/daemon/view"
	"potlifed/model/air"
	"potlifed/model/cure"
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
