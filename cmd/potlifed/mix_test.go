package main

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"
)

// mixes runs the command and returns what it prints.
func mixes(args ...string) (string, error) {
	c := mixCommand()
	var out bytes.Buffer
	c.SetOut(&out)
	c.SetErr(&out)
	c.SetArgs(args)
	c.SilenceUsage, c.SilenceErrors = true, true
	err := c.Execute()
	return out.String(), err
}

func mixJSON(t *testing.T, args ...string) map[string]any {
	t.Helper()
	text, err := mixes(append(args, "--json")...)
	if err != nil {
		t.Fatal(err)
	}
	var got map[string]any
	if err := json.Unmarshal([]byte(text), &got); err != nil {
		t.Fatalf("%v: %s", err, text)
	}
	return got
}

func TestMixJSON(t *testing.T) {
	got := mixJSON(t, "--ink-g", "60", "--ratio", "4:1", "--thinner-pct", "10", "--division-g", "1")
	// Common practice, no source; the uncertainty was computed with a second
	// implementation in Python/SciPy (0.0281, k = 1).
	for name, want := range map[string]float64{"ink_g": 60, "hardener_g": 15, "thinner_g": 7.5, "total_g": 82.5} {
		if got[name] != want {
			t.Errorf("%s is %v, want %v", name, got[name], want)
		}
	}
	u := got["uncertainty"].(map[string]any)
	if ratio := u["ratio_pct"].(float64); math.Abs(ratio-5.62) > 0.02 {
		t.Errorf("ratio_pct %v", ratio)
	}
	if thinner, ok := u["thinner_pct_points"].(float64); !ok || thinner <= 0 {
		t.Errorf("thinner_pct_points %v", u["thinner_pct_points"])
	}
	if got["grade"] != "usable" {
		t.Errorf("grade %v", got["grade"])
	}
	if _, ok := got["corrections"]; ok {
		t.Error("corrections without a pour")
	}

	once := mixJSON(t, "--ink-g", "60", "--ratio", "4:1", "--taring", "once")["uncertainty"].(map[string]any)
	if ratio := once["ratio_pct"].(float64); math.Abs(ratio-6.24) > 0.02 {
		t.Errorf("once: ratio_pct %v", ratio)
	}
	// Common practice, no source.
	coarse := mixJSON(t, "--ink-g", "60", "--ratio", "10:1")
	if least, ok := coarse["smallest_usable_ink_g"].(float64); coarse["grade"] != "coarse" || !ok || math.Abs(least-82.06) > 0.01 {
		t.Errorf("%v", coarse)
	}
}

func TestMixShowsNoBinaryNoise(t *testing.T) {
	text, err := mixes("--ink-g", "85", "--ratio", "5:1", "--thinner-pct", "7", "--json")
	if err != nil || !strings.HasPrefix(text, `{"ink_g":85,"hardener_g":17,"thinner_g":7.14,"total_g":109.14,`) {
		t.Errorf("%v: %s", err, text)
	}
}

// The masses and ratios are common practice, no source.
func TestMixCorrections(t *testing.T) {
	got := mixJSON(t, "--ink-g", "60", "--ratio", "4:1", "--thinner-pct", "10", "--poured", "ink=60,hardener=18")
	list := got["corrections"].([]any)
	if len(list) != 2 || got["in_tolerance"] != false {
		t.Fatalf("%v", got)
	}
	exact := list[1].(map[string]any)
	if exact["to"] != "exact" || exact["add"].(map[string]any)["ink_g"] != 12.0 || exact["thinner_g"] != 9.0 || exact["total_g"] != 99.0 {
		t.Errorf("%v", exact)
	}
	if list := mixJSON(t, "--ratio", "4:1", "--poured", "ink=60,hardener=15")["corrections"].([]any); len(list) != 0 {
		t.Errorf("nothing is wrong, yet %v", list)
	}
	if list := mixJSON(t, "--ratio", "4:1", "--poured", "ink=60,hardener=18", "--cup-max-g", "80")["corrections"].([]any); len(list) != 0 {
		t.Errorf("beyond the cup: %v", list)
	}
}

