package dashboards

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"testing"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"potlifed/daemon/peers"
	"potlifed/daemon/study"
	"potlifed/model/air"
	"potlifed/model/quality"
)

// plantEffect is the logarithm of the ratio of rates for 1 g/m³ in a simulated plant.
const plantEffect = 0.08

// simulatePlant writes days of benches as export --by-day does, without what the study does not read: five batches a day on two presses,
// whose rejects rise with the vapour; with corrections, prints without air, and rejects without prints.
func simulatePlant(t testing.TB, dir string, benches, days int) {
	t.Helper()
	rng := rand.New(rand.NewPCG(7, uint64(benches)))
	for bench := range benches {
		for day := range days {
			date := time.Date(2026, 5, 4+day, 0, 0, 0, 0, time.UTC)
			folder := filepath.Join(dir, fmt.Sprintf("bench=b%d", bench), "date="+date.Format(time.DateOnly))
			if err := os.MkdirAll(folder, 0o755); err != nil {
				t.Fatal(err)
			}
			files := simulateDay(rng, bench, date)
			for name, lines := range files {
				var b bytes.Buffer
				z := gzip.NewWriter(&b)
				if _, err := z.Write(lines.Bytes()); err != nil {
					t.Fatal(err)
				}
				if err := z.Close(); err != nil {
					t.Fatal(err)
				}
				if err := os.WriteFile(filepath.Join(folder, name+".jsonl.gz"), b.Bytes(), 0o644); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
}

func simulateDay(rng *rand.Rand, bench int, date time.Time) map[string]*bytes.Buffer {
	files := map[string]*bytes.Buffer{"prints": {}, "defects": {}, "batches": {}}
	line := func(file, format string, values ...any) {
		fmt.Fprintf(files[file], `{"bench":"b%d",`+format+"}\n", append([]any{bench}, values...)...)
	}
	common := math.Exp(0.25 * rng.NormFloat64())
	celsius, pct := 21+1.5*rng.NormFloat64(), 35+30*rng.Float64()
	for batch := range 5 {
		press, ink, id := fmt.Sprint("press-", 1+batch%2), []string{"gloss", "satin"}[batch%2], fmt.Sprintf("%s-%d", date.Format("0102"), batch+1)
		begin := date.Add(time.Duration(6+3*batch) * time.Hour) // the last one ends after midnight
		for quarter := range 8 {
			at := begin.Add(time.Duration(quarter) * 15 * time.Minute).Format(time.RFC3339)
			a := air.State{TemperatureC: celsius + 0.2*float64(quarter), HumidityPct: pct + 6*rng.Float64()}
			prints := 150 + rng.IntN(80)
			said := ""
			if rng.IntN(40) > 0 {
				said = fmt.Sprintf(`,"temperature_c":%.2f,"humidity_pct":%.1f,"vapour_density_g_m3":%.2f`, a.TemperatureC, a.HumidityPct, a.VapourDensityGM3())
			}
			inked := ""
			if batch != 1 { // the batch says it
				inked = fmt.Sprintf(`,"ink":%q`, ink)
			}
			line("prints", `"time":%q,"press":%q,"batch":%q%s,"source":"bench","prints":%d%s`, at, press, id, inked, prints, said)
			rate := 0.004 * common * math.Exp(plantEffect*(a.VapourDensityGM3()-9))
			for _, kind := range []string{"pinholes", "smears", "dust"} {
				n := int(distuv.Poisson{Lambda: rate * float64(prints), Src: rng}.Rand())
				if kind == "dust" {
					n = int(distuv.Poisson{Lambda: 0.2, Src: rng}.Rand()) - rng.IntN(10)/9 // a correction now and then
				}
				if n != 0 {
					line("defects", `"time":%q,"press":%q,"batch":%q%s,"kind":%q,"defects":%d`, at, press, id, inked, kind, n)
				}
			}
		}
		line("batches", `"id":%q,"ink":%q,"closed_at":%q`, id, ink, begin.Add(3*time.Hour).Format(time.RFC3339))
	}
	line("defects", `"time":%q,"press":"press-9","kind":"dust","defects":1`, date.Add(time.Hour).Format(time.RFC3339))
	return files
}

// answers are the tables of study.sql, their rows by name.
type answers map[string][]map[string]any

// runStudySQL lets DuckDB gather the tables, twice, and answer.
func runStudySQL(t testing.TB, tables string) (a answers) {
	t.Helper()
	modules, node := peers.Folder(t, "POTLIFED_DUCKDB"), peers.Program(t, "node", "nodejs")
	const script = `
const { DuckDBInstance } = require("@duckdb/node-api");
(async () => {
  const connection = await (await DuckDBInstance.create(":memory:")).connect();
  await connection.run("SET VARIABLE tables = '" + process.argv[2] + "'");
  for (const file of process.argv.slice(3)) await connection.run(require("fs").readFileSync(file, "utf8"));
  const said = {};
  for (const name of ["totals", "bins", "effects"]) said[name] = (await connection.runAndReadAll("SELECT * FROM " + name)).getRowObjectsJson();
  console.log(JSON.stringify(said));
})().catch((error) => { console.error(error); process.exit(1); });
`
	file := filepath.Join(t.TempDir(), "study.cjs")
	if err := os.WriteFile(file, []byte(script), 0o600); err != nil {
		t.Fatal(err)
	}
	c := exec.CommandContext(t.Context(), node, file, tables, "gather.sql", "gather.sql", "study.sql")
	c.Env = append(os.Environ(), "NODE_PATH="+modules)
	out, err := c.CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	if err := json.Unmarshal(out, &a); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	return a
}

func (a answers) row(table string, named any, by string) map[string]any {
	for _, r := range a[table] {
		if r[by] == named {
			return r
		}
	}
	return nil
}

// figureOf returns a figure; DuckDB writes large counts as text.
func figureOf(row map[string]any, column string) float64 {
	switch x := row[column].(type) {
	case float64:
		return x
	case string:
		if f, err := strconv.ParseFloat(x, 64); err == nil {
			return f
		}
	}
	return math.NaN()
}

// near reports figures that are not the same to the given share of them.
func near(t *testing.T, what string, row map[string]any, share float64, want map[string]float64) {
	t.Helper()
	for column, x := range want {
		if got := figureOf(row, column); !(math.Abs(got-x) <= share*math.Abs(x)) {
			t.Errorf("%s, %s: study.sql says %.9g, the study %.9g", what, column, got, x)
		}
	}
}

// TestStudyInDuckDB: study.sql says of a plant's days what the study says of the same files, to the six digits of its answers; with
// cells of one quarter-hour, and of longer spans.
func TestStudyInDuckDB(t *testing.T) {
	peers.Folder(t, "POTLIFED_DUCKDB")
	for name, size := range map[string][2]int{"quarters": {4, 10}, "spans": {18, 12}} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			dir := t.TempDir()
			simulatePlant(t, dir, size[0], size[1])
			table := study.NewTable(study.Filter{})
			files, err := filepath.Glob(filepath.Join(dir, "bench=*", "date=*", "*.jsonl.gz"))
			if err != nil {
				t.Fatal(err)
			}
			slices.Sort(files)
			for _, file := range files {
				f, err := os.Open(file)
				if err != nil {
					t.Fatal(err)
				}
				if err := table.Read(file, f); err != nil {
					t.Fatal(err)
				}
				f.Close()
			}
			want, err := study.Make(t.Context(), table, quality.Options{Relevant: quality.UsualRelevant}, time.UTC)
			if err != nil {
				t.Fatal(err)
			}
			if (name == "spans") != (want.SpanS > 900) {
				t.Errorf("%s: cells of %v s", name, want.SpanS)
			}
			sameStudy(t, runStudySQL(t, dir), want)
		})
	}
}

