package web

import (
	"encoding/csv"
	"errors"
	"math"
	"net/http"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/view"
	"potlifed/model/air"
	"potlifed/model/cure"
)

// someAir is ten minutes of rising humidity that were measured, a gap that was
// bridged, and one that was not.
func someAir() []cure.PastStep {
	start := at.Add(-30 * time.Minute)
	return []cure.PastStep{
		{Start: start, Step: cure.Step{
			Duration: 10 * time.Minute, From: air.State{TemperatureC: 20, HumidityPct: 40}, To: air.State{TemperatureC: 22, HumidityPct: 50}, Kind: cure.Measured,
		}},
		{Start: start.Add(10 * time.Minute), Step: cure.Step{
			Duration: 5 * time.Minute, From: air.State{TemperatureC: 22, HumidityPct: 50}, To: air.State{TemperatureC: 23, HumidityPct: 60}, Kind: cure.Bridged,
		}},
		{Start: start.Add(20 * time.Minute), Step: cure.Step{
			Duration: 10 * time.Minute, From: air.State{TemperatureC: 24}, To: air.State{TemperatureC: 24}, Kind: cure.Stale,
		}},
	}
}

func TestEvents(t *testing.T) {
	s := newStand()
	for seq := uint64(1); seq <= 45; seq++ {
		s.kept = append(s.kept, view.Event{Seq: seq, JSON: []byte(`{"seq":` + string(rune('0'+seq%10)) + `,"kind":"good"}`)})
	}
	h := newServer(t, s).Handler()
	v := object(t, answerTo(h, fromHere("GET", "/api/v1/events?after=10&limit=3", "")))
	events := v["events"].([]any)
	if len(events) != 3 || events[0].(map[string]any)["kind"] != "good" || v["seq"] != 42.0 {
		t.Errorf("events: %v", v)
	}
	// An event may be newer than the snapshot.
	if v := object(t, answerTo(h, fromHere("GET", "/api/v1/events", ""))); v["seq"] != 45.0 || len(v["events"].([]any)) != 45 {
		t.Errorf("all events: %v", v)
	}
	s.unread = errors.New("disk")
	isProblem(t, answerTo(h, fromHere("GET", "/api/v1/events", "")), http.StatusServiceUnavailable)
	isProblem(t, answerTo(h, fromHere("GET", "/api/v1/history/air?zone=bench", "")), http.StatusServiceUnavailable)
}

// rows are the rows of a history in JSON.
func rows(t *testing.T, h http.Handler, query string) []any {
	t.Helper()
	w := answerTo(h, fromHere("GET", "/api/v1/history/air?zone=bench"+query, ""))
	if w.Code != http.StatusOK {
		t.Fatalf("status %d: %s", w.Code, w.Body)
	}
	v := object(t, w)
	if v["seq"] != 42.0 {
		t.Errorf("seq %v", v["seq"])
	}
	return v["air"].([]any)
}

func TestHistorySampled(t *testing.T) {
	s := newStand()
	s.steps = someAir()
	h := newServer(t, s).Handler()
	got := rows(t, h, "&from=2026-06-12T09:00:00Z&to=2026-06-12T09:30:00Z&step=4m")
	// 0, 4 and 8 minutes were measured, 12 bridged, 16 is in no step, 20 to 28 stale.
	want := []struct {
		time        string
		temperature float64
		humidity    float64
		quality     string
	}{
		{"2026-06-12T09:00:00Z", 20, 40, "good"}, {"2026-06-12T09:04:00Z", 20.8, 44, "good"}, {"2026-06-12T09:08:00Z", 21.6, 48, "good"},
		{"2026-06-12T09:12:00Z", 22.4, 54, "uncertain"}, {"2026-06-12T09:20:00Z", 24, 0, "bad"}, {"2026-06-12T09:24:00Z", 24, 0, "bad"},
		{"2026-06-12T09:28:00Z", 24, 0, "bad"},
	}
	if len(got) != len(want) {
		t.Fatalf("%d rows: %v", len(got), got)
	}
	for i, w := range want {
		row := got[i].(map[string]any)
		if row["time"] != w.time || math.Abs(row["temperature_c"].(float64)-w.temperature) > 1e-9 ||
			math.Abs(row["humidity_pct"].(float64)-w.humidity) > 1e-9 || row["quality"] != w.quality {
			t.Errorf("row %d: %v, want %v", i, row, w)
		}
		// Air without water has no dew point.
		if _, ok := row["dew_point_c"]; ok != (w.humidity > 0) {
			t.Errorf("row %d: dew point %v", i, row["dew_point_c"])
		}
	}
}

