package dashboards

import (
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"

	"potlifed/daemon/metrics"
	"potlifed/daemon/peers"
	"potlifed/daemon/web/page"
	"potlifed/daemon/words"
	"potlifed/model/alarm"
)

// ruleFile is the part of a rule file that the tests read.
type ruleFile struct {
	Groups []struct {
		Rules []struct {
			Alert, Record, Expr string
			Labels, Annotations map[string]string
		}
	}
}

// readRules reads the rules of all files.
func readRules(t *testing.T) ruleFile {
	t.Helper()
	var all ruleFile
	for _, file := range []string{"potlifed.rules.yml", "potlifed.plant.rules.yml"} {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		var f ruleFile
		if err := yaml.Unmarshal(text, &f); err != nil {
			t.Fatal(err)
		}
		all.Groups = append(all.Groups, f.Groups...)
	}
	return all
}

// TestRules lets the tools of Prometheus and Alertmanager check the rules, run their tests,
// and check the example.
func TestRules(t *testing.T) {
	promtool, amtool := peers.Program(t, "promtool"), peers.Program(t, "amtool")
	for _, file := range []string{"potlifed.rules.yml", "potlifed.rules_test.yml", "potlifed.study_test.yml", "potlifed.plant.rules.yml", "potlifed.plant_test.yml", "alertmanager.example.yml",
		"prometheus.example.yml", "prometheus-agent.example.yml", "benches.example.yml"} {
		if _, err := os.ReadFile(file); err != nil { // so that go test runs again when a file changes
			t.Fatal(err)
		}
	}
	for _, command := range [][]string{
		{promtool, "check", "rules", "potlifed.rules.yml", "potlifed.plant.rules.yml"},
		{promtool, "test", "rules", "potlifed.rules_test.yml", "potlifed.study_test.yml", "potlifed.plant_test.yml"},
		{promtool, "check", "config", "prometheus.example.yml"},
		{promtool, "check", "config", "--agent", "prometheus-agent.example.yml"},
		{amtool, "check-config", "alertmanager.example.yml"},
	} {
		if out, err := exec.CommandContext(t.Context(), command[0], command[1:]...).CombinedOutput(); err != nil {
			t.Errorf("%v: %v\n%s", command, err, out)
		}
	}
}

// TestRulesAreComplete: each alert says how urgent it is, what is wrong, what to do and where
// more is written, and the tests of the rules name each alert, silent and firing, and each
// recorded series.
func TestRulesAreComplete(t *testing.T) {
	var tests []byte
	for _, file := range []string{"potlifed.rules_test.yml", "potlifed.study_test.yml", "potlifed.plant_test.yml"} {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		tests = append(tests, text...)
	}
	for _, g := range readRules(t).Groups {
		for _, r := range g.Rules {
			if r.Record != "" {
				if !strings.Contains(string(tests), r.Record) {
					t.Errorf("%s has no test", r.Record)
				}
				continue
			}
			silent := regexp.MustCompile(`alertname: ` + r.Alert + `, exp_alerts: \[\]`)
			firing := regexp.MustCompile(`alertname: ` + r.Alert + `\n\s+exp_alerts:\n`)
			if !silent.Match(tests) || !firing.Match(tests) {
				t.Errorf("%s needs a test in which it is silent and one in which it fires", r.Alert)
			}
			if !slices.Contains([]string{"critical", "warning", "info"}, r.Labels["severity"]) {
				t.Errorf("%s has severity %q", r.Alert, r.Labels["severity"])
			}
			want := []string{"summary", "description", "runbook_url"}
			if r.Alert == "PotlifedBenchGone" {
				want = want[:2] // the page that the link would lead to is gone too
			}
			for _, name := range want {
				if r.Annotations[name] == "" {
					t.Errorf("%s has no %s", r.Alert, name)
				}
			}
		}
	}
}

