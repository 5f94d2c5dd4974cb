package main

import (
	"strings"
	"testing"
	"time"

	"potlifed/model/air"
	"potlifed/model/cure"
)

func TestLifeExplainsItsBand(t *testing.T) {
	got := lifeOf(t, "", "--about", "8h", "--temperature", "30", "--humidity", "50", "--explain")
	if got.Explained == nil || len(got.Explained.Parts) < 3 || len(got.Explained.Narrowings) < 2 {
		t.Fatalf("%+v", got)
	}
	sum := 0.0
	for _, p := range got.Explained.Parts {
		sum += p.Share
		if partWords[p.Part] == "" {
			t.Errorf("%q has no words", p.Part)
		}
	}
	closeTo(t, "sum of shares", sum, 1, 1e-9)
	for _, n := range got.Explained.Narrowings {
		if narrowWords[n.By] == "" {
			t.Errorf("%q has no words", n.By)
		}
	}
	if best := got.Explained.Narrowings[0]; best.By != cure.NarrowFlowTimes && best.By != cure.NarrowTwoFigures {
		t.Errorf("one figure, and nobody measured the batch: the best is %+v", best)
	}
	if plain := lifeOf(t, "", "--about", "8h", "--temperature", "30", "--humidity", "50"); plain.Explained != nil {
		t.Error("explained without --explain")
	}
}

func TestLifeSaysWhereTheModelIsNotChecked(t *testing.T) {
	slow, fast := cure.Sheet{Shortest: 6 * time.Hour, Longest: 8 * time.Hour}, cure.Sheet{About: 2 * time.Hour}
	for _, row := range []struct {
		sheet cure.Sheet
		a     air.State
		want  string
	}{
		{slow, air.State{TemperatureC: 38, HumidityPct: 92}, "not checked"}, {slow, air.State{TemperatureC: 2, HumidityPct: 15}, "not checked"},
		{slow, air.State{TemperatureC: 20, HumidityPct: 86}, "not checked"}, {slow, air.State{TemperatureC: 35, HumidityPct: 85}, ""},
		{fast, air.State{TemperatureC: 20, HumidityPct: 50}, "gel point"},
	} {
		got := strings.Join(cautionsOf(row.sheet, row.a), " ")
		if row.want == "" && got != "" || !strings.Contains(got, row.want) {
			t.Errorf("%+v in %+v: %q", row.sheet, row.a, got)
		}
	}
}
