package web

import (
	"encoding/csv"
	"fmt"
	"log/slog"
	"net/http"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/clock"
	"potlifed/daemon/history"
	"potlifed/daemon/instruments"
	"potlifed/daemon/journal"
	"potlifed/daemon/record"
	"potlifed/model/air"
	"potlifed/model/cure"
)

// withHistory gives a server a history with a journal of its own, in which are two hours of air in zone
// bench, 300 prints of batch 0612-1 and a check of sensor bench-air.
func withHistory(t *testing.T, s *stand, server *Server) *Server {
	t.Helper()
	dir, quiet := t.TempDir(), slog.New(slog.DiscardHandler)
	j, err := journal.Open(dir, quiet, func(time.Duration) {})
	if err != nil {
		t.Fatal(err)
	}
	var g journal.Group
	add := func(at time.Time, b record.Body) {
		r := record.Record{Stamp: record.Stamp{At: at, Boot: "b", Synced: true}, By: "anna", Body: b}
		if r.IsEvent() {
			r.Seq = uint64(len(g.Records)%1000 + 1)
			for _, before := range g.Records {
				if before.IsEvent() {
					r.Seq = before.Seq + 1
				}
			}
		}
		g.Records = append(g.Records, r)
	}
	add(at.Add(-3*time.Hour), record.Started{GapKnown: true})
	for i := range 8 {
		from := at.Add(-2*time.Hour + time.Duration(i)*15*time.Minute)
		is := air.State{TemperatureC: 20 + float64(i), HumidityPct: 40}
		add(from.Add(15*time.Minute), record.AirStep{Zone: "bench", Start: from, After: is, Step: cure.Step{Duration: 15 * time.Minute, From: is, To: is, Kind: cure.Measured}})
	}
	for i := range 3 {
		add(at.Add(-time.Duration(i+1)*20*time.Minute), record.Printed{Press: "press-1", Batch: "0612-1", Add: 100})
	}
	add(at.Add(-time.Minute), record.SensorVerified{Sensor: "bench-air", HumidityPct: 75.3, Note: "=salt"})
	if err := j.Write(g); err != nil {
		t.Fatal(err)
	}
	h := history.New(history.Settings{Dir: dir, Journal: j, Bench: s, Clock: still{}, Log: quiet, RawFor: 14 * 24 * time.Hour, MinutesFor: 400 * 24 * time.Hour, Sink: deaf{}})
	t.Cleanup(func() {
		if err := h.Close(); err != nil {
			t.Error(err)
		}
		if err := j.Close(); err != nil {
			t.Error(err)
		}
	})
	server.settings.History = h
	return server
}

type deaf struct{ instruments.Sink }

type still struct{}

func (still) Now() clock.Instant { return clock.Instant{Wall: at, Boot: "b", Synced: true} }

func TestLongHistory(t *testing.T) {
	s := newStand()
	h := withHistory(t, s, newServer(t, s)).Handler()
	list := func(query, name string) []any {
		t.Helper()
		w := answerTo(h, fromHere("GET", "/api/v1/history/"+query, ""))
		if w.Code != http.StatusOK {
			t.Fatalf("%s: %d %s", query, w.Code, w.Body)
		}
		return object(t, w)[name].([]any)
	}
	quarters := list("air?zone=bench&step=15m", "air")
	if len(quarters) != 8 {
		t.Fatalf("%d quarter-hours", len(quarters))
	}
	hours := list("air?zone=bench&step=1h&from=2026-06-12T07:30:00Z&to=2026-06-12T09:30:00Z", "air")
	if row := hours[0].(map[string]any); len(hours) != 2 || row["temperature_c"] != 21.5 || row["temperature_low_c"] != 20.0 || row["temperature_high_c"] != 23.0 || row["known_s"] != 3600.0 || row["to"] != "2026-06-12T08:30:00Z" {
		t.Errorf("%v", hours)
	}
	day := list("air?zone=bench&step=day&from=2025-06-12&to=2026-06-13T00:00:00Z", "air")
	if len(day) != 1 || day[0].(map[string]any)["known_s"] != 7200.0 {
		t.Errorf("%v", day)
	}
	prints := list("prints", "prints")
	sum := 0.0
	for _, row := range prints {
		sum += row.(map[string]any)["prints"].(float64)
	}
	if sum != 300 || prints[0].(map[string]any)["batch"] != "0612-1" {
		t.Errorf("%v", prints)
	}
	if all := list("prints?step=month", "prints"); len(all) != 1 || all[0].(map[string]any)["prints"] != 300.0 {
		t.Errorf("%v", all)
	}
	if checks := list("checks", "checks"); len(checks) != 1 || checks[0].(map[string]any)["by"] != "anna" {
		t.Errorf("%v", checks)
	}
	if none := list("prints?press=press-2", "prints"); len(none) != 0 {
		t.Errorf("%v", none)
	}
	list("batches", "batches")
	list("defects", "defects")
	for _, step := range []string{"", "&step=1m", "&step=5m", "&step=15m", "&step=day", "&step=auto"} {
		list("sensors?sensor=bench-air"+step, "sensors")
	}
}

