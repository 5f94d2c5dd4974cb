package web

import (
	"context"
	"errors"
	"net/http"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/record"
	"potlifed/model/air"
	"potlifed/model/cure"
	"potlifed/model/guide"
	"potlifed/model/mix"
)

// The stand's past: one batch that was poured from one can and printed on press-1.

func (s *stand) About(_ context.Context, batch string) ([]record.Record, error) {
	if batch != "0612-1" {
		return nil, s.unread
	}
	m, err := guide.Recorded(guide.Recipe{Ratio: 5, TolerancePct: 5, InkTargetG: 85, DivisionG: 1}, mix.Amounts{InkG: 85, HardenerG: 17}, at, at)
	if err != nil {
		return nil, err
	}
	m = m.FromCans([]guide.Drawn{{Part: mix.Ink, Can: "ink-1", G: 85}})
	basis := record.Basis{Life: oneLife(at).Ensemble.Ink(), Place: cure.Place{Exposure: 1, Lag: time.Minute}}
	return numbered(
		record.Recorded{Batch: "0612-1", Day: "20260612", Ink: "dial-satin", Zone: "bench", MixedAt: at, Mix: m, Basis: basis}, poured,
		record.Loaded{Batch: "0612-1", Press: "press-1"}, record.Printed{Press: "press-1", Batch: "0612-1", Add: 120},
		record.Defects{Press: "press-1", Defect: "dust", Batch: "0612-1", Add: 7, Minute: at}, record.Defects{Press: "press-1", Defect: "dust", Batch: "0612-1", Add: -2, Minute: at},
		record.Defects{Press: "press-1", Defect: "ghost", Batch: "0612-1", Add: 0, Minute: at},
		record.Tested{Batch: "0612-1", Test: "rub", Result: "pass"}, record.Closed{Batch: "0612-1", Ink: "dial-satin", Outcome: "used-up", LeftG: ptr(3.5)},
	), s.unread
}

var poured = record.PouredFrom{Batch: "0612-1", Can: "ink-1", Part: mix.Ink, Material: "dial-satin", Lot: "A 17", G: 85}

func numbered(bodies ...record.Body) []record.Record {
	var list []record.Record
	for i, b := range bodies {
		list = append(list, record.Record{Seq: uint64(i + 1), Stamp: record.Stamp{At: at.Add(time.Duration(i) * time.Minute), Synced: true}, By: "anna", Body: b})
	}
	return list
}

func (s *stand) Clock(context.Context, uint64, uint64) ([]record.Record, error) { return nil, s.unread }

func (s *stand) PouredFromCan(_ context.Context, can string, before uint64, limit int) ([]record.Record, error) {
	if can != "ink-1" || before <= 2 {
		return nil, s.unread
	}
	return numbered(record.Stopped{}, poured)[1:], s.unread
}

func (s *stand) PouredFromLot(ctx context.Context, lot string, before uint64, limit int) ([]record.Record, error) {
	if lot != "A 17/b" && lot != "A 17" {
		return nil, s.unread
	}
	return s.PouredFromCan(ctx, "ink-1", before, limit)
}

func (s *stand) Over(_ context.Context, from, to time.Time, _ int) ([]record.Record, error) {
	s.from, s.to = from, to
	return numbered(record.Closed{Batch: "0612-1", Outcome: "went-off", LeftG: ptr(3.5)}, record.Closed{Batch: "0612-2", Outcome: "went-off"}), s.unread
}

func (s *stand) Ended(_ context.Context, from, to time.Time, before uint64, _ int) ([]record.Record, error) {
	s.from, s.to = from, to
	if before <= 9 {
		return nil, s.unread
	}
	past, err := s.About(nil, "0612-1")
	return past[len(past)-1:], err
}

func (s *stand) Replay(ctx context.Context, _ []uint64, _ []string, _ time.Time, each func(record.Record) error) error {
	past, err := s.About(ctx, "0612-1")
	for _, r := range past {
		step := record.AirStep{Zone: "bench", Start: r.Stamp.At, Step: cure.Step{
			Duration: time.Minute, From: air.State{TemperatureC: 21, HumidityPct: 45}, To: air.State{TemperatureC: 22, HumidityPct: 45}, Kind: cure.Measured,
		}}
		for _, r := range []record.Record{r, {Stamp: r.Stamp, Body: step}} {
			if err := each(r); err != nil {
				return err
			}
		}
	}
	return err
}

