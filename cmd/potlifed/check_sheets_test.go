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

// A data sheet's temperature is compared with what the sensors read. An ink that the shop is far from
// is asked about once.
func TestCheckComparesTheSheetWithTheSensors(t *testing.T) {
	ink := func(id string, celsius float64) config.Ink {
		sheet := cure.Sheet{Shortest: 6 * time.Hour, Longest: 8 * time.Hour, AtTemperatureC: celsius, DryPct: 30, HumidPct: 80}
		life, err := sheet.Calibrate()
		if err != nil {
			t.Fatal(err)
		}
		return config.Ink{ID: id, Sheet: sheet, Life: life}
	}
	advice := func(read ...sensorReading) string {
		var out bytes.Buffer
		l := &checklist{out: &out, read: read}
		l.sheets(config.Shop{Inks: []config.Ink{ink("usual", 20), ink("warm", 27)}})
		return out.String()
	}
	hot := advice(sensorReading{"a", 22}, sensorReading{"b", 29.5}, sensorReading{"c", 31})
	if strings.Count(hot, "\n") != 1 || !strings.HasPrefix(hot, "advice ink usual") || !strings.Contains(hot, "20 °C and sensor b reads 29.5 °C") {
		t.Errorf("%q", hot)
	}
	if got := advice(sensorReading{"a", 22}) + advice(); got != "" {
		t.Errorf("%q", got)
	}
}
