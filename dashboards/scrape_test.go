package dashboards

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/grafana/grafana-foundation-sdk/go/cog/plugins"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/prometheus"

	"potlifed/daemon/metrics"
	"potlifed/daemon/peers"
	"potlifed/daemon/rehearsal"
)

// boardQuery is a query of a dashboard, as the committed file has it.
type boardQuery struct{ panel, expr string }

// boardQueries reads every query of the committed dashboards.
func boardQueries(t *testing.T) []boardQuery {
	t.Helper()
	plugins.RegisterDefaultPlugins()
	paths, err := filepath.Glob("grafana/*.json")
	if err != nil || len(paths) == 0 {
		t.Fatal("no dashboards", err)
	}
	var found []boardQuery
	for _, path := range paths {
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		var d dashboard.Dashboard
		if err := json.Unmarshal(text, &d); err != nil {
			t.Fatalf("%s: %v", path, err)
		}
		for _, p := range d.Panels {
			if p.Panel == nil {
				continue
			}
			for _, target := range p.Panel.Targets {
				q, ok := target.(*prometheus.Dataquery)
				if !ok {
					t.Fatalf("%s: a target is a %T", path, target)
				}
				found = append(found, boardQuery{path + ": " + *p.Panel.Title, q.Expr})
			}
		}
	}
	if len(found) < 30 {
		t.Fatalf("only %d queries were read", len(found))
	}
	return found
}

// asGrafana puts in for Grafana's variables what it would with everything chosen.
var asGrafana = strings.NewReplacer("$job", ".+", "$instance", ".+", "$bench", ".+", "$__rate_interval", "1m")

// TestQueriesFindData: every query of every dashboard and of every rule returns data from a
// real Prometheus that scrapes the demo. Alerting rules are asked without their comparisons,
// since a demo in order raises none of them.
func TestQueriesFindData(t *testing.T) {
	if testing.Short() {
		t.Skip("a demo has to run for a while")
	}
	program := peers.Program(t, "prometheus")
	ctx, stop := context.WithCancel(t.Context())
	page := runDemo(ctx, t)
	server := runPrometheus(ctx, t, program, strings.TrimSuffix(strings.TrimPrefix(page, "http://"), "/"))
	defer stop() // before the cleanups wait for both

	missing := map[boardQuery]error{}
	for _, q := range boardQueries(t) {
		missing[boardQuery{q.panel, asGrafana.Replace(q.expr)}] = nil
	}
	limit := regexp.MustCompile(` (==|>=|>) [0-9.]+( |$)`)
	for _, g := range readRules(t).Groups {
		for _, r := range g.Rules {
			if r.Record != "" {
				// A series that is recorded for several bands of humidity has to be there for one:
				// the demo's air is not in every band.
				missing[boardQuery{"rule " + r.Record, r.Record}] = nil
				continue
			}
			expr, _, _ := strings.Cut(r.Expr, " unless ")
			expr, _, least := strings.Cut(expr, " < ")
			if least && strings.Contains(expr, "_check_due_") { // nobody checks a device in the demo
				if !slices.ContainsFunc(metrics.List(), func(m metrics.Series) bool { return m.Name == expr }) {
					t.Errorf("rule %s: there is no metric %s", r.Alert, expr)
				}
				continue
			}
			expr = strings.ReplaceAll(expr, `broker="plant"`, `broker="hall"`) // the demo has no plant
			missing[boardQuery{"rule " + r.Alert, limit.ReplaceAllString(expr, " ")}] = nil
		}
	}
	all, from := len(missing), time.Now()
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	end := time.After(4 * time.Minute)
	for len(missing) > 0 {
		for q := range missing {
			found, err := results(ctx, server, q.expr)
			missing[q] = err
			if found > 0 {
				delete(missing, q)
			}
		}
		select {
		case <-tick.C:
		case <-end:
			for q, err := range missing {
				t.Errorf("%s: %s finds nothing (%v)", q.panel, q.expr, err)
			}
			return
		}
	}
	t.Logf("%d queries found data within %v", all, time.Since(from).Round(time.Second))
}