func TestMixTable(t *testing.T) {
	text, err := mixes("--ink-g", "60", "--ratio", "4:1", "--thinner-pct", "10", "--poured", "ink=60,hardener=18", "--cup-max-g", "98")
	if err != nil {
		t.Fatal(err)
	}
	// Masses, ratio and four fills of a 2 g pipette: common practice, no source.
	for _, want := range []string{"15.0 g", "7.5 g", "3.75 pipettes; 4 are 8.0 g = 10.67 %", "usable", "20.0 % above the ratio", "add 10 g of ink to come within tolerance", "gloves"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is missing in\n%s", want, text)
		}
	}
	if strings.Contains(text, "exact") {
		t.Errorf("the exact correction does not fit into the cup:\n%s", text)
	}
	text, err = mixes("--ratio", "10:1", "--poured", "ink=60,hardener=9", "--cup-max-g", "70", "--pipette-g", "0")
	if err != nil || !strings.Contains(text, "at least 83 g") || !strings.Contains(text, "No correction fits") {
		t.Errorf("%v\n%s", err, text)
	}
}

// The masses and ratios are common practice, no source.
func TestMixRefuses(t *testing.T) {
	for _, c := range []struct{ want, args string }{
		{"--ratio", "--ink-g 60"},
		{"ratio \"4\"", "--ink-g 60 --ratio 4"},
		{"above zero", "--ink-g 60 --ratio 0:1"},
		{"--ink-g", "--ratio 4:1"},
		{"--ink-g -60", "--ratio 4:1 --ink-g -60"},
		{"--ink-g NaN", "--ratio 4:1 --ink-g NaN"},
		{"--ink-g +Inf", "--ratio 4:1 --ink-g Inf"},
		{"--division-g 0", "--ratio 4:1 --ink-g 60 --division-g 0"},
		{"--taring", "--ratio 4:1 --ink-g 60 --taring never"},
		{"--tolerance-pct 0", "--ratio 4:1 --ink-g 60 --tolerance-pct 0"},
		{"--thinner-pct -1", "--ratio 4:1 --ink-g 60 --thinner-pct -1"},
		{"--thinner-max-pct", "--ratio 4:1 --ink-g 60 --thinner-pct 10 --thinner-max-pct 5"},
		{"glue", "--ratio 4:1 --poured ink=60,glue=2"},
		{"twice", "--ratio 4:1 --poured ink=60,ink=2"},
		{"some ink", "--ratio 4:1 --ink-g 60 --poured hardener=2"},
		{"hardener=-2", "--ratio 4:1 --poured ink=60,hardener=-2"},
	} {
		_, err := mixes(strings.Fields(c.args)...)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want it to say %q", c.args, err, c.want)
		} else if exitCode(err) != 2 {
			t.Errorf("%s: exit code %d", c.args, exitCode(err))
		}
	}
	// All faults at once.
	_, err := mixes("--ratio", "4:1", "--ink-g", "-1", "--division-g", "-1")
	if err == nil || !strings.Contains(err.Error(), "--ink-g") || !strings.Contains(err.Error(), "--division-g") {
		t.Errorf("%v", err)
	}
}

func FuzzParsePoured(f *testing.F) {
	for _, text := range []string{"ink=60,hardener=18", "ink=60", " ink = 60 ,thinner=1e3", "ink=", "=", "ink=NaN", "ink=1,ink=1"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		a, err := parsePoured(text)
		if err != nil {
			return
		}
		if !(a.InkG > 0 && a.HardenerG >= 0 && a.ThinnerG >= 0 && a.TotalG() <= 3*mostGrams) {
			t.Fatalf("%q gave %+v", text, a)
		}
	})
}
