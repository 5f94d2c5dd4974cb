package main

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/planning"
	"potlifed/model/air"
	"potlifed/model/cure"
)

func planOf(t testing.TB, args ...string) planning.Answer {
	t.Helper()
	var a planning.Answer
	if err := json.Unmarshal([]byte(answered(t, planCommand(), "", append(args, "--json")...)), &a); err != nil {
		t.Fatal(err)
	}
	return a
}

// inHours is what the rounding of a time to four decimals may be off.
const inHours = 5.1e-5

// The ratio of usualRun is common practice, no source; so are the usual masses of the cup.
var usualRun = []string{"--prints", "6600", "--grams-per-print", "0.05", "--prints-per-hour", "600", "--ratio", "4:1"}

func TestPlanJSON(t *testing.T) {
	a := planOf(t, with(usualRun, "--low", "5h", "--start", "2026-06-12T08:00:00+02:00")...)
	if len(a.Mixes) != 3 || a.LeftBecause != "nothing-left" {
		t.Fatalf("%+v", a)
	}
	m := a.Mixes[1]
	// 110 g are 80 g of ink, 20 of hardener and 10 % of 100 g of thinner: common practice, no source.
	closeTo(t, "ink", m.InkG, 80, 1e-9)
	closeTo(t, "hardener", m.HardenerG, 20, 1e-9)
	closeTo(t, "thinner", m.ThinnerG, 10, 1e-9)
	closeTo(t, "total", m.TotalG, 110, 1e-9)
	closeTo(t, "begin", m.BeginH, 2200.0/600, inHours)
	closeTo(t, "print from", m.PrintFromH, 2200.0/600+0.25, inHours)
	closeTo(t, "low", m.LowH, 2200.0/600+5, inHours)
	closeTo(t, "finish", a.FinishH, 11.25, 1e-9)
	closeTo(t, "spare", a.SpareH, 13.0/12, inHours)
	if want := time.Date(2026, 6, 12, 9, 40, 0, 0, time.UTC); !m.BeginAt.Equal(want) || !a.FinishAt.Equal(want.Add(455*time.Minute)) {
		t.Errorf("begin at %v, finish at %v", m.BeginAt, a.FinishAt)
	}
	out := answered(t, planCommand(), "", with(usualRun, "--low", "5h", "--json")...)
	for _, key := range []string{`"mixes":[{"number":1,"press":1,"prints":2200,"ink_g":80`, `"left_g":0`, `"left_because":"nothing-left"`, `"faster":[]`, `"assumed":["the cup's minimum is 60 g of ink"`} {
		if !strings.Contains(out, key) {
			t.Errorf("%s\nlacks %s", out, key)
		}
	}
	if strings.Contains(out, "_at") {
		t.Errorf("a time without --start: %s", out)
	}
}

func TestPlanFromAreaAndFilm(t *testing.T) {
	a := planOf(t, "--prints", "1000", "--area-cm2", "12", "--film-um", "30", "--density-g-cm3", "1.25", "--prints-per-hour", "600", "--ratio", "4:1", "--low", "5h")
	closeTo(t, "grams a print", a.GramsPerPrint, 0.045, 1e-12)
	closeTo(t, "left", a.LeftG, 82.5-45, 1e-9)
}

// Without --low the first mix has the low bound that life gives with the same flags and --drift, and later ones less.
func TestPlanReckonsTheLifeAsLifeDoes(t *testing.T) {
	sheet := with(usualRange, "--temperature", "24", "--humidity", "55", "--accuracy", "0.3,2")
	a := planOf(t, append(usualRun, sheet...)...)
	want := lifeOf(t, "", with(sheet, "--drift")...).LifeH.Low
	closeTo(t, "low of the first mix", a.Mixes[0].LowH-a.Mixes[0].BeginH, want, 2*inHours)
	last := a.Mixes[len(a.Mixes)-1]
	if later := last.LowH - last.BeginH; later >= want {
		t.Errorf("a mix begun after %v h lives %v h by its low bound, the first %v h", last.BeginH, later, want)
	}
	for _, m := range a.Mixes {
		if m.UsedUpH > m.LowH {
			t.Errorf("%+v", m)
		}
	}
}

func TestLowFromNowFallsAndThenStays(t *testing.T) {
	ink, err := cure.Sheet{Shortest: 6 * time.Hour, Longest: 8 * time.Hour}.Calibrate()
	if err != nil {
		t.Fatal(err)
	}
	now := air.State{TemperatureC: 22, HumidityPct: 50}
	fresh := cure.New(ink, cure.Sensor{Exact: true}, 0, now)
	low := planning.LowFromNow(fresh, cure.Place{Exposure: 1}, now)
	before := low(0)
	for hour := time.Hour; hour <= 24*time.Hour; hour += time.Hour {
		if at := low(hour - 30*time.Minute); at >= before || at != low(hour) {
			t.Errorf("in the hour before %v: %v, at it %v, before %v", hour, at, low(hour), before)
		}
		// In steps of an hour, and never more than asked about at once.
		if direct := fresh.Forecast(cure.Place{Exposure: 1}, now, hour).Low; direct != low(hour) {
			t.Errorf("at %v: %v, want %v", hour, low(hour), direct)
		}
		before = low(hour)
	}
	if low(1000*time.Hour) != low(24*time.Hour) {
		t.Errorf("after a day %v, much later %v", low(24*time.Hour), low(1000*time.Hour))
	}
}