// runDemo starts the demo at its greatest speed and returns the address of its page.
func runDemo(ctx context.Context, t *testing.T) string {
	t.Helper()
	t.Setenv("TMPDIR", t.TempDir())
	out := &firstLine{line: make(chan string, 1)}
	ended := make(chan error, 1)
	go func() {
		ended <- rehearsal.Run(ctx, rehearsal.Options{
			Speed: 240, First: 240, Listen: "127.0.0.1:0", Seed: 1, Out: out, Log: slog.New(slog.DiscardHandler),
		})
	}()
	t.Cleanup(func() {
		if err := <-ended; err != nil {
			t.Errorf("demo: %v", err)
		}
	})
	select {
	case line := <-out.line:
		address := regexp.MustCompile(`http://\S+`).FindString(line)
		if address == "" {
			t.Fatalf("the demo's first line is %q", line)
		}
		return address
	case err := <-ended:
		ended <- err
		t.Fatalf("demo: %v", err)
	}
	return ""
}

// firstLine passes on the first line that is written to it.
type firstLine struct {
	once sync.Once
	line chan string
	text bytes.Buffer
}

func (f *firstLine) Write(p []byte) (int, error) {
	f.text.Write(p)
	if line, _, whole := bytes.Cut(f.text.Bytes(), []byte("\n")); whole {
		f.once.Do(func() { f.line <- string(line) })
		f.text.Reset()
	}
	return len(p), nil
}

// runPrometheus starts a Prometheus that scrapes the address each second and evaluates the
// rules each second, and returns its own address.
func runPrometheus(ctx context.Context, t *testing.T, program, scrape string) string {
	t.Helper()
	dir, port := t.TempDir(), freePort(t)
	files := map[string][]byte{}
	// Nobody waits five minutes here.
	for name, hasty := range map[string][2]string{"potlifed.rules.yml": {"interval: 5m", "interval: 1s"}, "potlifed.plant.rules.yml": {"[1d:5m]", "[1m:1s]"}} {
		rules, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Contains(rules, []byte(hasty[0])) {
			t.Fatalf("%s has lost its %s", name, hasty[0])
		}
		files[name] = bytes.Replace(rules, []byte(hasty[0]), []byte(hasty[1]), 1)
	}
	configuration := "global: {scrape_interval: 1s, scrape_timeout: 1s, evaluation_interval: 1s}\n" +
		"rule_files: [\"*.rules.yml\"]\n" +
		"scrape_configs:\n- job_name: potlifed\n  static_configs:\n  - targets: [\"" + scrape + "\"]\n"
	files["prometheus.yml"] = []byte(configuration)
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(dir, name), text, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	address := fmt.Sprintf("127.0.0.1:%d", port)
	var log bytes.Buffer
	cmd := exec.CommandContext(ctx, program, "--config.file="+filepath.Join(dir, "prometheus.yml"),
		"--storage.tsdb.path="+filepath.Join(dir, "data"), "--web.listen-address="+address)
	cmd.Stdout, cmd.Stderr = &log, &log
	// Told to end and given time for it: killed, it may leave its storage half written while
	// the folder is being removed.
	cmd.Cancel = func() error { return cmd.Process.Signal(syscall.SIGTERM) }
	cmd.WaitDelay = 10 * time.Second
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = cmd.Wait()
		if t.Failed() {
			t.Logf("prometheus said:\n%s", &log)
		}
	})
	return "http://" + address
}

// freePort returns a port that was free a moment ago.
func freePort(t *testing.T) int {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port
}

// results returns how many series a query finds.
func results(ctx context.Context, server, expr string) (int, error) {
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, server+"/api/v1/query?query="+url.QueryEscape(expr), nil)
	if err != nil {
		return 0, err
	}
	answer, err := http.DefaultClient.Do(request)
	if err != nil {
		return 0, err
	}
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	if err != nil {
		return 0, err
	}
	var found struct {
		Status, Error string
		Data          struct{ Result []json.RawMessage }
	}
	if err := json.Unmarshal(text, &found); err != nil {
		return 0, err
	}
	if found.Status != "success" {
		return 0, fmt.Errorf("%s", found.Error)
	}
	return len(found.Data.Result), nil
}
