package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/spf13/cobra"
)

// asked runs one command as the program would, with its own root.
func asked(t testing.TB, command *cobra.Command, stdin string, args ...string) (out string, code int, err error) {
	t.Helper()
	root := &cobra.Command{Use: "potlifed", SilenceErrors: true, SilenceUsage: true}
	root.AddCommand(command)
	root.SetArgs(append([]string{command.Name()}, args...))
	root.SetIn(strings.NewReader(stdin))
	var stdout bytes.Buffer
	root.SetOut(&stdout)
	root.SetErr(&stdout)
	err = root.Execute()
	return stdout.String(), exitCode(err), err
}

func answered(t testing.TB, command *cobra.Command, stdin string, args ...string) string {
	t.Helper()
	out, code, err := asked(t, command, stdin, args...)
	if err != nil || code != exitDone {
		t.Fatalf("%v: exit %d, %v", args, code, err)
	}
	return out
}

// refused checks exit code 2 and what the error says.
func refused(t testing.TB, command *cobra.Command, stdin, want string, args ...string) {
	t.Helper()
	_, code, err := asked(t, command, stdin, args...)
	if code != exitUsage || err == nil || !strings.Contains(err.Error(), want) {
		t.Errorf("%q: exit %d, error %v; want 2 and %q", args, code, err, want)
	}
}

func closeTo(t testing.TB, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s = %.10g, want %.10g ± %g", what, got, want, tolerance)
	}
}

func TestAirJSON(t *testing.T) {
	var a airAnswer
	if err := json.Unmarshal([]byte(answered(t, airCommand(), "", "--temperature", "20", "--humidity", "50", "--json")), &a); err != nil {
		t.Fatal(err)
	}
	// psychrolib 1.1.1; the density computed from its vapour pressure.
	closeTo(t, "saturation", a.SaturationPressurePa, 2338.804, 0.001)
	closeTo(t, "vapour pressure", a.VapourPressurePa, 1169.402, 0.001)
	closeTo(t, "dew point", *a.DewPointC, 9.272, 0.01)
	closeTo(t, "density", a.VapourDensityGM3, 8.643, 0.001)
	for _, key := range []string{`"temperature_c":20`, `"humidity_pct":50`, `"dew_point_c":9.2`, `"vapour_density_g_m3":8.6`} {
		if out := answered(t, airCommand(), "", "--temperature", "20", "--humidity", "50", "--json"); !strings.Contains(out, key) {
			t.Errorf("%s lacks %s", out, key)
		}
	}
}

func TestAirWithoutWaterHasNoDewPoint(t *testing.T) {
	if out := answered(t, airCommand(), "", "--temperature", "20", "--humidity", "0", "--json"); !strings.Contains(out, `"dew_point_c":null`) {
		t.Error(out)
	}
	if out := answered(t, airCommand(), "", "--temperature", "20", "--humidity", "0"); !strings.Contains(out, "none") {
		t.Error(out)
	}
	if out := answered(t, airCommand(), "", "--temperature", "-5", "--humidity", "80"); !strings.Contains(out, "supercooled") {
		t.Error(out)
	}
}

func TestAirCSV(t *testing.T) {
	out := answered(t, airCommand(), "\xef\xbb\xbftemperature_c,humidity_pct,room\r\n20,50,bench\r\n30,80,bench\r\n20,0,oven\r\n", "--csv")
	rows, err := csv.NewReader(strings.NewReader(out)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if got := strings.Join(rows[0], ","); got != "temperature_c,humidity_pct,room,saturation_pressure_pa,vapour_pressure_pa,dew_point_c,vapour_density_g_m3" {
		t.Error(got)
	}
	if len(rows) != 4 || strings.Join(rows[2][:3], ",") != "30,80,bench" || rows[3][5] != "" {
		t.Fatalf("%q", rows)
	}
	e, err := strconv.ParseFloat(rows[2][4], 64)
	if err != nil {
		t.Fatal(err)
	}
	closeTo(t, "vapour pressure", e, 3396.824, 0.001) // psychrolib 1.1.1
}

func TestAirRefuses(t *testing.T) {
	refused(t, airCommand(), "", "--humidity is missing", "--temperature", "20")
	refused(t, airCommand(), "", "--temperature is missing")
	refused(t, airCommand(), "", "humidity 101", "--temperature", "20", "--humidity", "101")
	refused(t, airCommand(), "", "temperature NaN", "--temperature", "NaN", "--humidity", "50")
	refused(t, airCommand(), "", "want a number", "--temperature", "warm", "--humidity", "50")
	refused(t, airCommand(), "", "there is no flag --temp", "--temp", "20")
	refused(t, airCommand(), "", "only flags", "20")
	refused(t, airCommand(), "", "leave", "--csv", "--json")
	refused(t, airCommand(), "", "the file is empty", "--csv")
	refused(t, airCommand(), "temperature_c\n20\n", "row 1: no column humidity_pct", "--csv")
	refused(t, airCommand(), "temperature_c,humidity_pct\n20,50\n20,x\n", `row 3, column humidity_pct: "x" is not a number`, "--csv")
	refused(t, airCommand(), "temperature_c,humidity_pct\n20,150\n", "row 2, column humidity_pct: 150 is outside", "--csv")
	refused(t, airCommand(), "temperature_c,humidity_pct\n20,\n", "row 2, column humidity_pct: no value", "--csv")
	refused(t, airCommand(), "temperature_c,humidity_pct\n20\n", "row 2: not as many values", "--csv")
	refused(t, airCommand(), "temperature_c,humidity_pct\n20,\"5\n", "row 2", "--csv")
	refused(t, airCommand(), "temperature_c,humidity_pct,dew_point_c\n", "is there already", "--csv")
	refused(t, airCommand(), "temperature_c,temperature_c,humidity_pct\n", "twice", "--csv")
}

func TestExitCode(t *testing.T) {
	if exitCode(nil) != 0 || exitCode(usage("wrong")) != 2 || exitCode(bytes.ErrTooLarge) != 1 {
		t.Error("exit codes are not 0, 2 and 1")
	}
}
