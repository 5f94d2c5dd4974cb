package config

import (
	"strings"
	"testing"
	"time"
)

// usualShop is a configuration in which nothing is questioned.
const usualShop = `
bench: bench-1
broker: {}
scales:
  - {id: scale-1, port: /dev/scale, baud: 9600, division_g: 0.1}
sensors:
  - {id: bench-air, zone: bench, path: /a, accuracy: {humidity_pct: 2}, check_every: 365d, checked: 2026-03-31}
cups:
  - {id: cup-90, ink_minimum_g: 60, fill_maximum_g: 110, empty_g: 12}
presses:
  - {id: press-1}
lights:
  - {id: light-1, presses: [press-1], topic: lamps/one, payloads: {do-not-print: red, unknown: amber, act: blue, soon: yellow, in-order: green, empty: "off"}}
inks:
  - {id: gloss-4, hardener_ratio: "4:1", ratio_tolerance_pct: 5, thinner_pct: {min: 10, max: 20}, pot_life: {shortest: 6h, longest: 8h, dry_pct: 30, humid_pct: 80}}
alarms: {ending_before: 30m}
`

func TestQuestions(t *testing.T) {
	today := time.Date(2026, 6, 12, 12, 0, 0, 0, time.UTC)
	ask := func(old, with string) []Doubt {
		t.Helper()
		if old != "" && !strings.Contains(usualShop, old) {
			t.Fatalf("no %q in the configuration", old)
		}
		shop, err := Parse("shop.yaml", []byte(strings.Replace(usualShop, old, with, 1)))
		if err != nil {
			t.Fatal(err)
		}
		return shop.Question(today)
	}
	if got := ask("", ""); len(got) > 0 {
		t.Errorf("a usual configuration is questioned: %v", got)
	}
	for _, c := range []struct{ old, with, saying string }{
		{`"4:1"`, `"1:4"`, "reversed"},
		{"shortest: 6h, longest: 8h", "shortest: 6m, longest: 8m", "is the unit right"},
		{"shortest: 6h, longest: 8h, dry_pct: 30, humid_pct: 80", "about: 40m", "is the unit right"},
		{"division_g: 0.1", "division_g: 2", "at most 1.5 g"},
		{"empty_g: 12", "empty_g: 500", "weighs more than the 110 g"},
		{"dry_pct: 30", "dry_pct: 0.3", "is it a share"},
		{"humid_pct: 80", "humid_pct: 1", "is it a share"},
		{"min: 10, max: 20", "min: 0.1, max: 0.2, dark: 0.1, light: 0.12", "is it a share"},
		{"ratio_tolerance_pct: 5", "ratio_tolerance_pct: 0.05", "is it a share"},
		{"humidity_pct: 2", "humidity_pct: 0.02", "Write 2 for 2 %"},
		{"2026-03-31", "2031-03-31", "has not come yet"},
		{"ending_before: 30m", "ending_before: 1d", "never be green"},
		{"lamps/one", "potlife/bench-1/light/light-1", "the daemon's own"},
		{"baud: 9600", "baud: 9601", "usual speeds"},
	} {
		old := c.old
		if strings.HasPrefix(c.with, "humid_pct: 1") { // it must stay above dry_pct
			old, c.with = "dry_pct: 30, humid_pct: 80", "dry_pct: 0, humid_pct: 1"
		}
		got := ask(old, c.with)
		if len(got) != 1 || !strings.Contains(got[0].String(), c.saying) {
			t.Errorf("%s: %v, want one doubt with %q", c.with, got, c.saying)
		}
	}
}

// A scale's check may be in the future as a sensor's may.
func TestAScaleCheckedInTheFuture(t *testing.T) {
	day := time.Date(2031, 3, 31, 0, 0, 0, 0, time.UTC)
	shop := Shop{Scales: []Scale{{ID: "scale-1", Baud: 9600, Checked: day}}}
	if d := shop.Question(day.AddDate(0, 0, -1)); len(d) != 1 || d[0].What != "scale scale-1, checked" {
		t.Errorf("the day before: %+v", d)
	}
	if d := shop.Question(day); len(d) != 0 {
		t.Errorf("on the day: %+v", d)
	}
}
