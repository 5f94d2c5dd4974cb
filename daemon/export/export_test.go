package export

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"encoding/csv"
	"encoding/json"
	"log/slog"
	"os"
	"path/filepath"
	"reflect"
	"strconv"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/history"
	"potlifed/daemon/journal"
	"potlifed/daemon/paper"
	"potlifed/daemon/record"
	"potlifed/daemon/table"
	"potlifed/model/air"
	"potlifed/model/cure"
	"potlifed/model/guide"
	"potlifed/model/mix"
	"potlifed/model/verify"
	"potlifed/model/viscosity"
)

var noon = time.Date(2026, 6, 12, 12, 0, 0, 0, time.UTC)

// shop is a journal in which things are written one after another.
type shop struct {
	t     testing.TB
	dir   string
	j     *journal.Journal
	group journal.Group
	at    time.Time
	seq   uint64
	until time.Time
}

func newShop(t testing.TB) *shop {
	t.Helper()
	s := &shop{t: t, dir: t.TempDir(), at: noon, until: noon}
	j, err := journal.Open(s.dir, slog.New(slog.DiscardHandler), func(time.Duration) {})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { j.Close() })
	s.j = j
	return s
}

func (s *shop) add(b record.Body) uint64 {
	r := record.Record{Stamp: record.Stamp{At: s.at, Boot: "b", Synced: true}, By: "=anna", Body: b}
	if r.IsEvent() {
		s.seq++
		r.Seq = s.seq
	}
	s.group.Records = append(s.group.Records, r)
	return s.seq
}

// passes lets time pass in air.
func (s *shop) passes(d time.Duration, a air.State) {
	s.at = s.at.Add(d)
	s.add(record.AirStep{Zone: "hall", Start: s.until, After: a, Step: cure.Step{Duration: s.at.Sub(s.until), From: a, To: a, Kind: cure.Measured}})
	s.until = s.at
}

// mixes records, uses and closes a mix.
func (s *shop) mixes(id string, prints uint64) {
	s.t.Helper()
	m, err := guide.Recorded(guide.Recipe{Ratio: 5, TolerancePct: 5, InkTargetG: 85, ThinnerPct: 7, ThinnerMinPct: 6, ThinnerMaxPct: 14, DivisionG: 1},
		mix.Amounts{InkG: 85, HardenerG: 17, ThinnerG: 7}, s.at, s.at)
	if err != nil {
		s.t.Fatal(err)
	}
	life, err := cure.Sheet{Shortest: 270 * time.Minute, Longest: 330 * time.Minute}.Calibrate()
	if err != nil {
		s.t.Fatal(err)
	}
	s.add(record.Recorded{
		Batch: id, Day: s.at.Format("20060102"), Ink: "dial-satin", Zone: "hall", Cup: "cup-110", MixedAt: s.at, Mix: m,
		Basis: record.Basis{Life: life, Place: cure.Place{Exposure: 1, Lag: 25 * time.Minute}},
	})
	s.add(record.Loaded{Batch: id, Press: "press-1", Zone: "hall", Place: cure.Place{Exposure: 1}})
	for i := range 12 {
		s.passes(10*time.Minute, air.State{TemperatureC: 21, HumidityPct: 40 + float64(i)})
		s.add(record.Printed{Press: "press-1", Batch: id, Add: prints, Minute: s.at.Truncate(time.Minute)})
		s.add(record.Defects{Press: "press-1", Batch: id, Defect: "pinholes", Add: int64(i % 3), Minute: s.at.Truncate(time.Minute)})
	}
	flow := record.FlowTimed{Batch: id, Cup: "ford-4", RunsS: []float64{41.2, 41.5}, ViscosityMM2PerS: 146, Sample: viscosity.Sample{LnRuns: []float64{4.98, 4.99}, RunSpread: 0.018, ThinnerPct: -0.4}}
	first := s.add(flow)
	flow.RunsS, flow.Corrects = []float64{42}, first
	flow.Sample.LnRuns = []float64{5}
	s.add(flow)
	s.add(record.Thinned{Batch: id, G: 3})
	s.add(record.SensorVerified{Sensor: "hall-1", HumidityPct: 75, Note: "@salt, \"wet\""})
	s.add(record.ScaleVerified{Scale: "scale-1", Class: verify.ClassIII, IntervalG: 1, WeightClass: verify.M1, Note: "certificate 2291", Result: verify.ScaleResult{
		Verdict: verify.InService, Loads: []verify.LoadResult{{LoadG: 100, N: 3, MeanG: 100, InitialG: 0.5, InServiceG: 1, Verdict: verify.Passed}, {LoadG: 500, N: 3, MeanG: 500.7, ErrorG: 0.7, InitialG: 0.5, InServiceG: 1, Verdict: verify.InService}},
	}})
	s.add(record.Closed{Batch: id, Ink: "dial-satin", Press: "press-1", Outcome: "went-off", StillGood: "no", Seen: "now"})
	s.passes(30*time.Minute, air.State{TemperatureC: 21, HumidityPct: 52})
}

