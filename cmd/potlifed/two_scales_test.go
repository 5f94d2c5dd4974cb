package main

import (
	"context"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/view"
	"potlifed/devices/simulate"
)

// Two scales of different forms on one bench: a mix is weighed on the one that it was started on, whatever lies on the
// other; the one that is lost is named by its alarm, its metrics and its row, and its last weight is never called
// good; and the other goes on.
func TestTwoScales(t *testing.T) {
	t.Parallel()
	b := newHardware(t)
	other, err := simulate.NewScale(simulate.ScaleOptions{Dir: t.TempDir(), Name: "other", Shape: "tare-first", DivisionG: 0.1, Settle: 300 * time.Millisecond})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- other.Run(ctx) }()
	t.Cleanup(func() {
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	file := b.configuration(t, "")
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	two := strings.Replace(string(text), "sensors:\n", "  - {id: scale-2, port: "+other.Port()+", division_g: 0.1, zone: bench}\nsensors:\n", 1)
	if err := os.WriteFile(file, []byte(two), 0o600); err != nil {
		t.Fatal(err)
	}
	p := start(t, file)
	scales := func() (first, second view.Scale) {
		var list struct{ Scales []view.Scale }
		p.get("/api/v1/scales", &list)
		for _, s := range list.Scales {
			if s.ID == "scale-1" {
				first = s
			} else {
				second = s
			}
		}
		return first, second
	}
	shows := func(s view.Scale, g float64) bool {
		return s.WeightG != nil && s.Stable && math.Abs(*s.WeightG-g) < 0.11
	}
	p.eventually("both scales at zero", func() (bool, any) {
		first, second := scales()
		return shows(first, 0) && shows(second, 0), []view.Scale{first, second}
	})
	if _, wrong := p.post("batches", map[string]any{"ink": "dial-satin", "press": "press-1"}); wrong == nil || !strings.Contains(wrong.Detail, "name one of scale-1, scale-2") {
		t.Errorf("a mix without a choice between two scales: %+v", wrong)
	}
	v, wrong := p.post("batches", map[string]any{"scale": "scale-2", "ink": "dial-satin", "press": "press-1"})
	if wrong != nil {
		t.Fatal(wrong)
	}
	pour := func(grams, perSecond float64) {
		t.Helper()
		if err := other.Pour(t.Context(), grams, perSecond); err != nil {
			t.Fatal(err)
		}
	}
	b.scale.Set(300) // something else lies on the first
	other.Set(24)
	p.confirm(v.ID, "cup")
	pour(85, 80)
	b.scale.Set(412)
	p.confirm(v.ID, "ink")
	first, second := scales()
	if first.Batch != "" || second.Batch != v.ID || second.Pouring == nil && second.NotTaken == nil && !shows(second, 109) {
		t.Errorf("the mix is on %+v, not %+v", second, first)
	}
	for _, c := range p.batch(v.ID).Components {
		if c.Part == "ink" && math.Abs(c.G-85) > 0.3 {
			t.Errorf("%v g of ink, want 85", c.G)
		}
	}
	// The second is lost. Its cup is changed meanwhile. On a busy machine the first may have been silent before.
	lost := time.Now()
	if err := other.Unplug(); err != nil {
		t.Fatal(err)
	}
	p.eventually("the alarm of the second scale", func() (bool, any) {
		var list struct{ Alarms []view.Alarm }
		p.get("/api/v1/alarms", &list)
		found := false
		for _, a := range list.Alarms {
			if a.Name != "scale-silent" || a.State == "returned" {
				continue
			}
			found = found || a.Subject == "scale-2"
			if !strings.Contains(a.Text, a.Subject) || a.Subject != "scale-2" && a.Since.After(lost) {
				t.Errorf("alarm %+v", a)
			}
		}
		return found, list
	})
	first, second = scales()
	if !shows(first, 412) || second.Quality != view.QualityBad || second.Stable || !strings.Contains(second.Why, "scale-2") {
		t.Errorf("the first shows %+v, the second %+v", first, second)
	}
	metrics := p.text("/metrics")
	for series, want := range map[string]float64{
		`potlife_scale_up{bench="bench-1",scale="scale-1"}`: 1, `potlife_scale_up{bench="bench-1",scale="scale-2"}`: 0,
		`potlife_scale_weight_grams{bench="bench-1",scale="scale-1"}`: 412,
	} {
		if got := sample(t, metrics, series); math.Abs(got-want) > 0.11 {
			t.Errorf("%s is %v, want %v", series, got, want)
		}
	}
	if strings.Contains(metrics, `potlife_scale_weight_grams{bench="bench-1",scale="scale-2"}`) {
		t.Error("a weight of the lost scale is exported")
	}
	other.Set(3)
	if err := other.Replug(); err != nil {
		t.Fatal(err)
	}
	p.eventually("the second scale again, with what lies on it now", func() (bool, any) {
		_, second := scales()
		if second.Quality != view.QualityBad && math.Abs(*second.WeightG-3) > 0.31 {
			t.Errorf("a weight of before: %v g", *second.WeightG)
		}
		return second.Quality == view.QualityGood && shows(second, 3), second
	})
}
