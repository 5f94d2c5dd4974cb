package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func lifeOf(t testing.TB, stdin string, args ...string) lifeAnswer {
	t.Helper()
	a := lifeAnswer{lifeFigures: lifeFigures{lifeAlong: &lifeAlong{}}, Dehumidifier: &driedLife{lifeFigures: lifeFigures{lifeAlong: &lifeAlong{}}}}
	if err := json.Unmarshal([]byte(answered(t, lifeCommand(), stdin, append(args, "--json")...)), &a); err != nil {
		t.Fatal(err)
	}
	return a
}

// usualRange is common practice, no source.
var usualRange = []string{"--shortest", "6h", "--longest", "8h"}

func with(base []string, more ...string) []string {
	return append(append([]string(nil), base...), more...)
}

// Figures computed with a second implementation in Python/SciPy, unless said otherwise.
func TestLifeInStillAir(t *testing.T) {
	a := lifeOf(t, "", with(usualRange, "--temperature", "25", "--humidity", "60")...)
	closeTo(t, "nominal", a.LifeH.Nominal, 4.7890, 1e-3)
	closeTo(t, "nominal times rate", a.LifeH.Nominal*a.SpentPerH, 1, 1e-12)
	a = lifeOf(t, "", with(usualRange, "--temperature", "20", "--humidity", "50")...)
	closeTo(t, "share", a.MoistureShare, 0.2941, 1e-4)
	closeTo(t, "nominal", a.LifeH.Nominal, 7.0588, 1e-4)
	// ln L spread 0.10 and sigma about 0.15 (itself spread) around the median.
	closeTo(t, "expected", a.LifeH.Expected, 7.06, 0.03)
	if low, high := 7.0588*math.Exp(-1.2816*0.195), 7.0588*math.Exp(1.2816*0.195); math.Abs(a.LifeH.Low-low) > 0.15 || math.Abs(a.LifeH.High-high) > 0.2 {
		t.Errorf("low %v, high %v; want about %v, %v", a.LifeH.Low, a.LifeH.High, low, high)
	}
	closeTo(t, "half exposed", lifeOf(t, "", with(usualRange, "--temperature", "20", "--humidity", "50", "--exposure", "0.5")...).LifeH.Nominal, 8.2759, 1e-4)
	closeTo(t, "one figure", lifeOf(t, "", "--about", "8h", "--temperature", "20", "--humidity", "50").LifeH.Nominal, 8, 1e-9)
	closeTo(t, "sheet at 23 °C", lifeOf(t, "", with(usualRange, "--at", "23", "--temperature", "20", "--humidity", "50")...).LifeH.Nominal, 8.62732, 1e-5)
}

func TestLifeCountsWhatItIsToldTo(t *testing.T) {
	air := with(usualRange, "--temperature", "22", "--humidity", "55")
	width := func(a lifeAnswer) float64 { return a.LifeH.High - a.LifeH.Low }
	plain, sensor, drift := lifeOf(t, "", air...), lifeOf(t, "", with(air, "--accuracy", "2,5")...), lifeOf(t, "", with(air, "--drift")...)
	if width(sensor) <= width(plain) || width(drift) <= width(plain) || sensor.LifeH.Nominal != plain.LifeH.Nominal {
		t.Errorf("plain %+v, with a sensor %+v, with drift %+v", plain.LifeH, sensor.LifeH, drift.LifeH)
	}
}

func TestLifeForPeopleShowsItsAssumptions(t *testing.T) {
	out := answered(t, lifeCommand(), "", with(usualRange, "--temperature", "22", "--humidity", "55")...)
	for _, want := range []string{"at 30 % and 6 h at 80 % (assumed), both at 20 °C (assumed)", "nominal", "not of adhesion", "data sheet decides", "the ink alone"} {
		if !strings.Contains(out, want) {
			t.Errorf("%s\nlacks %q", out, want)
		}
	}
	out = answered(t, lifeCommand(), "", with(usualRange, "--temperature", "22", "--humidity", "55", "--dry", "30", "--humid", "80")...)
	if strings.Contains(out, "80 % (assumed)") {
		t.Errorf("given ends are called assumed:\n%s", out)
	}
}

const rampClimate = "time,temperature_c,humidity_pct\n2026-06-12T08:00:00Z,20,50\n2026-06-12T14:00:00Z,30,50\n"

