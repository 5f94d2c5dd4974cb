package main

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/journal"
	"potlifed/daemon/peers"
	"potlifed/daemon/record"
)

// yesterday writes two hours of prints and rejects into the journal of a bench that has not run yet.
func (b *hardware) yesterday(t *testing.T) {
	t.Helper()
	dir := filepath.Join(b.dir, "data")
	if err := os.MkdirAll(dir, 0o750); err != nil {
		t.Fatal(err)
	}
	j, err := journal.Open(dir, slog.New(slog.DiscardHandler), func(time.Duration) {})
	if err != nil {
		t.Fatal(err)
	}
	var g journal.Group
	begin := time.Now().Add(-24 * time.Hour).Truncate(time.Hour).UTC()
	add := func(at time.Time, body record.Body) {
		g.Records = append(g.Records, record.Record{Seq: uint64(len(g.Records) + 1), Stamp: record.Stamp{At: at, Boot: "b", Synced: true}, By: "=anna", Body: body})
	}
	add(begin, record.Started{GapKnown: true})
	spent, age, celsius, pct := 0.25, 90*time.Minute, 21.5, 48.0
	for i := range 120 {
		at := begin.Add(time.Duration(i) * time.Minute)
		c := record.Conditions{Ink: "dial-satin", Spent: &spent, Age: &age, TemperatureC: &celsius, HumidityPct: &pct}
		add(at, record.Printed{Press: "press-1", Batch: "0101-1", Add: uint64(30 + i%5), Minute: at, Conditions: c})
		if i%7 == 0 {
			add(at, record.Defects{Press: "press-1", Batch: "0101-1", Defect: []string{"pinholes", "dust"}[i%2], Add: 2, Minute: at, Conditions: c})
		}
	}
	if err := j.Write(g); err != nil {
		t.Fatal(err)
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
}

// totals are what the API says of the last two days.
func totals(t *testing.T, p *program) (prints, defects int) {
	t.Helper()
	var a struct{ Prints []struct{ Prints int } }
	var d struct{ Defects []struct{ Defects int } }
	from := time.Now().Add(-48 * time.Hour).UTC().Format(time.RFC3339)
	for path, to := range map[string]any{"prints": &a, "defects": &d} {
		if err := json.Unmarshal([]byte(p.text("/api/v1/history/"+path+"?step=1h&from="+from)), to); err != nil {
			t.Fatal(err)
		}
	}
	for _, row := range a.Prints {
		prints += row.Prints
	}
	for _, row := range d.Defects {
		defects += row.Defects
	}
	return prints, defects
}

// TestExportBesideTheService: the tables have what the API says, DuckDB reads the same from them, and
// what was imported on paper is in both, marked.
func TestExportBesideTheService(t *testing.T) {
	t.Parallel()
	b := newHardware(t)
	b.yesterday(t)
	file := b.configuration(t, "")
	p := start(t, file)
	defer p.stop()
	const measured = 120*30 + 24*(0+1+2+3+4)
	if prints, defects := totals(t, p); prints != measured || defects != 36 {
		t.Fatalf("the API says %d prints and %d rejects", prints, defects)
	}
	old := time.Now().Add(-40 * time.Hour).UTC().Truncate(time.Second)
	log := filepath.Join(b.dir, "paper.csv")
	text := fmt.Sprintf("time,press,prints,batch\n%s,press-1,500,'=old\n%s,press-1,70,\n", old.Format(time.RFC3339), old.Add(time.Hour).Format(time.RFC3339))
	if err := os.WriteFile(log, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	if code, out, errs := command(t, "import", "--config", file, log); code != 0 || !strings.Contains(out, "2 rows of prints imported") {
		t.Fatalf("exit %d: %s%s", code, out, errs)
	}
	if code, _, errs := command(t, "import", "--config", file, log); code != 2 || !strings.Contains(errs, "it was imported before") {
		t.Errorf("twice: exit %d: %s", code, errs)
	}
	prints, defects := totals(t, p)
	if prints != measured+570 {
		t.Errorf("with paper the API says %d prints", prints)
	}
	out := filepath.Join(b.dir, "tables")
	for _, format := range []string{"csv", "jsonl.gz"} {
		if code, _, errs := command(t, "export", "--config", file, "--out", out, "--format", format); code != 0 {
			t.Fatalf("exit %d: %s", code, errs)
		}
	}
	f, err := os.Open(filepath.Join(out, "prints.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	sum, paper := 0, 0
	for _, row := range rows[1:] {
		n, err := strconv.Atoi(row[8])
		if err != nil {
			t.Fatalf("%v: %v", rows[0], err)
		}
		if sum += n; row[7] == "paper" {
			paper += n
		}
	}
	if sum != prints || paper != 570 {
		t.Errorf("the table has %d prints, %d of them on paper; the API says %d", sum, paper, prints)
	}
	wholeDays(t, b, file, old)
	t.Run("DuckDB", func(t *testing.T) { duckDB(t, out, prints, defects) })
	if code, out, errs := command(t, "import", "--config", file, "--list"); code != 0 || !strings.Contains(out, "prints  paper.csv") {
		t.Errorf("list: exit %d: %s%s", code, out, errs)
	}
	if code, _, errs := command(t, "import", "--config", file, "--undo", "7"); code != 2 || !strings.Contains(errs, "import 7: there is no import of this id") {
		t.Errorf("undo of none: exit %d: %s", code, errs)
	}
	if code, out, errs := command(t, "import", "--config", file, "--undo", "1"); code != 0 || !strings.Contains(out, "paper.csv: import 1, 2 rows of prints, undone") {
		t.Errorf("undo: exit %d: %s%s", code, out, errs)
	}
	if prints, _ := totals(t, p); prints != measured {
		t.Errorf("after the undo the API says %d prints", prints)
	}
}

// wholeDays exports the bench's days from a moment on beside its service; a second time there is none left. Just after
// midnight yesterday is not over yet, so the moment lies further back.
func wholeDays(t *testing.T, b *hardware, file string, from time.Time) {
	t.Helper()
	dir := filepath.Join(b.dir, "plant")
	code, out, errs := command(t, "export", "--config", file, "--out", dir, "--by-day", "--from", from.Local().Format(time.DateOnly))
	if code != 0 || !strings.Contains(out, "date=") {
		t.Fatalf("exit %d: %s%s", code, out, errs)
	}
	found, err := filepath.Glob(filepath.Join(dir, "bench=*", "date=*", "prints.jsonl.gz"))
	if err != nil || len(found) == 0 {
		t.Errorf("%v %v", found, err)
	}
	if code, out, errs := command(t, "export", "--config", file, "--out", dir, "--by-day", "--json"); code != 0 || strings.TrimSpace(out) != `{"days":[]}` {
		t.Errorf("again: exit %d: %s%s", code, out, errs)
	}
	if code, _, errs := command(t, "export", "--config", file, "--out", dir, "--by-day", "--format", "csv"); code != 2 || !strings.Contains(errs, "--by-day writes jsonl.gz") {
		t.Errorf("as CSV: exit %d: %s", code, errs)
	}
}

// duckDB lets another author's reader sum up the tables.
func duckDB(t *testing.T, dir string, prints, defects int) {
	modules := peers.Folder(t, "POTLIFED_DUCKDB")
	node := peers.Program(t, "node", "nodejs")
	script := filepath.Join(t.TempDir(), "sums.cjs")
	const text = `
const { DuckDBInstance } = require("@duckdb/node-api");
(async () => {
  const connection = await (await DuckDBInstance.create(":memory:")).connect();
  const sums = {};
  for (const ending of ["csv", "jsonl.gz"]) {
    const table = (name) => "'" + process.argv[2] + "/" + name + "." + ending + "'";
    const one = async (query) => Object.values((await connection.runAndReadAll(query)).getRowObjects()[0]).map(String);
    sums[ending] = [
      ...await one("SELECT sum(prints), count(DISTINCT bench) FROM " + table("prints")),
      ...await one("SELECT sum(defects) FROM " + table("defects")),
      ...await one("SELECT sum(prints * spent) / sum(prints) FROM " + table("prints") + " WHERE spent IS NOT NULL"),
      ...await one("SELECT count(*) FILTER (WHERE epoch_ms(CAST(time AS TIMESTAMPTZ)) > 0) - count(*) FROM " + table("events")),
    ];
    for (const name of ["air", "batches", "pours", "checks", "alarms"]) await one("SELECT count(*) FROM " + (ending === "csv" ? "read_csv(" + table(name) + ", header = true)" : table(name)));
  }
  console.log(JSON.stringify(sums));
})().catch((error) => { console.error(error); process.exit(1); });
`
	if err := os.WriteFile(script, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	c := exec.CommandContext(t.Context(), node, script, dir)
	c.Env = append(os.Environ(), "NODE_PATH="+modules)
	out, err := c.CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	var sums map[string][]string
	if err := json.Unmarshal(out, &sums); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	want := fmt.Sprint([]string{strconv.Itoa(prints), "1", strconv.Itoa(defects), "0.25", "0"})
	for format, got := range sums {
		if fmt.Sprint(got) != want {
			t.Errorf("%s: DuckDB says %v, want %v", format, got, want)
		}
	}
}