func (s *shop) settings(dir string) Settings {
	s.t.Helper()
	if err := s.j.Write(s.group); err != nil {
		s.t.Fatal(err)
	}
	s.group = journal.Group{}
	h, err := history.OpenToRead(s.t.Context(), s.dir, s.j)
	if err != nil {
		s.t.Fatal(err)
	}
	s.t.Cleanup(func() { h.Close() })
	return Settings{
		Bench: "bench-1", Journal: s.j, History: h, From: noon.AddDate(-1, 0, 0), To: noon.AddDate(1, 0, 0), Zone: time.UTC, Format: "csv", Dir: dir,
	}
}

// tableOf reads a table; its rows are by column.
func tableOf(t *testing.T, dir, name string) []map[string]string {
	t.Helper()
	f, err := os.Open(filepath.Join(dir, name+".csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []map[string]string
	for _, row := range rows[1:] {
		one := map[string]string{}
		for i, column := range rows[0] {
			one[column] = row[i]
		}
		if one["bench"] != "bench-1" {
			t.Errorf("%s: bench %q", name, one["bench"])
		}
		out = append(out, one)
	}
	return out
}

func sumOf(t *testing.T, rows []map[string]string, column string) (sum int) {
	t.Helper()
	for _, r := range rows {
		n, err := strconv.Atoi(r[column])
		if err != nil {
			t.Fatal(err)
		}
		sum += n
	}
	return sum
}

func TestTables(t *testing.T) {
	s := newShop(t)
	s.mixes("0612-1", 100)
	s.mixes("0612-2", 50)
	dir := filepath.Join(t.TempDir(), "tables")
	done, err := Write(t.Context(), s.settings(dir))
	if err != nil {
		t.Fatal(err)
	}
	if len(done) != len(Tables()) {
		t.Fatalf("%d files", len(done))
	}
	if n := sumOf(t, tableOf(t, dir, "prints"), "prints"); n != 12*150 {
		t.Errorf("%d prints", n)
	}
	if n := sumOf(t, tableOf(t, dir, "defects"), "defects"); n != 24 {
		t.Errorf("%d rejects", n)
	}
	batches := tableOf(t, dir, "batches")
	if len(batches) != 2 || batches[0]["prints"] != "1200" || batches[1]["defects"] != "12" || batches[0]["outcome"] != "went-off" || batches[0]["ink_g"] != "85" {
		t.Errorf("%v", batches)
	}
	var pours []string
	for _, p := range tableOf(t, dir, "pours") {
		pours = append(pours, p["batch"]+" "+p["part"]+" "+p["mass_g"]+" "+p["in_use"])
	}
	if got, want := strings.Join(pours, "; "), "0612-1 ink 85 false; 0612-1 hardener 17 false; 0612-1 thinner 7 false; 0612-1 thinner 3 true; 0612-2 ink 85 false; 0612-2 hardener 17 false; 0612-2 thinner 7 false; 0612-2 thinner 3 true"; got != want {
		t.Errorf("pours\n%s\nwant\n%s", got, want)
	}
	if flows := tableOf(t, dir, "flow-times"); len(flows) != 4 || flows[0]["batch"] != "0612-1" || flows[0]["run_s"] != "41.2" || flows[0]["second_run_s"] != "41.5" ||
		flows[0]["agree"] != "true" || flows[0]["corrects"] != "" || flows[0]["thinner_pct"] != "-0.4" || flows[1]["second_run_s"] != "" || flows[1]["agree"] != "false" || flows[1]["corrects"] != flows[0]["seq"] {
		t.Errorf("%v", flows)
	}
	events := tableOf(t, dir, "events")
	if len(events) != int(s.seq) || events[0]["by"] != "'=anna" || !json.Valid([]byte(events[0]["event"])) {
		t.Errorf("%d events, %v", len(events), events[0])
	}
	if checks := tableOf(t, dir, "checks"); len(checks) != 2 || checks[0]["note"] != `'@salt, "wet"` || table.Plain(checks[0]["note"]) != `@salt, "wet"` {
		t.Errorf("%v", checks)
	}
	// The checks of scales are kept too, a row for each load.
	if loads := tableOf(t, dir, "scale-checks"); len(loads) != 4 || loads[0]["scale"] != "scale-1" || loads[0]["load_g"] != "100" || loads[1]["error_g"] != "0.7" || loads[1]["seq"] != loads[0]["seq"] ||
		loads[0]["verdict"] != "passed" || loads[0]["result"] != "in-service" || loads[1]["weight_class"] != "M1" || loads[1]["note"] != "certificate 2291" || loads[2]["seq"] == loads[0]["seq"] {
		t.Errorf("%v", loads)
	}
	// One row at each end of a step: the start, and the end of 26 steps; each jump is one row more or less.
	if points := tableOf(t, dir, "air"); len(points) != 27 || points[0]["temperature_c"] != "21" {
		t.Errorf("%d rows of air", len(points))
	}
	left, err := filepath.Glob(filepath.Join(dir, ".*"))
	if err != nil || len(left) > 0 {
		t.Errorf("left over: %v %v", left, err)
	}
}

// TestOtherCommandsReadThem: the tables of air and batches are paper records for learn and life.
func TestOtherCommandsReadThem(t *testing.T) {
	s := newShop(t)
	s.mixes("0612-1", 100)
	dir := t.TempDir()
	if _, err := Write(t.Context(), s.settings(dir)); err != nil {
		t.Fatal(err)
	}
	read := func(name string) *bytes.Reader {
		b, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		return bytes.NewReader(b)
	}
	climates, err := paper.ReadClimates("air.csv", read("air.csv"))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := climates.One("", "--zone"); err != nil {
		t.Error(err)
	}
	if _, err := climates.One("hall", "--zone"); err != nil {
		t.Error(err)
	}
	if _, err := paper.ReadBatches("batches.csv", read("batches.csv")); err != nil {
		t.Error(err)
	}
}

func TestAPeriodAsLines(t *testing.T) {
	s := newShop(t)
	s.mixes("0612-1", 100)
	s.mixes("0612-2", 50)
	set := s.settings(t.TempDir())
	set.Format, set.Tables = "jsonl.gz", []string{"prints", "batches"}
	set.From, set.To = noon, noon.Add(3*time.Hour) // the second batch ends later
	done, err := Write(t.Context(), set)
	if err != nil || len(done) != 2 {
		t.Fatal(done, err)
	}
	f, err := os.Open(filepath.Join(set.Dir, "batches.jsonl.gz"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	unzipped, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for lines := bufio.NewScanner(unzipped); lines.Scan(); n++ {
		var row map[string]any
		if err := json.Unmarshal(lines.Bytes(), &row); err != nil || row["id"] != "0612-1" || row["bench"] != "bench-1" {
			t.Errorf("%v %v", row, err)
		}
	}
	if n != 1 {
		t.Errorf("%d batches", n)
	}
	if others, _ := filepath.Glob(filepath.Join(set.Dir, "*")); len(others) != 2 {
		t.Errorf("%v", others)
	}
}

// TestNothingIsLeftAfterAFailure: an old export stays as it was.
func TestNothingIsLeftAfterAFailure(t *testing.T) {
	s := newShop(t)
	s.mixes("0612-1", 100)
	set := s.settings(t.TempDir())
	old := filepath.Join(set.Dir, "prints.csv")
	if err := os.WriteFile(old, []byte("old"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := set.History.Close(); err != nil {
		t.Fatal(err)
	}
	s.j.Close()
	if _, err := Write(t.Context(), set); err == nil {
		t.Fatal("no error from a closed journal")
	}
	all, err := os.ReadDir(set.Dir)
	if err != nil || len(all) != 1 {
		t.Errorf("%v %v", all, err)
	}
	if b, err := os.ReadFile(old); err != nil || string(b) != "old" {
		t.Errorf("%s %v", b, err)
	}
}

// TestDescription: every column of every table has a name with its unit, a type and a meaning, and is
// in the description.
func TestDescription(t *testing.T) {
	var b strings.Builder
	if err := Describe(&b); err != nil {
		t.Fatal(err)
	}
	for _, tb := range Tables() {
		if tb.Row.Kind() != reflect.Struct {
			t.Fatalf("%s: %v", tb.Name, tb.Row)
		}
		seen := map[string]bool{}
		for _, c := range table.Columns(tb.Row) {
			if c.Doc == "" || seen[c.Name] || !strings.Contains(b.String(), "| `"+c.Name+"` | "+c.Type+" |") {
				t.Errorf("%s: column %q, %q", tb.Name, c.Name, c.Doc)
			}
			seen[c.Name] = true
			for unit, end := range map[string]string{" in °C": "_c", " in %": "_pct", " in g;": "_g", " in g per m³": "_g_m3"} {
				if strings.Contains(c.Doc, unit) && !strings.HasSuffix(c.Name, end) {
					t.Errorf("%s: column %s does not name its unit: %s", tb.Name, c.Name, c.Doc)
				}
			}
		}
		if !seen["bench"] {
			t.Errorf("%s has no column bench", tb.Name)
		}
	}
}
