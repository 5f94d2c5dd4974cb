package view

import (
	"encoding/json"
	"testing"
	"time"
)

func TestEventIsOneObject(t *testing.T) {
	noon := time.Date(2026, 6, 12, 12, 0, 0, 0, time.UTC)
	e, err := WireEvent(Source{Bench: "bench-1", Journal: "j1"}, 7, noon, "good", "anna", []byte(`{"batch":"0612-1"}`))
	if err != nil {
		t.Fatal(err)
	}
	want := `{"time":"2026-06-12T12:00:00Z","seq":7,"bench":"bench-1","journal":"j1","kind":"good","by":"anna","batch":"0612-1"}`
	if string(e.JSON) != want {
		t.Errorf("%s, want %s", e.JSON, want)
	}
	if e, err = WireEvent(Source{Bench: "bench-1", Journal: "j1"}, 8, noon, "stopped", "bench", []byte("{}")); err != nil || !json.Valid(e.JSON) {
		t.Errorf("an event without a field of its own: %s (%v)", e.JSON, err)
	}
	if _, err := WireEvent(Source{Bench: "bench-1", Journal: "j1"}, 9, noon, "stopped", "bench", []byte("7")); err == nil {
		t.Error("a body that is no object was taken")
	}
}
