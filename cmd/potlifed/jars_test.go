package main

import (
	"encoding/json"
	"errors"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/paper"
	"potlifed/model/cure"
	"potlifed/model/jars"
)

const jarSheet = "--shortest=6h"

// The usual four jars are planned, the form that is printed is read again once it is filled in, and the fit says
// what was gained.
func TestJarsFromPlanToResults(t *testing.T) {
	code, out, errs := called(t, "", "jars", jarSheet, "--longest=8h")
	for _, want := range []string{"35:sodium-chloride", "activation energy ± 3.", "if each jar were a mix of its own", "loose lids", "lids on loosely", "Wear gloves", "heater or near a spark"} {
		if code != exitDone || !strings.Contains(out, want) {
			t.Fatalf("jars: code %d, %s, no %q in\n%s", code, errs, want, out)
		}
	}
	_, form, _ := called(t, "", "jars", jarSheet, "--longest=8h", "--form")
	// What an ink of the data sheet would do, 10 % later in all jars.
	lines := strings.Split(strings.TrimSpace(form), "\n")
	if lines[0] != "jar,salt,ink,mixed_at,mix,temperature_c,humidity_pct,open,last_good_h,gone_off_h" || !strings.HasPrefix(lines[4], "4,sodium-chloride,,,1,35.0,") {
		t.Errorf("the form is\n%s", form)
	}
	for i, hours := range []string{"8.50,8.70", "6.65,6.85", "3.20,3.30", "2.55,2.65"} {
		lines[i+1] = strings.TrimSuffix(lines[i+1], ",") + hours
	}
	file := filepath.Join(t.TempDir(), "jars.csv")
	if err := os.WriteFile(file, []byte(strings.Join(lines, "\n")+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	code, out, errs = called(t, "", "jars", jarSheet, "--longest=8h", "--results", file, "--json")
	var told jars.Told
	if err := json.Unmarshal([]byte(out), &told); code != exitDone || err != nil {
		t.Fatalf("code %d, %s, %v", code, errs, err)
	}
	if math.Abs(told.ActivationKJPerMol-50) > 2 || math.Abs(told.LifeFactor-1.1) > 0.03 || told.After.ActivationKJPerMol > 4 || told.Apart.ActivationKJPerMol < 5 {
		t.Errorf("told %+v", told)
	}
	if code, out, _ = called(t, "", "jars", jarSheet, "--longest=8h", "--results", file); code != exitDone || !strings.Contains(out, "still air over still ink") {
		t.Errorf("code %d\n%s", code, out)
	}
}

// A form as older versions printed it, without the jar and its salt, is read like one with them.
func TestFormsWithAndWithoutTheJar(t *testing.T) {
	read := func(text string) ([]jars.Result, error) { return paper.ReadJars("jars.csv", strings.NewReader(text)) }
	old, err := read(jarTail + "\n1,20,33,5,6\n1,35,75,2,2.2\n")
	now, errNow := read(strings.Join(paper.JarColumns, ",") + "\n1,magnesium-chloride,,,1,20,33,,5,6\n2,,,,1,35,75,yes,2,2.2\n")
	if err != nil || errNow != nil || len(old) != 2 || !slices.Equal(old, now) {
		t.Errorf("%+v, %v; %+v, %v", old, err, now, errNow)
	}
	open, err := read(jarTail + "\n1,20,33,5,\n1,35,75,,2.2\n1,22,48,,\n")
	if err != nil || len(open) != 2 || open[0].EndedH != 0 || open[1].LastGoodH != 0 {
		t.Errorf("jars whose end nobody saw: %+v, %v", open, err)
	}
	for row, want := range map[string]string{
		"1,20,x,5,6": `jars.csv: row 2, column humidity_pct: "x" is not a number`, "1,20,33,0,6": "row 2, column last_good_h: it is 0; leave it empty",
		"1,20,33,6,5": "row 2, column gone_off_h: 5 h is not after last_good_h, 6 h", "1,20,33,6,1001": "row 2, column gone_off_h: 1001 is outside",
	} {
		if _, err := read(jarTail + "\n" + row + "\n"); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %s", row, err, want)
		}
	}
}

// jarTail are the columns of the form that older versions printed.
const jarTail = "mix,temperature_c,humidity_pct,last_good_h,gone_off_h"

func TestJarsThatAreWrong(t *testing.T) {
	for name, args := range map[string][]string{
		"no sheet": {"jars"}, "no salt": {"jars", "--about=8h", "--jar=20:sugar", "--jar=35:33"}, "one jar": {"jars", "--about=8h", "--jar=20:33"},
		"no temperature": {"jars", "--about=8h", "--jar=33"}, "too hot for the salt": {"jars", "--about=8h", "--jar=60:sodium-chloride", "--jar=20:33"},
		"never looked at": {"jars", "--about=8h", "--look=0s"}, "no file": {"jars", "--about=8h", "--results=/nowhere/jars.csv"},
		"no scatter": {"jars", "--about=8h", "--scatter=0"}, "an ink without a form": {"jars", "--about=8h", "--ink=dial-satin"},
	} {
		if code, _, errs := called(t, "", args...); code != exitUsage || !strings.Contains(errs, "jars: ") {
			t.Errorf("%s: code %d, %q", name, code, errs)
		}
	}
	if code, _, errs := called(t, "mix,temperature_c\n", "jars", "--about=8h", "--results=-"); code != exitUsage || !strings.Contains(errs, "row 1: no column humidity_pct") {
		t.Errorf("another file: code %d, %q", code, errs)
	}
}

func FuzzJars(f *testing.F) {
	f.Add("35:sodium-chloride", jarTail+"\n1,20,33,5,6\n1,35,75,2,2.2\n")
	f.Add("22:48", strings.Join(paper.JarColumns, ",")+"\n1,magnesium-chloride,,,1,20.0,33.1,,5,6\n2,,,,1,35.0,48.0,,,\n")
	f.Add("22:48", jarTail+"\n1,x,33,5,6\n")
	ink, err := cure.Sheet{About: 8 * time.Hour}.Calibrate()
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, jar, form string) {
		if j, err := jarOf(jar); err == nil && j.Air.Valid() != nil {
			t.Errorf("%q is taken as %v", jar, j.Air)
		}
		results, err := paper.ReadJars("jars.csv", strings.NewReader(form))
		var wrong *paper.FormatError
		if err != nil && !errors.As(err, &wrong) {
			t.Errorf("not a fault of the file: %v", err)
		}
		if err != nil {
			return
		}
		if told, err := jars.Fit(ink, results, jars.DefaultNoise); err == nil && !(told.After.ActivationKJPerMol > 0 && told.After.ActivationKJPerMol < 11) {
			t.Errorf("told %+v", told)
		}
	})
}

