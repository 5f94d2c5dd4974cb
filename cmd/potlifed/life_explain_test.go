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
		{slow, air.State{TemperatureC: 20, HumidityPct: 86}, "not checked"}, {slow, air.State{TemperatureC: 24, HumidityPct: 85}, ""},
		{slow, air.State{TemperatureC: 30, HumidityPct: 50}, "57.5 ± 20 kJ/mol"}, {slow, air.State{TemperatureC: 12, HumidityPct: 50}, "nearest to your shop's."},
		{cure.Sheet{Shortest: 6 * time.Hour, Longest: 8 * time.Hour, AtTemperatureC: 30, DryPct: 30, HumidPct: 80}, air.State{TemperatureC: 30, HumidityPct: 50}, ""},
		{fast, air.State{TemperatureC: 20, HumidityPct: 50}, "gel point"},
	} {
		ink, err := row.sheet.Calibrate()
		if err != nil {
			t.Fatal(err)
		}
		got := strings.Join(cautionsOf(ink, row.a), " ")
		if row.want == "" && got != "" || !strings.Contains(got, row.want) {
			t.Errorf("%+v in %+v: %q", row.sheet, row.a, got)
		}
	}
}

// A fast ink warms itself by its mass; a slow one does not.
func TestLifeOfAMass(t *testing.T) {
	of := func(about string, more ...string) lifeAnswer {
		return lifeOf(t, "", append([]string{"--about", about, "--temperature", "23", "--humidity", "50"}, more...)...)
	}
	if plain, heavy := of("2h"), of("2h", "--grams", "500"); !(heavy.LifeH.Low < 0.97*plain.LifeH.Low && heavy.LifeH.High <= plain.LifeH.High && heavy.LifeH.Nominal == plain.LifeH.Nominal) {
		t.Errorf("500 g of a fast ink: %+v, without a mass %+v", heavy.LifeH, plain.LifeH)
	} else if len(plain.Cautions) != 1 || !strings.Contains(plain.Cautions[0], "--grams") || strings.Contains(heavy.Cautions[0], "--grams") {
		t.Errorf("%q, with a mass %q", plain.Cautions, heavy.Cautions)
	}
	if plain, heavy := of("7h"), of("7h", "--grams", "500"); heavy.LifeH != plain.LifeH {
		t.Errorf("500 g of a slow ink: %+v, without a mass %+v", heavy.LifeH, plain.LifeH)
	}
}
