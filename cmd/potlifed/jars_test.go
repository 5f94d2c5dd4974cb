package main

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

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
	if lines[0] != "jar,salt,mix,temperature_c,humidity_pct,last_good_h,gone_off_h" || !strings.HasPrefix(lines[4], "4,sodium-chloride,1,35.0,") {
		t.Errorf("the form is\n%s", form)
	}
	for i, hours := range []string{"8.50,8.70", "6.65,6.85", "3.20,3.30", "2.55,2.65"} {
		lines[i+1] = strings.TrimSuffix(lines[i+1], ",,") + "," + hours
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
	tail := strings.Join(formColumns, ",")
	old, err := readForm(strings.NewReader(tail + "\n1,20,33,5,6\n1,35,75,2,2.2\n"))
	now, errNow := readForm(strings.NewReader("jar,salt," + tail + "\n1,magnesium-chloride,1,20,33,5,6\n2,,1,35,75,2,2.2\n"))
	if err != nil || errNow != nil || len(old) != 2 || !slices.Equal(old, now) {
		t.Errorf("%+v, %v; %+v, %v", old, err, now, errNow)
	}
	open, err := readForm(strings.NewReader(tail + "\n1,20,33,5,\n1,35,75,,2.2\n1,22,48,,\n"))
	if err != nil || len(open) != 2 || open[0].EndedH != 0 || open[1].LastGoodH != 0 {
		t.Errorf("jars whose end nobody saw: %+v, %v", open, err)
	}
	_, err = readForm(strings.NewReader("jar,salt," + tail + "\n1,,1,20,x,5,6\n"))
	if err == nil || !strings.Contains(err.Error(), `line 2: humidity_pct "x"`) {
		t.Errorf("a figure that is none: %v", err)
	}
}

func TestJarsThatAreWrong(t *testing.T) {
	for name, args := range map[string][]string{
		"no sheet": {"jars"}, "no salt": {"jars", "--about=8h", "--jar=20:sugar", "--jar=35:33"}, "one jar": {"jars", "--about=8h", "--jar=20:33"},
		"no temperature": {"jars", "--about=8h", "--jar=33"}, "too hot for the salt": {"jars", "--about=8h", "--jar=60:sodium-chloride", "--jar=20:33"},
		"never looked at": {"jars", "--about=8h", "--look=0s"}, "no file": {"jars", "--about=8h", "--results=/nowhere/jars.csv"},
		"no scatter": {"jars", "--about=8h", "--scatter=0"},
	} {
		if code, _, errs := called(t, "", args...); code != exitUsage || !strings.Contains(errs, "jars: ") {
			t.Errorf("%s: code %d, %q", name, code, errs)
		}
	}
	if code, _, errs := called(t, "mix,temperature_c\n", "jars", "--about=8h", "--results=-"); code != exitUsage || !strings.Contains(errs, "first line") {
		t.Errorf("another file: code %d, %q", code, errs)
	}
}

func FuzzJars(f *testing.F) {
	f.Add("35:sodium-chloride", strings.Join(formColumns, ",")+"\n1,20,33,5,6\n1,35,75,2,2.2\n")
	f.Add("22:48", "jar,salt,"+strings.Join(formColumns, ",")+"\n1,magnesium-chloride,1,20.0,33.1,5,6\n2,,1,35.0,48.0,,\n")
	f.Add("22:48", strings.Join(formColumns, ",")+"\n1,x,33,5,6\n")
	ink, err := cure.Sheet{About: 8 * time.Hour}.Calibrate()
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, jar, form string) {
		if j, err := jarOf(jar); err == nil && j.Air.Valid() != nil {
			t.Errorf("%q is taken as %v", jar, j.Air)
		}
		results, err := readForm(strings.NewReader(form))
		if err != nil {
			return
		}
		if told, err := jars.Fit(ink, results, jars.DefaultNoise); err == nil && !(told.After.ActivationKJPerMol > 0 && told.After.ActivationKJPerMol < 11) {
			t.Errorf("told %+v", told)
		}
	})
}
