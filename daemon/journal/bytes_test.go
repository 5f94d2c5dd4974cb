package journal

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"potlifed/daemon/record"
	"potlifed/model/air"
	"potlifed/model/cure"
)

// airAt returns the steps of some zones that end with a minute.
func airAt(minute int, zones ...string) (steps []record.Record) {
	at := began.Add(time.Duration(minute) * time.Minute)
	a := air.State{TemperatureC: 21.3 + float64(minute)/997, HumidityPct: 48.2 + float64(minute)/991}
	for _, zone := range zones {
		steps = append(steps, record.Record{Stamp: record.Stamp{At: at, Boot: "7d1f6d0e-6a3b-4d3c-9f60-2f3a5a1c2b4d", Synced: true}, By: "bench", Body: record.AirStep{
			Zone: zone, Start: at.Add(-time.Minute), Step: cure.Step{Duration: time.Minute, Kind: cure.Measured, From: a, To: a}, After: a, ReadAt: at.Add(-3 * time.Second),
		}})
	}
	return steps
}

// reportAt is a press's report of a print, the first of its minute.
func reportAt(minute int, press string) record.Record {
	at := began.Add(time.Duration(minute) * time.Minute)
	return record.Record{Stamp: record.Stamp{At: at, Boot: "7d1f6d0e-6a3b-4d3c-9f60-2f3a5a1c2b4d", Synced: true}, By: "device:tablet", Body: record.Counted{
		Press: press, Batch: "0612-1", Add: 1, Minute: at.Truncate(time.Minute), Day: "2026-06-12", Conditions: &record.Conditions{
			Ink: "dial-satin", Age: new(90 * time.Minute), Spent: new(0.0431176), LifeQuality: "good", ThinnerPct: new(7.84), RatioOffPct: new(0.3),
			Zone: "hall", TemperatureC: new(21.3456), HumidityPct: new(48.2345), VapourDensity: new(9.0123), AirQuality: "good",
		},
	}}
}

// TestFewPagesACommit counts the pages that minutes of air and reports of prints bring into the log. A card
// sees each as a whole, and more beside it.
func TestFewPagesACommit(t *testing.T) {
	for _, c := range []struct {
		what  string
		most  float64 // pages for each commit, in the mean
		group func(n int) []record.Record
	}{
		{"a minute of three zones", 4.2, func(n int) []record.Record { return airAt(n, "bench", "hall", "store") }},
		{"a report", 2.5, func(n int) []record.Record { return []record.Record{reportAt(n, "press-1")} }},
	} {
		dir := t.TempDir()
		j := openAt(t, dir)
		size := func() int64 {
			info, err := os.Stat(filepath.Join(dir, FileName+"-wal"))
			if err != nil {
				t.Fatal(err)
			}
			return info.Size()
		}
		const warm, commits = 20, 200
		before := int64(0)
		for n := range warm + commits {
			if n == warm {
				before = size()
			}
			if err := j.Write(Group{Records: c.group(n)}); err != nil {
				t.Fatal(err)
			}
		}
		if pages := float64(size()-before) / (24 + pageBytes) / commits; pages > c.most {
			t.Errorf("%s: %.1f pages for each commit, want %.1f at most", c.what, pages, c.most)
		}
	}
}

// TestReportsAreRemoved: the reports of minutes that have their event go with each thinning, those of an open
// minute stay until the next one, and others are not touched; after a rebuild too.
func TestReportsAreRemoved(t *testing.T) {
	dir := t.TempDir()
	j := openAt(t, dir)
	left := func() (minutes string) {
		t.Helper()
		if err := j.Each(t.Context(), func(r record.Record) error {
			if c, ok := r.Body.(record.Counted); ok {
				minutes += fmt.Sprintf(" %v", c.Minute.Sub(began).Minutes())
			}
			return nil
		}); err != nil {
			t.Fatal(err)
		}
		return minutes
	}
	minute := 0
	report := func(upTo int) {
		t.Helper()
		for ; minute < upTo; minute++ {
			if err := j.Write(Group{Records: append(airAt(minute, "hall"), reportAt(minute, "press-1"))}); err != nil {
				t.Fatal(err)
			}
		}
	}
	thin := func(before int, want string) {
		t.Helper()
		if err := j.Write(Group{Thin: &Thinning{CountedBefore: began.Add(time.Duration(before) * time.Minute)}}); err != nil {
			t.Fatal(err)
		}
		if got := left(); got != want {
			t.Errorf("reports of minutes%s are left, want%s", got, want)
		}
	}
	report(5)
	thin(3, " 3 4")
	report(7)
	thin(3, " 3 4 5 6")
	thin(7, "")
	report(9)
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	j = openAt(t, dir)
	thin(8, " 8")
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, markFile), []byte("a test"), 0o640); err != nil {
		t.Fatal(err)
	}
	j = openAt(t, dir)
	if j.Rebuilt() == nil {
		t.Fatal("it is not rebuilt")
	}
	report(11)
	thin(10, " 10") // the state of the rebuilt journal has the one of minute 8
	thin(11, "")
}

// TestHeadOfAir: minutes of air do not each cost a page of the head, an event and a report do, and the end of
// the journal is written at the end.
func TestHeadOfAir(t *testing.T) {
	dir := t.TempDir()
	j := openAt(t, dir)
	place := func() int64 {
		t.Helper()
		h, ok, err := readHead(dir)
		if err != nil || !ok {
			t.Fatal(ok, err)
		}
		return h.place
	}
	write := func(records ...record.Record) {
		t.Helper()
		if err := j.Write(Group{Records: records}); err != nil {
			t.Fatal(err)
		}
	}
	write(airAt(1, "hall")...)
	begin := place()
	for n := range 5 {
		write(airAt(2+n, "hall")...)
	}
	if got := place(); got != begin {
		t.Errorf("air is in the head at once: %d, before %d", got, begin)
	}
	for _, r := range []record.Record{reportAt(7, "press-1"), alarms(1, 1)[0]} {
		write(r)
		if got := place(); got != j.end.place {
			t.Errorf("after %s the head says %d, the journal goes to %d", r.Body.Kind(), got, j.end.place)
		}
	}
	write(airAt(8, "hall")...)
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	if got := place(); got != j.end.place {
		t.Errorf("at the end the head says %d, the journal goes to %d", got, j.end.place)
	}
}
