package main

import (
	"testing"
	"time"

	"potlifed/daemon/view"
)

// TestAWholeMixByThePrintKey: nobody touches the page; the scale's own key, a line on a
// pseudo-terminal among those of the stream, confirms each step.
func TestAWholeMixByThePrintKey(t *testing.T) {
	t.Parallel()
	b := newHardware(t)
	p := start(t, b.configuration(t, ""))
	scaleRow := func() view.Scale {
		var list struct{ Scales []view.Scale }
		p.get("/api/v1/scales", &list)
		return list.Scales[0]
	}
	v, wrong := p.post("batches", map[string]any{"ink": "dial-satin", "press": "press-1"})
	if wrong != nil {
		t.Fatal(wrong)
	}
	press := func(next string, grams float64) {
		t.Helper()
		p.eventually("the weight at rest", func() (bool, any) {
			s := scaleRow()
			return s.Stable && s.WeightG != nil && *s.WeightG > grams-0.05 && *s.WeightG < grams+0.05, s
		})
		if err := b.scale.Press(); err != nil {
			t.Fatal(err)
		}
		pressed := time.Now()
		p.eventually("step "+next, func() (bool, any) {
			now := p.batch(v.ID)
			return now.Step != nil && string(*now.Step) == next, now.Step
		})
		p.eventually("half a second, in which another press would be the same", func() (bool, any) {
			return time.Since(pressed) > 600*time.Millisecond, nil
		})
	}
	b.scale.Set(24)
	press("ink", 24)
	b.pour(t, 85, 40)
	press("hardener", 109)
	b.pour(t, 17, 15)
	press("stir-hardener", 126)
	press("thinner", 126)

	// Nothing is poured, and the key says why it did nothing.
	if err := b.scale.Press(); err != nil {
		t.Fatal(err)
	}
	p.eventually("a refusal", func() (bool, any) {
		s := scaleRow()
		return s.KeyRefused != nil && s.KeyRefused.Detail != "", s
	})
	b.pour(t, 7.1, 15)
	press("stir-thinner", 133.1)
	press("load", 133.1)
	var lines struct {
		Events []struct{ Kind, By, Step string }
	}
	p.get("/api/v1/events?after=0", &lines)
	for _, e := range lines.Events {
		if e.Kind == "confirmed" && e.By != "scale-1" {
			t.Errorf("step %s was confirmed by %q", e.Step, e.By)
		}
	}
}
