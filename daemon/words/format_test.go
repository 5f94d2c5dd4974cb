package words

import (
	"strings"
	"testing"
	"time"
	_ "time/tzdata"

	"pgregory.net/rapid"
)

func plainly(text string) string { return strings.ReplaceAll(text, "\u00a0", " ") }

func TestFiguresInWords(t *testing.T) {
	l, us := Locale{}, Locale{Fahrenheit: true}
	for want, got := range map[string]string{
		"14.2 g":        l.Grams(14.24),
		"0.0 g":         l.Grams(-0.04),
		"\u22120.1 g":   l.Grams(-0.06),
		"48 %":          l.Percent(48.4, 0),
		"48.4 %":        l.Percent(48.44, 1),
		"20.0 °C":       l.Temperature(20),
		"68.0 °F":       us.Temperature(20),  // 20 °C is 68 °F
		"\u221240.0 °F": us.Temperature(-40), // where both scales meet
		"10 °C":         l.ShortTemperature(10),
		"72.5 °F":       us.ShortTemperature(22.5),
		"2 °C":          l.TemperatureStep(2),
		"3.6 °F":        us.TemperatureStep(2), // a step has no 32
		"18 °F":         us.TemperatureStep(10),
		"0 s":           l.Duration(-time.Second),
		"63 s":          l.Duration(63 * time.Second),
		"2 min":         l.Duration(2 * time.Minute),
		"59 min":        l.Duration(59*time.Minute + 29*time.Second),
		"1 h 00 min":    l.Duration(59*time.Minute + 31*time.Second),
		"2 h 04 min":    l.Duration(124 * time.Minute),
	} {
		if plainly(got) != plainly(want) {
			t.Errorf("%q, want %q", got, want)
		}
	}
	if !strings.Contains(l.Grams(1), "\u00a0") {
		t.Error("a line may break between a figure and its unit")
	}
}

func TestClockIsTheShops(t *testing.T) {
	zone, err := time.LoadLocation("Pacific/Auckland")
	if err != nil {
		t.Fatal(err)
	}
	l := Locale{Zone: zone}
	// New Zealand was 13 hours ahead of UTC on 12 January 2026, and 12 hours on 12 June.
	now := time.Date(2026, 1, 12, 10, 0, 0, 0, time.UTC) // Monday, 23:00 there
	for after, want := range map[time.Duration]string{
		0:                    "23:00",
		59 * time.Minute:     "23:59",
		time.Hour:            "Tue 00:00",
		-24 * time.Hour:      "Sun 23:00",
		-6 * 24 * time.Hour:  "Tue 23:00",
		7 * 24 * time.Hour:   "19 Jan 2026, 23:00",
		151 * 24 * time.Hour: "12 Jun 2026, 22:00",
	} {
		if got := l.Clock(now.Add(after), now); got != want {
			t.Errorf("after %v: %q, want %q", after, got, want)
		}
	}
	if got := l.Day(now.Add(time.Hour)); got != "13 Jan 2026" {
		t.Errorf("day %q", got)
	}
}

// TestClockNamesTheDayWhenNeeded: a time of another day never stands alone.
func TestClockNamesTheDayWhenNeeded(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		at := time.Unix(rapid.Int64Range(0, 4e9).Draw(t, "at"), 0)
		now := time.Unix(rapid.Int64Range(0, 4e9).Draw(t, "now"), 0)
		l := Locale{Zone: time.UTC}
		got := l.Clock(at, now)
		if want := at.UTC().Format("15:04"); !strings.HasSuffix(got, want) {
			t.Fatalf("%q, want %q at its end", got, want)
		}
		sameDay := at.UTC().Format(time.DateOnly) == now.UTC().Format(time.DateOnly)
		if (len(got) == 5) != sameDay {
			t.Fatalf("%q for %v at %v", got, at, now)
		}
	})
}

// A duration that is rounded first is written the same, so a text may be kept for as long as its
// rounded duration does not change.
func TestShownDuration(t *testing.T) {
	l := Locale{}
	rapid.Check(t, func(t *rapid.T) {
		d := time.Duration(rapid.Int64Range(-int64(time.Hour), int64(30*time.Hour)).Draw(t, "d"))
		if got, want := l.Duration(ShownDuration(d)), l.Duration(d); got != want {
			t.Fatalf("%v: %q when rounded, %q else", d, got, want)
		}
	})
}
