package main

import (
	"slices"
	"strings"
	"testing"
)

// TestPairingOnThePage: a person at a tablet that was never paired begins a mix, is asked
// for the PIN, and the mix begins; a new PIN shuts the tablet out with the next tap.
func TestPairingOnThePage(t *testing.T) {
	t.Parallel()
	m := newMixer(t, quickScale)
	// That it may not yet is no fault of the page.
	defer func() {
		m.mu.Lock()
		defer m.mu.Unlock()
		m.faults = slices.DeleteFunc(m.faults, func(fault string) bool { return strings.Contains(fault, "status of 401") })
	}()
	configuration := m.file(t)
	setPIN := func(pin string) {
		t.Helper()
		if code, _, errs := called(t, pin+"\n", "pin", "--config", configuration); code != exitDone {
			t.Fatal(errs)
		}
	}
	types := func(pin string) {
		t.Helper()
		m.sees("Allow this device")
		for _, digit := range pin {
			m.taps(string(digit))
		}
		m.taps("Allow")
	}

	setPIN("902817")
	m.chooses("Ink", "dial-satin")
	m.chooses("For", "press-1")
	m.taps("Start this mix")
	types("111213")
	m.sees("That is not the shop’s PIN.")
	m.enters("Name", "Tablet")
	types("902817")
	m.sees("Put an empty cup-110 on the scale")
	if cookie := evaluate[string](m, "document.cookie"); cookie != "" {
		t.Errorf("scripts see the cookie %q", cookie)
	}
	m.opens("/devices")
	m.seesIn("Devices that may make changes", "Tablet", "This device")
	var events struct{ Events []struct{ Kind, By string } }
	p := program{t: t, http: m.url}
	p.get("/api/v1/events", &events)
	for _, e := range events.Events {
		if (e.Kind == "mix-started" || e.Kind == "device-paired") && e.By != "Tablet" {
			t.Errorf("event %+v", e)
		}
	}

	setPIN("7531924")
	m.opens("/")
	m.sees("Put an empty cup-110 on the scale")
	m.scale.Set(24)
	m.settles(24)
	m.taps("The cup is on")
	types("7531924")
	m.sees("Pour ink dial-satin")
	m.opens("/devices")
	m.taps("Take away… (Tablet)")
	m.taps("Take the permission away")
	m.sees("This device only reads")
}