// TestPicturesOfYearsOfANewBench: the bench has recorded two hours. Asked for a year or more, a picture shows them
// in steps of a quarter-hour.
func TestPicturesOfYearsOfANewBench(t *testing.T) {
	s := newStand()
	server := withHistory(t, s, newServer(t, s))
	server.settings.Study = &asking{}
	h := server.Handler()
	for _, path := range []string{"air?", "air?batches=false&", "sensors?", "control?press=press-1&"} {
		for _, from := range []string{"2025-06-12", "2016-06-12"} {
			w := answerTo(h, fromHere("GET", "/api/v1/pictures/"+path+"from="+from, ""))
			if w.Code != http.StatusOK {
				t.Errorf("%s from %s: %d %s", path, from, w.Code, w.Body)
			}
		}
	}
}

// TestLongHistoryAsCSV: the columns are those of the rows, and a cell that a spreadsheet would take for a formula
// is harmless.
func TestLongHistoryAsCSV(t *testing.T) {
	s := newStand()
	h := withHistory(t, s, newServer(t, s)).Handler()
	for path, columns := range map[string]string{
		"air?zone=bench&step=15m": "time,to,local,zone,sensor,source,temperature_c", "prints?": "time,to,local,press,batch,ink,source,prints,spent",
		"defects?": "time,to,local,press,batch,ink,source,kind,defects", "batches?": "id,seq,source,ink,zone", "checks?": "time,local,sensor,seq,by",
		"sensors?sensor=bench-air": "time,to,local,zone,sensor",
	} {
		w := answerTo(h, fromHere("GET", "/api/v1/history/"+path+"&format=csv", ""))
		text := w.Body.String()
		if !strings.HasPrefix(text, columns) || w.Header().Get("Content-Type") != "text/csv; charset=utf-8" {
			t.Errorf("%s: %v %q", path, w.Header(), text)
		}
		rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
		if err != nil {
			t.Errorf("%s: %v", path, err)
		}
		if strings.HasPrefix(path, "checks") && (len(rows) != 2 || rows[1][len(rows[1])-1] != "'=salt") {
			t.Errorf("%v", rows)
		}
	}
}

func TestLongHistoryRefusals(t *testing.T) {
	s := newStand()
	h := withHistory(t, s, newServer(t, s)).Handler()
	for query, status := range map[string]int{
		"prints?step=10m": 422, "prints?step=fortnight": 422, "prints?from=yesterday": 422, "prints?from=2026-06-13&to=2026-06-12": 422,
		"sensors?": 422, "sensors?sensor=none": 404, "sensors?sensor=bench-air&step=90s": 422, "sensors?sensor=bench-air&step=1m&from=2024-01-01": 422,
		"air?zone=bench&step=20m": 422, "air?zone=bench&step=15m&from=2001-01-01": 422, "defects?format=xml": 422, "batches?to=9999-01-01": 422, "checks?zone=x": 422,
	} {
		isProblem(t, answerTo(h, fromHere("GET", "/api/v1/history/"+query, "")), status)
	}
	bare := newServer(t, newStand()).Handler()
	isProblem(t, answerTo(bare, fromHere("GET", "/api/v1/history/prints", "")), http.StatusServiceUnavailable)
}

// TestDatesAreTheShops: a date is the begin of that day in the shop's time zone, and so is a day.
func TestDatesAreTheShops(t *testing.T) {
	s := newStand()
	server := withHistory(t, s, newServer(t, s))
	zone, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	server.settings.Locale.Zone = zone
	w := answerTo(server.Handler(), fromHere("GET", "/api/v1/history/prints?step=day&from=2026-06-12&to=2026-06-13", ""))
	rows := object(t, w)["prints"].([]any)
	if len(rows) != 1 {
		t.Fatal(rows)
	}
	row := rows[0].(map[string]any)
	if got := fmt.Sprint(row["time"], row["to"], row["local"]); got != "2026-06-12T04:00:00Z"+"2026-06-13T04:00:00Z"+"2026-06-12T00:00:00-04:00" {
		t.Error(got)
	}
}