func TestWhatWentWhere(t *testing.T) {
	s := newStand()
	h := newServer(t, s).Handler()
	v := object(t, answerTo(h, fromHere("GET", "/api/v1/lots/A%2017/batches", "")))
	rows := v["batches"].([]any)
	if len(rows) != 1 || v["next"] != 0.0 {
		t.Fatalf("of the lot: %v", v)
	}
	b := rows[0].(map[string]any)
	if b["id"] != "0612-1" || b["prints"] != 120.0 || dig(b["presses"].([]any)[0], "press") != "press-1" || dig(b["lots"].([]any)[0], "lot") != "A 17" || b["left_g"] != 3.5 {
		t.Errorf("%v", b)
	}
	v = object(t, answerTo(h, fromHere("GET", "/api/v1/cans/ink-1/batches?limit=1", "")))
	if len(v["batches"].([]any)) != 1 || v["next"] != 2.0 {
		t.Errorf("of the can: %v", v)
	}
	for _, nothing := range []string{"lots/B%2017/batches", "cans/ink-9/batches", "cans/ink-1/batches?before=2", "lots/A%2017%2Fc/batches"} {
		if v = object(t, answerTo(h, fromHere("GET", "/api/v1/"+nothing, ""))); len(v["batches"].([]any)) != 0 || v["next"] != 0.0 {
			t.Errorf("%s: %v", nothing, v)
		}
	}
	for _, wrong := range []string{"cans/ink-1/batches?limit=0", "cans/ink-1/batches?limit=101", "cans/ink-1/batches?before=-1", "lots/" + strings.Repeat("x", 300) + "/batches"} {
		isProblem(t, answerTo(h, fromHere("GET", "/api/v1/"+wrong, "")), http.StatusUnprocessableEntity)
	}

	v = object(t, answerTo(h, fromHere("GET", "/api/v1/batches/0612-1/history", "")))
	var kinds []string
	for _, e := range v["events"].([]any) {
		kinds = append(kinds, e.(map[string]any)["kind"].(string))
	}
	if got := strings.Join(kinds, " "); got != "recorded poured-from loaded tested closed" || v["outcome"] != "used-up" {
		t.Errorf("events %s of %v", got, v)
	}
	isProblem(t, answerTo(h, fromHere("GET", "/api/v1/batches/0612-77/history", "")), http.StatusNotFound)

	s.unread = errors.New("database is locked")
	for _, path := range []string{"lots/x/batches", "cans/x/batches", "batches/x/history", "waste"} {
		isProblem(t, answerTo(h, fromHere("GET", "/api/v1/"+path, "")), http.StatusServiceUnavailable)
	}
}

func TestWasteLog(t *testing.T) {
	s := newStand()
	h := newServer(t, s).Handler()
	v := object(t, answerTo(h, fromHere("GET", "/api/v1/waste", "")))
	row := v["waste"].([]any)[0].(map[string]any)
	if row["month"] != "2026-06" || row["kind"] != "went-off" || row["grams"] != 3.5 || row["batches"] != 2.0 || row["not_weighed"] != 1.0 {
		t.Errorf("%v", v)
	}
	if s.to.Sub(s.from) < 364*24*time.Hour || !s.to.After(at) {
		t.Errorf("without a span: from %v to %v", s.from, s.to)
	}
	want := "month,kind,grams,batches,not_weighed\n2026-06,went-off,3.5,2,1\n"
	r := fromHere("GET", "/api/v1/waste?from=2026-06-01&to=2026-07-01T00:00:00Z", "")
	r.Header.Set("Accept", "text/csv")
	if w := answerTo(h, r); w.Body.String() != want || w.Header().Get("Content-Type") != "text/csv; charset=utf-8" {
		t.Errorf("%v %q", w.Header(), w.Body)
	}
	if !s.from.Equal(time.Date(2026, 6, 1, 0, 0, 0, 0, time.Local)) || !s.to.Equal(time.Date(2026, 7, 1, 0, 0, 0, 0, time.UTC)) {
		t.Errorf("from %v to %v", s.from, s.to)
	}
	if w := answerTo(h, fromHere("GET", "/api/v1/waste?format=csv", "")); w.Body.String() != want {
		t.Errorf("%q", w.Body)
	}
	for _, wrong := range []string{"from=june", "from=2026-06-02&to=2026-06-01", "from=1999-01-01", "format=xml"} {
		isProblem(t, answerTo(h, fromHere("GET", "/api/v1/waste?"+wrong, "")), http.StatusUnprocessableEntity)
	}
}