func TestHistoryAsRecorded(t *testing.T) {
	s := newStand()
	s.steps = someAir()
	h := newServer(t, s).Handler()
	var times []string
	for _, row := range rows(t, h, "") {
		times = append(times, row.(map[string]any)["time"].(string)[11:16])
	}
	if got := strings.Join(times, " "); got != "09:00 09:10 09:15 09:20 09:30" {
		t.Errorf("rows at %s", got)
	}
	if s.from != at.Add(-24*time.Hour) || s.to.Before(at) {
		t.Errorf("asked the journal from %v to %v", s.from, s.to)
	}
}

func TestHistoryCSV(t *testing.T) {
	s := newStand()
	s.steps = someAir()
	h := newServer(t, s).Handler()
	byHeader := fromHere("GET", "/api/v1/history/air?zone=bench", "")
	byHeader.Header.Set("Accept", "text/csv")
	for name, r := range map[string]*http.Request{"header": byHeader, "query": fromHere("GET", "/api/v1/history/air?zone=bench&format=csv", "")} {
		w := answerTo(h, r)
		if ct := w.Header().Get("Content-Type"); !strings.HasPrefix(ct, "text/csv") || w.Header().Get("Vary") != "Accept" {
			t.Fatalf("%s: header %v", name, w.Header())
		}
		table, err := csv.NewReader(w.Body).ReadAll()
		if err != nil || len(table) != 6 {
			t.Fatalf("%s: %v: %v", name, err, table)
		}
		if got := strings.Join(table[0], ","); got != "time,zone,temperature_c,humidity_pct,dew_point_c,vapour_density_g_m3,quality" {
			t.Errorf("%s: columns %s", name, got)
		}
		if got := strings.Join(table[1][:4], ","); got != "2026-06-12T09:00:00Z,bench,20,40" {
			t.Errorf("%s: first row %s", name, got)
		}
	}
	// JSON is what a browser gets, and who says json in the query whatever the header.
	browser := fromHere("GET", "/api/v1/history/air?zone=bench", "")
	browser.Header.Set("Accept", "text/html,*/*;q=0.8")
	byHeader.URL.RawQuery += "&format=json"
	for _, r := range []*http.Request{browser, byHeader} {
		if w := answerTo(h, r); w.Header().Get("Content-Type") != "application/json" {
			t.Errorf("content type %q", w.Header().Get("Content-Type"))
		}
	}
}

func TestHistoryRefusals(t *testing.T) {
	h := newServer(t, newStand()).Handler()
	refused := map[string]int{
		"zone=nowhere": http.StatusNotFound, "": 422, "zone=bench&from=yesterday": 422, "zone=bench&step=0s": 422, "zone=bench&step=-1m": 422,
		"zone=bench&step=1": 422, "zone=bench&format=xml": 422, "zone=bench&from=2026-06-12T10:00:00Z&to=2026-06-12T09:00:00Z": 422,
		"zone=bench&from=2026-01-01T00:00:00Z": 422, "zone=bench&from=0001-01-02T00:00:00Z": 422, "zone=bench&to=9999-01-01T00:00:00Z": 422,
		"zone=bench&from=2026-06-01T00:00:00Z&step=1s": 422,
	}
	for query, status := range refused {
		isProblem(t, answerTo(h, fromHere("GET", "/api/v1/history/air?"+query, "")), status)
	}
}

// TestClockSetBack: rows never go back in time.
func TestClockSetBack(t *testing.T) {
	s := newStand()
	s.steps = append(someAir(), someAir()...)
	last := ""
	for _, row := range rows(t, newServer(t, s).Handler(), "") {
		now := row.(map[string]any)["time"].(string)
		if now <= last {
			t.Errorf("%s after %s", now, last)
		}
		last = now
	}
}