// A form is printed, filled in on paper and imported while the service runs: what is learned of the ink has its jars, over
// HTTP and in learn. Taken out again, it counts no more.
func TestAFormOfJarsIsImported(t *testing.T) {
	t.Parallel()
	b := newHardware(t)
	file := b.configuration(t, "")
	p := start(t, file)
	defer p.stop()
	code, form, errs := command(t, "jars", jarSheet, "--longest=8h", "--ink=dial-satin", "--form")
	if code != 0 {
		t.Fatal(errs)
	}
	lines := strings.Split(strings.TrimSpace(form), "\n")
	mixed := time.Now().Add(-48 * time.Hour).Format(time.RFC3339)
	for i, hours := range []string{"8.50,8.70", "6.65,6.85", "3.20,3.30", "2.55,"} {
		lines[i+1] = strings.TrimSuffix(strings.Replace(lines[i+1], "dial-satin,", "dial-satin,"+mixed, 1), ",") + hours
	}
	write := func(lines []string) string {
		path := filepath.Join(t.TempDir(), "jars.csv")
		if err := os.WriteFile(path, []byte(strings.Join(lines, "\n")+"\n"), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	learned := func() (jars int, activationSE float64) {
		var l struct {
			Jars       int
			Activation struct{ SE *float64 } `json:"activation_kj_mol"`
		}
		p.get("/api/v1/inks/dial-satin/learning", &l)
		if l.Activation.SE == nil {
			return l.Jars, math.Inf(1)
		}
		return l.Jars, *l.Activation.SE
	}
	slip := slices.Clone(lines)
	slip[4] = strings.Replace(slip[4], "2.55", "2,55", 1)
	if code, _, errs := command(t, "import", "--config", file, write(slip)); code != exitUsage || !strings.Contains(errs, "jars.csv: row 5") {
		t.Errorf("a decimal comma: exit %d: %s", code, errs)
	}
	if n, _ := learned(); n != 0 {
		t.Errorf("a form that is not right counts with %d jars", n)
	}
	if code, out, errs := command(t, "import", "--config", file, write(lines)); code != 0 || !strings.Contains(out, "4 rows of jars imported") {
		t.Fatalf("exit %d: %s%s", code, out, errs)
	}
	if code, _, errs := command(t, "import", "--config", file, write(lines)); code != exitUsage || !strings.Contains(errs, "it was imported before") {
		t.Errorf("twice: exit %d: %s", code, errs)
	}
	n, se := learned()
	if n != 4 || !(se < 6) { // by the data sheet alone it is 10
		t.Errorf("%d jars, activation energy ± %v kJ/mol", n, se)
	}
	if code, out, errs := command(t, "learn", "--config", file); code != 0 || !strings.Contains(out, "4 jars") {
		t.Errorf("learn: exit %d: %s%s", code, out, errs)
	}
	if code, out, errs := command(t, "import", "--config", file, "--undo", "1"); code != 0 || !strings.Contains(out, "jars.csv: import 1, 4 rows of jars, undone") {
		t.Errorf("undo: exit %d: %s%s", code, out, errs)
	}
	if n, _ := learned(); n != 0 {
		t.Errorf("after the undo %d jars count", n)
	}
}
