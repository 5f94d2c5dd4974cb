package main

import (
	"strings"
	"testing"
)

func TestLifeWithADehumidifierIsTheLifeInThatAir(t *testing.T) {
	a := lifeOf(t, "", with(usualRange, "--temperature", "20", "--humidity", "80", "--dehumidifier", "50")...)
	// Computed with a second implementation in Python/SciPy.
	closeTo(t, "as it is", a.LifeH.Nominal, 6, 1e-4)
	closeTo(t, "dried", a.Dehumidifier.LifeH.Nominal, 7.0588, 1e-4)
	closeTo(t, "level", a.Dehumidifier.HumidityPct, 50, 0)
	if direct := lifeOf(t, "", with(usualRange, "--temperature", "20", "--humidity", "50")...); direct.LifeH != a.Dehumidifier.LifeH || direct.MoistureShare != a.Dehumidifier.MoistureShare {
		t.Errorf("dried %+v, in such air %+v", a.Dehumidifier.LifeH, direct.LifeH)
	}
	if dry := lifeOf(t, "", with(usualRange, "--temperature", "20", "--humidity", "40", "--dehumidifier", "50")...); dry.LifeH != dry.Dehumidifier.LifeH {
		t.Errorf("air that is dry enough: %+v, %+v", dry.LifeH, dry.Dehumidifier.LifeH)
	}
	if out := answered(t, lifeCommand(), "", with(usualRange, "--temperature", "20", "--humidity", "40", "--json")...); strings.Contains(out, "dehumidifier") {
		t.Errorf("nobody asked: %s", out)
	}
}

// Humidity goes from 30 to 80 % in 5 h at 20 °C; cut off at 50 % it is 40 % for 2 h and 50 % for 3 h in the mean.
func TestDehumidifierCutsTheLineBetweenRows(t *testing.T) {
	const ramp = "time,temperature_c,humidity_pct\n2026-06-12T08:00:00Z,20,30\n2026-06-12T13:00:00Z,20,80\n"
	args := with(usualRange, "--climate", "-", "--mixed-at", "2026-06-12T08:00:00Z", "--lag", "0", "--dehumidifier", "50")
	a := lifeOf(t, ramp, args...)
	closeTo(t, "spent", a.Spent, 5*(0.1+3.563075e-5*0.55*2338.804), 1e-6)
	closeTo(t, "spent, dried", a.Dehumidifier.Spent, 5*0.1+3.563075e-5*(2*0.40+3*0.50)*2338.804, 1e-6)
	if !a.Dehumidifier.EndsAt.Low.After(a.EndsAt.Low) || !a.Dehumidifier.EndsAt.Nominal.After(a.EndsAt.Nominal) {
		t.Errorf("dried %+v, as it is %+v", a.Dehumidifier.EndsAt, a.EndsAt)
	}
	closeTo(t, "longest gap of the record", a.Dehumidifier.LongestGapS, 5*3600, 0)
	closeTo(t, "life in the last air, dried", a.Dehumidifier.LifeH.Nominal, 7.0588, 1e-4)
	out := answered(t, lifeCommand(), ramp, with(args, "--drift")...)
	for _, want := range []string{"no more than 50 % pass", "nominal end", "never adds water", "drift starts from the dried air"} {
		if !strings.Contains(out, want) {
			t.Errorf("%s\nlacks %q", out, want)
		}
	}
}

func TestDehumidifierRefuses(t *testing.T) {
	for _, level := range []string{"-1", "100.1", "NaN"} {
		refused(t, lifeCommand(), "", "--dehumidifier", with(usualRange, "--temperature", "20", "--humidity", "80", "--dehumidifier", level)...)
	}
}
