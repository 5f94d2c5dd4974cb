package main

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/config"
	"potlifed/model/cure"
)

// An ink with one figure is asked about, one with two is not; neither is a fault.
func TestCheckAsksForTwoFigures(t *testing.T) {
	ink := func(id string, sheet cure.Sheet) config.Ink {
		life, err := sheet.Calibrate()
		if err != nil {
			t.Fatal(err)
		}
		return config.Ink{ID: id, Sheet: sheet, Life: life}
	}
	var out bytes.Buffer
	l := &checklist{out: &out}
	l.sheets(config.Shop{Inks: []config.Ink{
		ink("one", cure.Sheet{About: 8 * time.Hour, AtTemperatureC: 23, DryPct: 30, HumidPct: 80}), ink("two", cure.Sheet{Shortest: 6 * time.Hour, Longest: 8 * time.Hour}),
	}})
	if got := out.String(); !strings.HasPrefix(got, "advice ink one") || !strings.Contains(got, "23 °C") || strings.Contains(got, "ink two") || l.faults != 0 {
		t.Errorf("%q, %d faults", got, l.faults)
	}
}
