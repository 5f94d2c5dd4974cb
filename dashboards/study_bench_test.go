package dashboards

import (
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"potlifed/daemon/peers"
)

// BenchmarkStudyInDuckDB gathers and studies 20 days of a thousand benches, each in a process of its own, and reports
// processor time and memory. The study may take 5 s of processor time and 1 GB.
//
//	go test ./dashboards -run '^$' -bench StudyInDuckDB -benchtime 1x
func BenchmarkStudyInDuckDB(b *testing.B) {
	const benches, days = 1000, 20
	dir := b.TempDir()
	simulatePlant(b, dir, benches, days)
	database := filepath.Join(b.TempDir(), "plant.duckdb")
	for b.Loop() {
		if err := os.RemoveAll(database); err != nil {
			b.Fatal(err)
		}
		for _, file := range []string{"gather.sql", "study.sql"} {
			cost := runSQLFile(b, database, dir, file)
			b.ReportMetric(cost.CPU, file+"-cpu-s")
			b.ReportMetric(cost.RSS/1e3, file+"-MB")
		}
	}
}

// sqlCost is processor time in seconds and the largest memory in kB.
type sqlCost struct{ CPU, RSS float64 }

// runSQLFile lets DuckDB run a file on a database.
func runSQLFile(t testing.TB, database, tables, file string) (cost sqlCost) {
	t.Helper()
	modules, node := peers.Folder(t, "POTLIFED_DUCKDB"), peers.Program(t, "node", "nodejs")
	const script = `
const { DuckDBInstance } = require("@duckdb/node-api");
(async () => {
  const connection = await (await DuckDBInstance.create(process.argv[2])).connect();
  await connection.run("SET VARIABLE tables = '" + process.argv[3] + "'");
  await connection.run(require("fs").readFileSync(process.argv[4], "utf8"));
  const used = process.resourceUsage();
  console.log(JSON.stringify({ CPU: (used.userCPUTime + used.systemCPUTime) / 1e6, RSS: used.maxRSS }));
})().catch((error) => { console.error(error); process.exit(1); });
`
	path := filepath.Join(t.TempDir(), "run.cjs")
	if err := os.WriteFile(path, []byte(script), 0o600); err != nil {
		t.Fatal(err)
	}
	c := exec.CommandContext(t.Context(), node, path, database, tables, file)
	c.Env = append(os.Environ(), "NODE_PATH="+modules)
	out, err := c.CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	if err := json.Unmarshal(out, &cost); err != nil {
		t.Fatal(fmt.Errorf("%w\n%s", err, out))
	}
	return cost
}