func sameStudy(t *testing.T, got answers, want study.Answer) {
	t.Helper()
	const digits = 1.5e-5 // of the six digits of an answer, and of the quantile of Student's t
	if len(got["totals"]) != len(want.Totals) {
		t.Errorf("totals of %d kinds, want %d", len(got["totals"]), len(want.Totals))
	}
	for _, k := range want.Totals {
		near(t, "totals of "+k.Kind, got.row("totals", k.Kind, "kind"), digits, map[string]float64{
			"prints": want.Prints, "defects": k.Defects, "rate": k.Rate, "rate_low": k.Low, "rate_high": k.High})
	}
	for i, c := range want.Curves {
		if e := want.Effects[i]; c.Factor != quality.VapourDensity.String() || e.Reason != "" {
			continue
		} else {
			near(t, "effect on "+e.Kind, got.row("effects", e.Kind, "kind"), digits, map[string]float64{
				"ratio": *e.Ratio, "ratio_low": *e.Low, "ratio_high": *e.High, "swing": *e.Swing, "swing_low": *e.SwingLow, "swing_high": *e.SwingHigh})
		}
		if c.Kind != study.All {
			continue
		}
		if len(got["bins"]) != len(c.Bins) {
			t.Errorf("%d bins, want %d", len(got["bins"]), len(c.Bins))
		}
		for _, b := range c.Bins {
			near(t, fmt.Sprint("bin from ", b.Low), got.row("bins", b.Low, "low"), digits, map[string]float64{
				"high": b.High, "mean": b.Mean, "prints": b.Prints, "defects": b.Defects, "rate": b.Rate, "rate_low": b.RateLow, "rate_high": b.RateHigh})
		}
	}
}