func TestLifeAlongARamp(t *testing.T) {
	args := with(usualRange, "--climate", "-", "--mixed-at", "2026-06-12T10:00:00+02:00", "--lag", "0")
	a := lifeOf(t, rampClimate, args...)
	closeTo(t, "spent", a.Spent, 1.204095, 1e-6)
	mixed := time.Date(2026, 6, 12, 8, 0, 0, 0, time.UTC)
	closeTo(t, "nominal end, h", a.EndsAt.Nominal.Sub(mixed).Hours(), 5.21937, 1e-5)
	if !(a.EndsAt.Low.Before(a.EndsAt.Expected) && a.EndsAt.Expected.Before(a.EndsAt.High)) {
		t.Errorf("%+v", a.EndsAt)
	}
	// high lies beyond the record, and the answer says so.
	if a.AssumedFrom == nil || !a.AssumedFrom.Equal(mixed.Add(6*time.Hour)) {
		t.Errorf("air assumed from %v", a.AssumedFrom)
	}
	closeTo(t, "rate in the last air", a.SpentPerH, 1/3.6713, 1e-4)
	half := lifeOf(t, rampClimate, with(args, "--until", "2026-06-12T11:00:00Z")...)
	if !(half.Spent > 0.4 && half.Spent < 0.55) || half.EndsAt != a.EndsAt {
		t.Errorf("until noon: spent %v, ends %+v", half.Spent, half.EndsAt)
	}
	lagging := lifeOf(t, rampClimate, with(usualRange, "--climate", "-", "--mixed-at", "2026-06-12T08:00:00Z")...)
	if lagging.Spent >= a.Spent {
		t.Errorf("a cup that lags spends %v, without lag %v", lagging.Spent, a.Spent)
	}
	text := answered(t, lifeCommand(), rampClimate, args...)
	if !strings.Contains(text, "after 2026-06-12T14:00:00Z the last air is taken to stay") {
		t.Error(text)
	}
}

func TestLifeBeyondTheRecordGoesOnInTheLastAir(t *testing.T) {
	still := "time,temperature_c,humidity_pct\n2026-06-12T08:00:00Z,20,50\n2026-06-12T09:00:00Z,20,50\n"
	for _, mixed := range []string{"2026-06-12T08:00:00Z", "2026-06-12T09:00:00Z"} {
		a := lifeOf(t, still, with(usualRange, "--climate", "-", "--mixed-at", mixed)...)
		at, err := time.Parse(time.RFC3339, mixed)
		if err != nil {
			t.Fatal(err)
		}
		closeTo(t, "nominal", a.EndsAt.Nominal.Sub(at).Hours(), 7.058824, 1e-6)
		closeTo(t, "expected", a.EndsAt.Expected.Sub(at).Hours(), a.LifeH.Expected, 1e-5)
		closeTo(t, "low", a.EndsAt.Low.Sub(at).Hours(), a.LifeH.Low, 1e-5)
		closeTo(t, "high", a.EndsAt.High.Sub(at).Hours(), a.LifeH.High, 1e-5)
	}
	// Much colder than the record so far: the cup's lag makes the end later than the settled rate says.
	warming := "time,temperature_c,humidity_pct\n2026-06-12T08:00:00Z,-20,50\n2026-06-12T08:00:01Z,35,50\n"
	a := lifeOf(t, warming, with(usualRange, "--climate", "-", "--mixed-at", "2026-06-12T08:00:00Z", "--lag", "20h")...)
	if hours := a.EndsAt.Nominal.Sub(time.Date(2026, 6, 12, 8, 0, 0, 0, time.UTC)).Hours(); hours < a.LifeH.Nominal {
		t.Errorf("nominal end after %v h, in settled air %v h", hours, a.LifeH.Nominal)
	}
}

func TestLifeReadsAClimateFile(t *testing.T) {
	name := filepath.Join(t.TempDir(), "room.csv")
	if err := os.WriteFile(name, []byte(rampClimate), 0o600); err != nil {
		t.Fatal(err)
	}
	a := lifeOf(t, "", with(usualRange, "--climate", name, "--mixed-at", "2026-06-12T08:00:00Z", "--lag", "0")...)
	closeTo(t, "spent", a.Spent, 1.204095, 1e-6)
	refused(t, lifeCommand(), "", "no such file", with(usualRange, "--climate", name+"x", "--mixed-at", "2026-06-12T08:00:00Z")...)
}

