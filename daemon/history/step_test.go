package history

import (
	"testing"
	"time"

	"pgregory.net/rapid"
)

// TestDaysOfSummerTime: the day on which summer time begins has 23 hours, the one on which it
// ends 25, on calendars north and south, and where the change is at midnight.
func TestDaysOfSummerTime(t *testing.T) {
	for _, c := range []struct {
		zone, day, begin string
		hours            float64
	}{
		{"Europe/Zurich", "2026-03-28", "2026-03-27T23:00:00Z", 24},
		{"Europe/Zurich", "2026-03-29", "2026-03-28T23:00:00Z", 23},
		{"Europe/Zurich", "2026-10-25", "2026-10-24T22:00:00Z", 25},
		{"America/New_York", "2026-11-01", "2026-11-01T04:00:00Z", 25},
		{"Pacific/Auckland", "2026-04-05", "2026-04-04T11:00:00Z", 25},
		{"Australia/Lord_Howe", "2026-10-04", "2026-10-03T13:30:00Z", 23.5},
		{"Asia/Beirut", "2026-03-29", "2026-03-28T22:00:00Z", 23}, // from 00:00 to 01:00: the day has no midnight
		{"Asia/Kathmandu", "2026-06-12", "2026-06-11T18:15:00Z", 24},
	} {
		zone, err := time.LoadLocation(c.zone)
		if err != nil {
			t.Fatal(err)
		}
		at, err := time.ParseInLocation("2006-01-02 15:04", c.day+" 12:00", zone)
		if err != nil {
			t.Fatal(err)
		}
		step, err := StepOf("day", zone)
		if err != nil {
			t.Fatal(err)
		}
		begin := step.Begin(at)
		if got := begin.Format(time.RFC3339); got != c.begin {
			t.Errorf("%s %s begins at %s, want %s", c.zone, c.day, got, c.begin)
		}
		if got := step.Next(begin).Sub(begin).Hours(); got != c.hours {
			t.Errorf("%s %s has %v hours, want %v", c.zone, c.day, got, c.hours)
		}
	}
}

// TestIntervalsMeet: every instant is in exactly one interval, and intervals begin at whole
// quarter-hours.
func TestIntervalsMeet(t *testing.T) {
	zones := []string{"UTC", "Europe/Zurich", "America/New_York", "Australia/Lord_Howe", "Asia/Kathmandu", "Asia/Beirut", "Pacific/Apia", "America/Sao_Paulo"}
	rapid.Check(t, func(t *rapid.T) {
		zone, err := time.LoadLocation(rapid.SampledFrom(zones).Draw(t, "zone"))
		if err != nil {
			t.Fatal(err)
		}
		step, err := StepOf(rapid.SampledFrom([]string{"", "15m", "30m", "1h", "6h", "day", "week", "month"}).Draw(t, "step"), zone)
		if err != nil {
			t.Fatal(err)
		}
		at := time.Unix(rapid.Int64Range(1_200_000_000, 2_000_000_000).Draw(t, "at"), 0)
		begin := step.Begin(at)
		for range 5 {
			next := step.Next(begin)
			if !next.After(begin) || at.Before(begin) || begin.Unix()%900 != 0 {
				t.Fatalf("%v: from %v to %v, for %v", step, begin, next, at)
			}
			if step.calendar != "" && !step.Begin(next.Add(-time.Second)).Equal(begin) {
				t.Fatalf("%v: %v and %v overlap", step, begin, next)
			}
			begin, at = next, next
		}
	})
}

func TestStepsThatAreNone(t *testing.T) {
	for _, text := range []string{"1", "14m", "20m", "-15m", "0s", "year", "Day", "NaN", "1e9h", "9000h"} {
		if _, err := StepOf(text, time.UTC); err == nil {
			t.Errorf("%q is a step", text)
		}
	}
}

func FuzzStepOf(f *testing.F) {
	for _, s := range []string{"", "15m", "1h", "day", "week", "month", "-1h", "1h1s"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		step, err := StepOf(text, time.UTC)
		if err != nil {
			return
		}
		begin := step.Begin(noon)
		if next := step.Next(begin); !next.After(begin) || begin.After(noon) {
			t.Fatalf("%q: from %v to %v", text, begin, next)
		}
		if again, err := StepOf(step.String(), time.UTC); err != nil || again.Next(begin) != step.Next(begin) {
			t.Fatalf("%q: %v, %v", text, step, err)
		}
	})
}
