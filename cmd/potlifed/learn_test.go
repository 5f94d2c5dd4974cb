package main

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/outcomes"
	"potlifed/daemon/paper"
)

// learnFiles writes the two files and gives the flags that name them.
func learnFiles(t testing.TB, batches, climate string) []string {
	t.Helper()
	dir := t.TempDir()
	files := []string{filepath.Join(dir, "batches.csv"), filepath.Join(dir, "climate.csv")}
	for i, text := range []string{batches, climate} {
		if err := os.WriteFile(files[i], []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return []string{"--batches", files[0], "--climate", files[1]}
}

func learned(t testing.TB, batches, climate string, args ...string) learnAnswer {
	t.Helper()
	var a learnAnswer
	args = append(append(learnFiles(t, batches, climate), args...), "--json")
	if err := json.Unmarshal([]byte(answered(t, learnCommand(), "", args...)), &a); err != nil {
		t.Fatal(err)
	}
	return a
}

var shopOpens = time.Date(2026, 6, 1, 8, 0, 0, 0, time.UTC)

// books writes rows of batches that each stand in their own steady air.
type books struct {
	batches, air strings.Builder
	n            int
}

func newPaper() *books {
	p := &books{}
	p.batches.WriteString("id,ink,mixed_at,closed_at,outcome,still_good,last_good_at\n")
	p.air.WriteString("time,batch,temperature_c,humidity_pct\n")
	return p
}

func (p *books) add(ink, outcome, good string, temperature, humidity, hours float64) {
	p.n++
	mixed := shopOpens.AddDate(0, 0, p.n)
	closed := mixed.Add(time.Duration(math.Round(hours*3600)) * time.Second)
	id := fmt.Sprintf("%s-1", mixed.Format("0102"))
	fmt.Fprintf(&p.batches, "%s,%s,%s,%s,%s,%s,\n", id, ink, mixed.Format(time.RFC3339), closed.Format(time.RFC3339), outcome, good)
	for _, at := range []time.Time{mixed, closed} {
		fmt.Fprintf(&p.air, "%s,%s,%v,%v\n", at.Format(time.RFC3339), id, temperature, humidity)
	}
}

// R survival 3.5-3, survreg(dist = "lognormal").
func TestLearnPlainLikelihoodIsTheReferences(t *testing.T) {
	p := newPaper()
	for i, hours := range []float64{6.5, 7.2, 8.0, 6.9, 5.0, 7.5} {
		outcome := "went-off"
		if i >= 4 {
			outcome = "used-up"
		}
		p.add("dial-satin", outcome, "", 20, 50, hours)
	}
	a := learned(t, p.batches.String(), p.air.String(), "--prior", "none", "--lag", "0")
	ink := a.Inks[0]
	closeTo(t, "mu", math.Log(ink.LRefH.Value), 1.985623, 1e-5)
	closeTo(t, "sigma", ink.Sigma.Value, 0.0826509, 1e-6)
	closeTo(t, "log-likelihood", *ink.LogLikelihood, -4.393855, 1e-5)
	closeTo(t, "se", *ink.LRefH.SE, 0.038425*ink.LRefH.Value, 1e-4)
	if ink.Ends != 4 || ink.Censored != 2 || ink.LeftOut != 0 || ink.MoistureShare.Learned || ink.ActivationKJPerMol.SE != nil || ink.Proposed != nil {
		t.Errorf("%+v", ink)
	}
}

func TestLearnActivationEnergyInDryAir(t *testing.T) {
	p := newPaper()
	temperatures := []float64{18, 18, 20, 22, 22, 25, 25, 28, 30, 30}
	ended := []bool{true, false, true, true, false, true, true, true, true, false}
	for i, hours := range []float64{9.1, 8.0, 7.4, 6.2, 5.0, 4.9, 5.3, 3.7, 3.5, 2.0} {
		outcome := map[bool]string{true: "went-off", false: "used-up"}[ended[i]]
		p.add("dial-satin", outcome, "", temperatures[i], 0, hours)
	}
	ink := learned(t, p.batches.String(), p.air.String(), "--prior", "none", "--lag", "0").Inks[0]
	closeTo(t, "ln L", math.Log(ink.LRefH.Value), 2.016998, 1e-5)
	closeTo(t, "Ea", ink.ActivationKJPerMol.Value, 59.3947, 1e-4)
	closeTo(t, "Ea's se", *ink.ActivationKJPerMol.SE, 2.7259, 1e-4)
	closeTo(t, "log-likelihood", *ink.LogLikelihood, 0.878480, 1e-5)
	if ink.MoistureShare.Value != 0 || ink.MoistureShare.SE != nil || !ink.ActivationKJPerMol.Learned {
		t.Errorf("%+v", ink)
	}
}

// zoneAir is a year of hours in one room.
func zoneAir() string {
	var b strings.Builder
	b.WriteString("time,zone,temperature_c,humidity_pct\n")
	for hour := range 365 * 24 {
		day := float64(hour) / 24
		fmt.Fprintf(&b, "%s,bench,%.2f,%.2f\n", shopOpens.Add(time.Duration(hour)*time.Hour).Format(time.RFC3339),
			22+5*math.Sin(2*math.Pi*day/365)+1.5*math.Sin(2*math.Pi*day), 50+15*math.Sin(2*math.Pi*day/365)-8*math.Sin(2*math.Pi*day))
	}
	return b.String()
}

// shopBooks are batches of an ink that lives so many hours in a zone, half of them used up before.
func shopBooks(life float64) string {
	random := rand.New(rand.NewPCG(3, 21))
	var b strings.Builder
	b.WriteString("id,ink,mixed_at,closed_at,outcome,zone\n")
	for n := range 120 {
		mixed := shopOpens.AddDate(0, 0, 3*n)
		end, used := life*math.Exp(0.12*random.NormFloat64()), life*(0.5+random.Float64())
		outcome := "went-off"
		if used < end {
			outcome, end = "used-up", used
		}
		fmt.Fprintf(&b, "%s-1,dial-satin,%s,%s,%s,bench\n", mixed.Format("0102"), mixed.Format(time.RFC3339),
			mixed.Add(time.Duration(end*3600)*time.Second).Format(time.RFC3339), outcome)
	}
	return b.String()
}

func TestLearnFromAYearOfAZone(t *testing.T) {
	a := learned(t, shopBooks(4.5), zoneAir(), "--shortest", "6h", "--longest", "8h")
	ink := a.Inks[0]
	if ink.Ends+ink.Censored+ink.LeftOut != 120 || ink.LeftOut > 2 || !ink.LRefH.Learned || ink.LRefH.Value > 6.5 || ink.LRefH.Value < 4 {
		t.Errorf("%d ends, %d censored, life %+v", ink.Ends, ink.Censored, ink.LRefH)
	}
	if ink.SheetAssumed || ink.LongestGapS != 3600 || ink.Proposed == nil {
		t.Errorf("%+v", ink)
	}
	out := answered(t, learnCommand(), "", append(learnFiles(t, shopBooks(4.5), zoneAir()), "--shortest", "6h", "--longest", "8h")...)
	for _, want := range []string{"% less than its data sheet says, 90 % interval", "still assumed", "learned", "a person has to accept the result", "log-likelihood"} {
		if !strings.Contains(out, want) {
			t.Errorf("%s\nlacks %q", out, want)
		}
	}
}

func TestLearnWithoutADataSheetSaysSo(t *testing.T) {
	p := newPaper()
	p.add("dial-satin", "went-off", "", 20, 50, 7)
	a := learned(t, p.batches.String(), p.air.String())
	if !a.Inks[0].SheetAssumed || !strings.Contains(a.Inks[0].Verdict, "assumed for want of a data sheet") {
		t.Errorf("%+v", a.Inks[0])
	}
	out := answered(t, learnCommand(), "", learnFiles(t, p.batches.String(), p.air.String())...)
	if !strings.Contains(out, "No data sheet was given") {
		t.Error(out)
	}
}

func TestLearnLeavesOutWhatSaysNothing(t *testing.T) {
	p := newPaper()
	p.add("dial-satin", "used-up", "", 20, 50, 5)          // counts
	p.add("dial-satin", "used-up", "unknown", 20, 50, 5)   // nobody looked
	p.add("dial-satin", "discarded", "", 20, 50, 65)       // Monday
	p.add("dial-satin", "not-known", "unknown", 20, 50, 7) // nobody looked
	p.add("dial-satin", "used-up", "yes", 20, 50, 65)      // cannot be
	p.add("dial-satin", "went-off", "no", 20, 50, 7)       // counts
	ink := learned(t, p.batches.String(), p.air.String()).Inks[0]
	if ink.Ends != 1 || ink.Censored != 1 || ink.LeftOut != 4 || len(ink.LeftOutRows) != 4 {
		t.Fatalf("%+v", ink)
	}
	impossible := 0
	for _, left := range ink.LeftOutRows {
		if left.Why == "" {
			t.Errorf("%+v", left)
		}
		if left.Impossible {
			impossible++
		}
	}
	if impossible != 1 {
		t.Errorf("%+v", ink.LeftOutRows)
	}
}

func TestLearnGapsAndEdgesOfTheAir(t *testing.T) {
	hourly := "time,zone,temperature_c,humidity_pct\n"
	for hour := range 48 {
		if hour >= 30 && hour < 40 {
			continue
		}
		hourly += fmt.Sprintf("%s,bench,20,50\n", shopOpens.Add(time.Duration(hour)*time.Hour).Format(time.RFC3339))
	}
	row := func(id string, from, to float64) string {
		at := func(h float64) string {
			return shopOpens.Add(time.Duration(h * float64(time.Hour))).Format(time.RFC3339)
		}
		return fmt.Sprintf("%s,dial-satin,%s,%s,went-off\n", id, at(from), at(to))
	}
	batches := "id,ink,mixed_at,closed_at,outcome\n" + row("whole", 1, 7) + row("gap", 28, 34) + row("before", -2, 5) + row("after", 44, 50) + row("edge", 41, 47.05)
	ink := learned(t, batches, hourly).Inks[0]
	if ink.Ends != 2 || ink.LeftOut != 3 {
		t.Fatalf("%+v", ink)
	}
	why := ""
	for _, left := range ink.LeftOutRows {
		why += left.ID + ": " + left.Why + "\n"
	}
	for _, want := range []string{"gap: a gap in the air", "before: no air on record", "after: no air on record"} {
		if !strings.Contains(why, want) {
			t.Errorf("%s lacks %q", why, want)
		}
	}
}

func TestLearnPartsOfAMixCountOnce(t *testing.T) {
	air := "time,temperature_c,humidity_pct\n2026-06-12T08:00:00Z,20,50\n2026-06-12T20:00:00Z,20,50\n"
	batches := "id,ink,mixed_at,closed_at,outcome\n0612-3,dial-satin,2026-06-12T08:30:00Z,2026-06-12T12:00:00Z,used-up\n" +
		"0612-3b,dial-satin,2026-06-12T08:30:00Z,2026-06-12T15:00:00Z,went-off\n0612-4,dial-satin,2026-06-12T08:30:00Z,2026-06-12T15:00:00Z,used-up\n"
	ink := learned(t, batches, air).Inks[0]
	if ink.Ends != 1 || ink.Censored != 1 || ink.LeftOut != 1 || ink.LeftOutRows[0].ID != "0612-3" {
		t.Errorf("%+v", ink)
	}
}

func TestLearnInksOfAConfiguration(t *testing.T) {
	p := newPaper()
	p.add("dial-satin", "went-off", "", 20, 50, 7)
	p.add("unheard-of", "went-off", "", 20, 50, 7)
	p.add("unheard-of", "went-off", "", 20, 50, 6)
	config := filepath.Join(t.TempDir(), "potlifed.yaml")
	text := `bench: bench-1
data_dir: ` + t.TempDir() + `
scales:
  - {id: scale-1, port: /dev/serial/by-id/scale, division_g: 1}
sensors:
  - {id: bench-air, zone: bench, source: hwmon, path: /sys/class/hwmon/hwmon2}
inks:
  - {id: dial-satin, hardener_ratio: "5:1", pot_life: {about: 7h}}
`
	if err := os.WriteFile(config, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	a := learned(t, p.batches.String(), p.air.String(), "--config", config)
	if len(a.Inks) != 1 || math.Abs(a.Inks[0].Sheet.LRefH-7) > 1e-9 || a.Inks[0].SheetAssumed {
		t.Errorf("%+v", a.Inks)
	}
	if len(a.NotInConfiguration) != 1 || a.NotInConfiguration[0] != (strangers{Ink: "unheard-of", Batches: 2}) {
		t.Errorf("%+v", a.NotInConfiguration)
	}
	files := learnFiles(t, p.batches.String(), p.air.String())
	if out := answered(t, learnCommand(), "", append(files, "--config", config)...); !strings.Contains(out, "unheard-of is not an ink of the configuration") {
		t.Error(out)
	}
	refused(t, learnCommand(), "", "--about works only with --batches", append(files, "--config", config, "--about", "7h")...)
}

func TestLearnNoEndsOnlyEndsOneRow(t *testing.T) {
	usedUp := newPaper()
	for range 5 {
		usedUp.add("dial-satin", "used-up", "", 20, 50, 5)
	}
	ink := learned(t, usedUp.batches.String(), usedUp.air.String()).Inks[0]
	if ink.Ends != 0 || ink.LRefH.Learned || ink.LRefH.Value < 7 || !strings.Contains(ink.Verdict, "too few") {
		t.Errorf("no ends: %+v", ink)
	}
	ink = learned(t, usedUp.batches.String(), usedUp.air.String(), "--prior", "none").Inks[0]
	if ink.LRefH.SE != nil || !strings.Contains(ink.Verdict, "no batch was seen to end") {
		t.Errorf("no ends, no prior: %+v", ink)
	}
	ends := newPaper()
	for i := range 20 {
		ends.add("dial-satin", "went-off", "", 20, 50, 6+0.1*float64(i))
	}
	ink = learned(t, ends.batches.String(), ends.air.String()).Inks[0]
	if ink.Censored != 0 || ink.CensoredShare != 0 || !ink.LRefH.Learned {
		t.Errorf("only ends: %+v", ink)
	}
	one := newPaper()
	one.add("dial-satin", "went-off", "", 20, 50, 6)
	if ink = learned(t, one.batches.String(), one.air.String(), "--prior", "none").Inks[0]; ink.LRefH.SE != nil || ink.Sigma.Learned {
		t.Errorf("one row, no prior: %+v", ink)
	}
	// Six air limits of the sensors: humidity of 0 and 100 %, frost, -40 and 80 °C.
	wild := newPaper()
	for _, a := range [][2]float64{{20, 0}, {20, 100}, {-5, 80}, {-40, 50}, {80, 50}, {80, 100}} {
		wild.add("dial-satin", "went-off", "", a[0], a[1], 6)
	}
	if ink = learned(t, wild.batches.String(), wild.air.String()).Inks[0]; ink.Fault != "" || ink.Ends+ink.LeftOut != 6 {
		t.Errorf("wild air: %+v", ink)
	}
}

const (
	goodBatches = "id,ink,mixed_at,closed_at,outcome,still_good,last_good_at,zone\n0612-1,dial-satin,2026-06-12T08:00:00Z,2026-06-12T15:00:00Z,went-off,,,bench\n"
	goodAir     = "time,zone,temperature_c,humidity_pct\n2026-06-12T08:00:00Z,bench,20,50\n2026-06-12T20:00:00Z,bench,20,50\n"
)

func TestLearnErrorsNameRowAndColumn(t *testing.T) {
	replaced := func(text, from, to string) string { return strings.Replace(text, from, to, 1) }
	for _, c := range []struct{ batches, air, want string }{
		{"", goodAir, "the file is empty"},
		{"id,ink\n", goodAir, "no column mixed_at"},
		{strings.SplitAfter(goodBatches, "\n")[0], goodAir, "no batches"},
		{replaced(goodBatches, "0612-1", ""), goodAir, "row 2, column id: no value"},
		{replaced(goodBatches, "dial-satin", " "), goodAir, "row 2, column ink: no value"},
		{replaced(goodBatches, "went-off", "dead"), goodAir, `row 2, column outcome: "dead" is none of`},
		{replaced(goodBatches, "went-off,", "went-off,maybe"), goodAir, `row 2, column still_good: "maybe" is none of`},
		{replaced(goodBatches, "went-off,", "went-off,yes"), goodAir, "row 2, column still_good: yes, but the outcome is went-off"},
		{replaced(goodBatches, "2026-06-12T08:00:00Z", "12 June"), goodAir, `row 2, column mixed_at: "12 June" is not a time`},
		{replaced(goodBatches, "2026-06-12T15:00:00Z", "2026-06-12T07:00:00Z"), goodAir, "row 2, column closed_at"},
		{replaced(goodBatches, ",went-off,,", ",went-off,,2026-06-12T16:00:00Z"), goodAir, "row 2, column last_good_at"},
		{replaced(goodBatches, "bench", "cellar"), goodAir, `row 2, column zone: "cellar" has no air`},
		{goodBatches + strings.SplitAfter(goodBatches, "\n")[1], goodAir, `row 3, column id: "0612-1" is there twice in a year, first in row 2`},
		{goodBatches + "short,row\n", goodAir, "row 3: not as many values"},
		{goodBatches, "", "the file is empty"},
		{goodBatches, strings.SplitAfter(goodAir, "\n")[0], "no rows of air"},
		{goodBatches, strings.Join(strings.SplitAfter(goodAir, "\n")[:2], ""), "one row of air for zone bench"},
		{goodBatches, replaced(goodAir, "20,50", "20,150"), "row 2, column humidity_pct: 150 is outside"},
		{goodBatches, replaced(goodAir, "T20:00", "T08:00"), "row 3, column time: 2026-06-12T08:00:00Z is there twice"},
		{goodBatches, replaced(goodAir, "T20:00", "T07:00"), "row 3, column time"},
		{goodBatches, replaced(goodAir, "bench,20", ",20"), "row 2, column zone: no value"},
		{goodBatches, replaced(goodAir, "zone,temperature_c", "zone,batch"), "no column temperature_c"},
		{goodBatches, "time,zone,batch,temperature_c,humidity_pct\n", "columns zone and batch"},
	} {
		refused(t, learnCommand(), "", c.want, learnFiles(t, c.batches, c.air)...)
	}
	twoZones := goodAir + "2026-06-12T08:00:00Z,press,20,50\n2026-06-12T20:00:00Z,press,20,50\n"
	refused(t, learnCommand(), "", "no column zone", learnFiles(t, replaced(strings.ReplaceAll(goodBatches, ",bench", ","), ",zone", ",place"), twoZones)...)
}

func TestLearnRefuses(t *testing.T) {
	files := learnFiles(t, goodBatches, goodAir)
	refused(t, learnCommand(), "", "--batches is missing", "--climate", files[3])
	refused(t, learnCommand(), "", "--climate is missing", "--batches", files[1])
	refused(t, learnCommand(), "", "both be standard input", "--batches", "-", "--climate", "-")
	refused(t, learnCommand(), "", `--prior "flat"`, append(files, "--prior", "flat")...)
	refused(t, learnCommand(), "", "--lag", append(files, "--lag", "-5m")...)
	refused(t, learnCommand(), "", "give both --shortest and --longest", append(files, "--shortest", "6h")...)
	refused(t, learnCommand(), "", "no such file", "--batches", files[1]+"x", "--climate", files[3])
	if out := answered(t, learnCommand(), goodBatches, "--batches", "-", "--climate", files[3]); !strings.Contains(out, "dial-satin") {
		t.Error(out)
	}
}

func FuzzLearnFromFiles(f *testing.F) {
	f.Add(goodBatches, goodAir)
	f.Fuzz(func(t *testing.T, batches, air string) {
		if len(batches)+len(air) > 4000 {
			t.Skip()
		}
		read, err := paper.ReadBatches("batches", strings.NewReader(batches))
		if err != nil {
			return
		}
		climates, err := paper.ReadClimates("air", strings.NewReader(air))
		if err != nil {
			if exitCode(paperFault(err)) != exitUsage {
				t.Fatalf("not the reader's own fault: %v", err)
			}
			return
		}
		ink, err := assumedSheet()
		if err != nil {
			t.Fatal(err)
		}
		inks, _, err := paper.Gather(read, climates, sheets{all: ink, assumed: true}.pair, 25*time.Minute)
		if err != nil {
			return
		}
		for i, r := range outcomes.Fit(inks) {
			if _, err := json.Marshal(learnedInkOf(r, inks[i].LongestGap)); err != nil {
				t.Fatalf("%v: %+v", err, r)
			}
		}
	})
}