func TestLifeRefuses(t *testing.T) {
	air := []string{"--temperature", "20", "--humidity", "50"}
	refused(t, lifeCommand(), "", "--shortest and --longest are missing", air...)
	refused(t, lifeCommand(), "", "write about: 6h", with(air, "--shortest", "6h", "--longest", "6h")...)
	refused(t, lifeCommand(), "", "not both", with(air, "--shortest", "6h", "--longest", "8h", "--about", "7h")...)
	refused(t, lifeCommand(), "", "no share of the moisture path", with(air, "--shortest", "6h", "--longest", "8h", "--dry", "70", "--humid", "80")...)
	refused(t, lifeCommand(), "", "both 0 %", with(air, "--shortest", "6h", "--longest", "8h", "--dry", "0", "--humid", "0")...)
	refused(t, lifeCommand(), "", "25 to 90", with(air, "--about", "8h", "--activation-kj-mol", "0")...)
	refused(t, lifeCommand(), "", "25..90", with(air, "--about", "8h", "--activation-kj-mol", "200")...)
	refused(t, lifeCommand(), "", "--exposure 0", with(air, "--about", "8h", "--exposure", "0")...)
	refused(t, lifeCommand(), "", "--exposure 1.5", with(air, "--about", "8h", "--exposure", "1.5")...)
	refused(t, lifeCommand(), "", "--accuracy", with(air, "--about", "8h", "--accuracy", "0.3")...)
	refused(t, lifeCommand(), "", "--accuracy", with(air, "--about", "8h", "--accuracy", "0.3,x")...)
	refused(t, lifeCommand(), "", "--humidity is missing", "--about", "8h", "--temperature", "20")
	refused(t, lifeCommand(), "", "humidity 120", "--about", "8h", "--temperature", "20", "--humidity", "120")
	refused(t, lifeCommand(), "", "--mixed-at works only with --climate", with(air, "--about", "8h", "--mixed-at", "2026-06-12T08:00:00Z")...)
	refused(t, lifeCommand(), "", "want a duration with its unit", with(air, "--about", "eight")...)

	along := []string{"--about", "8h", "--climate", "-"}
	refused(t, lifeCommand(), rampClimate, "--mixed-at is missing", along...)
	refused(t, lifeCommand(), rampClimate, "outside the climate, which runs from 2026-06-12T08:00:00Z to 2026-06-12T14:00:00Z", with(along, "--mixed-at", "2026-06-12T07:59:59Z")...)
	refused(t, lifeCommand(), rampClimate, "--mixed-at \"noon\" is not a time", with(along, "--mixed-at", "noon")...)
	refused(t, lifeCommand(), rampClimate, "--until 2026-06-12T20:00:00Z is outside", with(along, "--mixed-at", "2026-06-12T09:00:00Z", "--until", "2026-06-12T20:00:00Z")...)
	refused(t, lifeCommand(), rampClimate, "is before --mixed-at", with(along, "--mixed-at", "2026-06-12T09:00:00Z", "--until", "2026-06-12T08:30:00Z")...)
	refused(t, lifeCommand(), rampClimate, "--lag", with(along, "--mixed-at", "2026-06-12T09:00:00Z", "--lag", "-1m")...)
}

// TestLifeTakesTheHistoryOfTheAir: what the API serves as CSV is a climate for life.
func TestLifeTakesTheHistoryOfTheAir(t *testing.T) {
	t.Parallel()
	p := start(t, newHardware(t).configuration(t, ""))
	id := p.loads()
	if _, wrong := p.post("batches/"+id+"/good", map[string]any{}); wrong != nil { // the air goes to disk with it
		t.Fatal(wrong)
	}
	mixed := p.batch(id).MixedAt.Format(time.RFC3339Nano)
	history := p.text("/api/v1/history/air?zone=bench&format=csv")
	code, out, errs := command(t, "life", "--about", "5h", "--climate", "-")
	if code != 2 || !strings.Contains(errs, "--mixed-at is missing") {
		t.Fatalf("exit %d, %s%s", code, out, errs)
	}
	a := lifeOf(t, history, "--about", "5h", "--climate", "-", "--mixed-at", mixed)
	closeTo(t, "life in the bench's air, 20 °C and 50 %", a.LifeH.Nominal, 5, 1e-6)
	p.stop()
}

// The air of two zones is refused with what there is, and a flag chooses.
func TestLifeChoosesAZone(t *testing.T) {
	const two = "time,zone,temperature_c,humidity_pct,dew_point_c,vapour_density_g_m3,quality\n" +
		"2026-06-12T08:00:00Z,bench,20,50,9.27,8.65,good\n2026-06-12T08:00:00Z,floor,20,80,16.45,13.83,good\n" +
		"2026-06-12T14:00:00Z,bench,20,50,9.27,8.65,good\n2026-06-12T14:00:00Z,floor,20,80,16.45,13.83,uncertain\n"
	args := with(usualRange, "--climate", "-", "--mixed-at", "2026-06-12T08:00:00Z")
	refused(t, lifeCommand(), two, "zones bench, floor; choose one with --zone", args...)
	refused(t, lifeCommand(), two, `no zone "hall"; the file has the air of bench, floor`, with(args, "--zone", "hall")...)
	refused(t, lifeCommand(), rampClimate, "no column zone; leave --zone out", with(args, "--zone", "hall")...)
	closeTo(t, "life on the floor", lifeOf(t, two, with(args, "--zone", "floor")...).LifeH.Nominal, 6, 1e-9)
}

// A week of minutes, as an export gives it.
func BenchmarkLifeAlongAWeek(b *testing.B) {
	var text strings.Builder
	text.WriteString("time,temperature_c,humidity_pct\n")
	start := time.Date(2026, 6, 8, 0, 0, 0, 0, time.UTC)
	for minute := range 7 * 24 * 60 {
		fmt.Fprintf(&text, "%s,%.2f,50\n", start.Add(time.Duration(minute)*time.Minute).Format(time.RFC3339), 22+4*math.Sin(float64(minute)*math.Pi/720))
	}
	for b.Loop() {
		answered(b, lifeCommand(), text.String(), with(usualRange, "--climate", "-", "--mixed-at", "2026-06-08T08:00:00Z", "--json")...)
	}
}