func TestPlanForPeople(t *testing.T) {
	out := answered(t, planCommand(), "", with(usualRun, "--low", "5h")...)
	for _, want := range []string{"6600 prints of 0.05 g are 330.0 g of mix, on 1 press: 3 mixes", "Nothing is left over", "done at 11:15", "1:05 to spare",
		"Assumed: the cup's minimum is 60 g of ink; the cup takes 110 g of mix", "data sheet decides", "one batch of ten is over before its low bound"} {
		if !strings.Contains(out, want) {
			t.Errorf("%s\nlacks %q", out, want)
		}
	}
	if strings.Contains(out, "kJ/mol") {
		t.Errorf("--low rests on no data sheet:\n%s", out)
	}
	for _, row := range []struct {
		want string
		args []string
	}{
		{"2026-06-12 11:40", with(usualRun, "--low", "5h", "--start", "2026-06-12T08:00:00+02:00")},
		{"52.5 g of each are thrown away", []string{"--prints", "3000", "--grams-per-print", "0.02", "--prints-per-hour", "600", "--ratio", "4:1", "--low", "165m"}},
		{"the run does not use its mixes up", []string{"--prints", "100", "--grams-per-print", "0.02", "--prints-per-hour", "600", "--ratio", "4:1", "--low", "3h"}},
		{"30.0 g are left over, the 10 g of each mix", with(usualRun, "--low", "6h", "--residue-g", "10", "--fill-maximum-g", "120")},
		{"Only 3 of the 5 presses are needed", with(usualRun, "--low", "5h", "--presses", "5")},
		{"With 4 mixes it would be done", with(usualRun, "--low", "5h", "--presses", "2")},
		{"presses stand still for", with(usualRun, "--low", "5h", "--presses", "9", "--fill-maximum-g", "5", "--ink-minimum-g", "0")},
		{"activation energy is 50 kJ/mol; exposure is 1; the sensor is right; the air drifts", with(usualRun, "--about", "8h", "--temperature", "20", "--humidity", "50")},
	} {
		if out := answered(t, planCommand(), "", row.args...); !strings.Contains(out, row.want) {
			t.Errorf("%v:\n%s\nlacks %q", row.args, out, row.want)
		}
	}
}

func TestPlanRefuses(t *testing.T) {
	refused(t, planCommand(), "", "--prints is missing")
	refused(t, planCommand(), "", "--grams-per-print is missing", "--prints", "100")
	refused(t, planCommand(), "", "--ratio", with(usualRun[:6], "--ratio", "four", "--low", "5h")...)
	refused(t, planCommand(), "", "cannot be given together", with(usualRun, "--low", "5h", "--film-um", "30")...)
	refused(t, planCommand(), "", "--film-um 0", "--prints", "100", "--area-cm2", "3")
	refused(t, planCommand(), "", "the life is missing: give --low", usualRun...)
	refused(t, planCommand(), "", "--low and --humidity cannot be given together", with(usualRun, "--low", "5h", "--humidity", "50")...)
	refused(t, planCommand(), "", "--low -1h0m0s", with(usualRun, "--low", "-1h")...)
	refused(t, planCommand(), "", "--temperature is missing", with(usualRun, "--about", "8h")...)
	refused(t, planCommand(), "", "plan: pot life", with(usualRun, "--shortest", "8h", "--longest", "6h", "--temperature", "20", "--humidity", "50")...)
	refused(t, planCommand(), "", "plan: --accuracy", with(usualRun, "--about", "8h", "--temperature", "20", "--humidity", "50", "--accuracy", "x")...)
	refused(t, planCommand(), "", "--exposure 2", with(usualRun, "--about", "8h", "--temperature", "20", "--humidity", "50", "--exposure", "2")...)
	refused(t, planCommand(), "", "a cup's minimum of 137.5 g of mix: want 0 to what it takes, 110 g", with(usualRun, "--low", "5h", "--ink-minimum-g", "100")...)
	refused(t, planCommand(), "", "0 presses", with(usualRun, "--low", "5h", "--presses", "0")...)
	refused(t, planCommand(), "", "--start \"noon\"", with(usualRun, "--low", "5h", "--start", "noon")...)
	refused(t, planCommand(), "", "--thinner-pct NaN", with(usualRun, "--low", "5h", "--thinner-pct", "NaN")...)
	refused(t, planCommand(), "", "only flags", with(usualRun, "much")...)
}

// What cannot be done is another exit code than what is asked wrongly.
func TestPlanThatCannotBeMade(t *testing.T) {
	_, code, err := asked(t, planCommand(), "", with(usualRun, "--low", "20m", "--rest", "10m")...)
	if code != exitFault || err == nil || !strings.Contains(err.Error(), "low bound 20m0s, mixing and rest take 25m0s") {
		t.Errorf("exit %d, %v", code, err)
	}
}