// TestPlantsStoreGetsNoBatches: the examples drop the series of single batches and no others.
func TestPlantsStoreGetsNoBatches(t *testing.T) {
	var hall, agent struct {
		Scrape []struct {
			Relabel []dropRule `yaml:"metric_relabel_configs"`
		} `yaml:"scrape_configs"`
		Write []struct {
			Relabel []dropRule `yaml:"write_relabel_configs"`
		} `yaml:"remote_write"`
	}
	for file, into := range map[string]any{"prometheus.example.yml": &hall, "prometheus-agent.example.yml": &agent} {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if err := yaml.Unmarshal(text, into); err != nil {
			t.Fatal(err)
		}
	}
	for file, rules := range map[string][]dropRule{"prometheus.example.yml": hall.Write[0].Relabel, "prometheus-agent.example.yml": agent.Scrape[0].Relabel} {
		if len(rules) != 1 || rules[0].Action != "drop" || !slices.Equal(rules[0].Source, []string{"__name__"}) {
			t.Fatalf("%s: %+v, want one rule that drops by name", file, rules)
		}
		dropped := regexp.MustCompile("^(?:" + rules[0].Regex + ")$") // as Prometheus anchors it
		for _, m := range metrics.List() {
			if of := slices.Contains(m.Labels, "batch"); of != dropped.MatchString(m.Name) {
				t.Errorf("%s: %s has the label batch: %v, and is dropped: %v", file, m.Name, of, !of)
			}
		}
	}
}

type dropRule struct {
	Source []string `yaml:"source_labels"`
	Regex  string
	Action string
}

// TestRunbooksExist: each link of an alert to /help leads to an entry of that page. There is one for each
// alarm, so a link by the label alarm leads to one too.
func TestRunbooksExist(t *testing.T) {
	response := httptest.NewRecorder()
	page.In(words.Locale{}).Handler().ServeHTTP(response, httptest.NewRequest(http.MethodGet, "/help", nil))
	help := response.Body.String()
	if response.Code != http.StatusOK {
		t.Fatalf("/help: %d", response.Code)
	}
	links := 0
	for _, g := range readRules(t).Groups {
		for _, r := range g.Rules {
			link := r.Annotations["runbook_url"]
			if link == "" {
				continue
			}
			links++
			before, anchor, _ := strings.Cut(link, "#")
			if before != "http://{{ $labels.instance }}/help" {
				t.Errorf("%s: %s does not lead to /help", r.Alert, link)
			}
			names := []string{anchor}
			if anchor == "{{ $labels.alarm }}" {
				names = nil
				for _, d := range alarm.Definitions() {
					names = append(names, string(d.Name))
				}
			}
			for _, name := range names {
				if strings.Count(help, `id="`+name+`"`) != 1 {
					t.Errorf("%s: /help has no %s", r.Alert, name)
				}
			}
		}
	}
	if links < 7 {
		t.Errorf("%d links", links)
	}
}

// TestMetricsExist: whatever rules and dashboards ask for is a metric of the program, or is
// recorded by a rule. It fails when a metric is renamed and a query is left behind.
func TestMetricsExist(t *testing.T) {
	known := map[string]bool{}
	for _, s := range metrics.List() {
		known[s.Name] = true
		if s.Kind == "histogram" {
			known[s.Name+"_bucket"], known[s.Name+"_sum"], known[s.Name+"_count"] = true, true, true
		}
	}
	name := regexp.MustCompile(`[a-z_]*:?potlife_\w+(:\w+)?`)
	check := func(where, expr string) {
		for _, found := range name.FindAllString(expr, -1) {
			if !known[found] {
				t.Errorf("%s asks for %s, which does not exist", where, found)
			}
		}
	}
	rules := readRules(t)
	for _, g := range rules.Groups {
		for _, r := range g.Rules {
			known[r.Record] = true
		}
	}
	for _, g := range rules.Groups {
		for _, r := range g.Rules {
			check(r.Alert+r.Record, r.Expr)
		}
	}
	for _, q := range boardQueries(t) {
		check(q.panel, q.expr)
	}
}
