package main

import (
	"math"
	"testing"
	"time"

	"potlifed/daemon/view"
)

// TestKilledInTheMiddleOfAPour pulls the plug while hardener is being poured.
func TestKilledInTheMiddleOfAPour(t *testing.T) {
	t.Parallel() // it waits more than it works
	m := newMosquitto(t)
	b := newHardware(t)
	configuration := b.configuration(t, m.configuration())
	p := start(t, configuration)
	v, wrong := p.post("batches", map[string]any{"ink": "dial-satin", "press": "press-1"})
	if wrong != nil {
		t.Fatal(wrong)
	}
	id := v.ID
	b.scale.Set(24)
	p.confirm(id, "cup")
	b.pour(t, 85, 40)
	p.confirm(id, "ink")
	b.pour(t, 8, 8) // of 17
	p.eventually("the clock to start", func() (bool, any) {
		v := p.batch(id)
		return v.MixedAt != nil, v
	})
	before := p.batch(id)
	m.wait("the light", "potlife/bench-1/light/light-1/meaning", 0, func(s string) bool { return s != "unknown" })
	from := m.seen.len()
	p.kill()
	b.pour(t, 3, 8) // the person does not stop for it
	m.wait("the light's will", "potlife/bench-1/light/light-1/meaning", from, func(s string) bool { return s == "unknown" })
	m.wait("the daemon's will", "potlife/bench-1/availability", from, func(s string) bool { return s == "offline" })

	p = start(t, configuration)
	after := p.batch(id)
	if !after.MixedAt.Equal(*before.MixedAt) {
		t.Errorf("mixed_at %v, before the kill %v", after.MixedAt, before.MixedAt)
	}
	if *after.Step != "hardener" || len(after.Components) != 1 || after.Components[0] != before.Components[0] {
		t.Errorf("after the kill: step %v, components %+v; before %v, %+v", *after.Step, after.Components, *before.Step, before.Components)
	}
	b.pour(t, 6, 8)
	v = p.confirm(id, "hardener")
	if got := v.Components[1].G; math.Abs(got-17) > 0.11 {
		t.Errorf("hardener %v g, poured were 8 before, 3 during and 6 after", got)
	}
	p.stop()
}

// TestKilledInTheMiddleOfABatch pulls the plug while a batch is printed with.
func TestKilledInTheMiddleOfABatch(t *testing.T) {
	t.Parallel() // it waits more than it works
	m := newMosquitto(t)
	b := newHardware(t)
	configuration := b.configuration(t, m.configuration())
	p := start(t, configuration)
	id := b.mix(t, p)
	if _, wrong := p.post("batches/"+id+"/load", map[string]string{"press": "press-1"}); wrong != nil {
		t.Fatal(wrong)
	}
	m.wait("green", "potlife/bench-1/light/light-1/colour", 0, func(s string) bool { return s == "green" })
	before := p.batch(id)
	from := m.seen.len()
	killed := time.Now()
	p.kill()
	m.wait("the light's will", "potlife/bench-1/light/light-1/meaning", from, func(s string) bool { return s == "unknown" })
	dark := time.Since(killed)
	t.Logf("the will was seen %v after the kill", dark.Round(time.Millisecond))

	p = start(t, configuration)
	var after view.Batch
	p.eventually("the first reading after the start", func() (bool, any) {
		after = p.batch(id)
		return after.Quality == view.QualityGood || after.Why == "Part of its life was spent in air that was not well known.", after
	})
	if !after.MixedAt.Equal(*before.MixedAt) || *after.Press != "press-1" || after.State != before.State || len(after.Components) != 3 {
		t.Errorf("after the kill: %+v\nbefore: %+v", after.BatchState, before.BatchState)
	}
	if age, want := *after.AgeS, after.Time.Sub(*before.MixedAt).Seconds(); math.Abs(age-want) > 0.06 {
		t.Errorf("age %v s, mixed %v s ago: the life must count on through the gap", age, want)
	}
	if want := rateByHand(20, 50) * after.Time.Sub(*before.MixedAt).Hours(); math.Abs(*after.Spent-want) > 1e-6 {
		t.Errorf("spent %v in air that stayed as it was, by hand %v", *after.Spent, want)
	}
	m.wait("the light again", "potlife/bench-1/light/light-1/colour", from, func(s string) bool { return s == "green" || s == "yellow" })
	p.stop()
}
