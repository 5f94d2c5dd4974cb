package web

import (
	"encoding/json"
	"net/http"
	"regexp"
	"strings"
	"testing"
	"time"

	"potlifed/model/air"
	"potlifed/model/cure"
)

// decimalsOf is how many decimals a figure that is made here may have, by its name.
func decimalsOf(name string) int {
	switch {
	case name == "grams_per_print": // as it was asked for
		return 3
	case name == "value" || name == "se" || name == "interval_90": // of a share, the finest of them
		return 6
	case strings.HasSuffix(name, "_h"):
		return 4
	case strings.HasSuffix(name, "_g") || strings.HasSuffix(name, "_c") || strings.HasSuffix(name, "_pct") || name == "vapour_density_g_m3":
		return 2
	}
	return 0 // a count
}

// TestFiguresMadeHereAreRounded asks for everything whose figures are not those of the
// snapshot, of air that is known to all digits.
func TestFiguresMadeHereAreRounded(t *testing.T) {
	s := newStand()
	s.steps = []cure.PastStep{{Start: at.Add(-10 * time.Minute), Step: cure.Step{
		Duration: 7 * time.Minute, Kind: cure.Measured,
		From: air.State{TemperatureC: 20.123456, HumidityPct: 47.654321}, To: air.State{TemperatureC: 21.98765, HumidityPct: 50.555555},
	}}}
	s.now.Air[0].Measured = &air.State{TemperatureC: 22.0 + 1.0/3, HumidityPct: 200.0 / 3}
	h := newServer(t, s).Handler()
	for _, query := range []string{
		"history/air?zone=bench", "history/air?zone=bench&step=1m",
		"plan?ink=dial-satin&press=press-1&prints_per_hour=307&prints=3001&grams_per_print=0.123&residue_g=1.777",
		"inks/dial-satin/learning", "batches/0612-1/what-if", "batches/0612-1/what-if?dehumidifier_pct=33.3333",
	} {
		w := answerTo(h, fromHere("GET", "/api/v1/"+query, ""))
		if w.Code != http.StatusOK {
			t.Fatalf("%s: status %d: %s", query, w.Code, w.Body)
		}
		d := json.NewDecoder(w.Body)
		d.UseNumber()
		var v any
		if err := d.Decode(&v); err != nil {
			t.Fatal(err)
		}
		fractions := 0
		var walk func(name string, v any)
		walk = func(name string, v any) {
			switch v := v.(type) {
			case map[string]any:
				for key, value := range v {
					walk(key, value)
				}
			case []any:
				for _, value := range v {
					walk(name, value)
				}
			case json.Number:
				_, decimals, fraction := strings.Cut(v.String(), ".")
				if fraction {
					fractions++
				}
				if len(decimals) > decimalsOf(name) || strings.ContainsAny(v.String(), "eE") {
					t.Errorf("%s: %s is %s", query, name, v)
				}
			}
		}
		walk("", v)
		if fractions == 0 {
			t.Errorf("%s has no figure with decimals; this test says nothing of it", query)
		}
	}
	w := answerTo(h, fromHere("GET", "/api/v1/history/air?zone=bench&step=1m&format=csv", ""))
	if long := regexp.MustCompile(`,-?\d+\.\d{3,}`).FindString(w.Body.String()); long != "" || !strings.Contains(w.Body.String(), ".") {
		t.Errorf("the CSV has the figure %q:\n%s", long, w.Body)
	}
}

// What is computed of the air is computed of all its digits.
func TestWhatIfGoesByTheMeasuredAir(t *testing.T) {
	s := newStand()
	h := newServer(t, s).Handler()
	measured := air.State{TemperatureC: 22.004, HumidityPct: 55.004}
	s.now.Air[0].Measured = &measured
	w := answerTo(h, fromHere("GET", "/api/v1/batches/0612-1/what-if", ""))
	var got whatIf
	if err := json.Unmarshal(w.Body.Bytes(), &got); err != nil {
		t.Fatal(err)
	}
	life := s.now.Lives["0612-1"]
	want, rounded := life.In(measured), life.In(air.State{TemperatureC: got.TemperatureC, HumidityPct: got.HumidityPct})
	if got.EndsAt != want || want == rounded || got.TemperatureC != 22 {
		t.Errorf("at %v °C it ends at %+v, want %+v by the measured %v °C (%+v by the rounded)", got.TemperatureC, got.EndsAt, want, measured.TemperatureC, rounded)
	}
}
