package dashboards

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/metrics"
	"potlifed/daemon/peers"
)

// TestAgentWritesIntoAStore: a Prometheus agent with the example's configuration writes every series of a bench into a VictoriaMetrics,
// except for those of single batches.
func TestAgentWritesIntoAStore(t *testing.T) {
	if os.Getenv("POTLIFED_CLUSTERS") == "" {
		t.Skip("runs with POTLIFED_CLUSTERS=1")
	}
	store, agent := peers.Program(t, "victoria-metrics"), peers.Program(t, "prometheus")
	bench := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		for _, m := range metrics.List() {
			labels := []string{`bench="bench-1"`}
			for _, l := range m.Labels {
				if l != "bench" {
					labels = append(labels, fmt.Sprintf(`%s="a"`, l))
				}
			}
			fmt.Fprintf(w, "%s{%s} 1\n", m.Name, strings.Join(labels, ","))
		}
	}))
	defer bench.Close()
	dir := t.TempDir()
	write := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	at := fmt.Sprintf("127.0.0.1:%d", freePort(t))
	text, err := os.ReadFile("prometheus-agent.example.yml")
	if err != nil {
		t.Fatal(err)
	}
	write("benches.example.yml", fmt.Sprintf("- targets: [%s]\n  labels: {plant: north}\n", strings.TrimPrefix(bench.URL, "http://")))
	config := write("agent.yml", strings.NewReplacer("https://store.example", "http://"+at, "scrape_interval: 15s", "scrape_interval: 1s").Replace(string(text)))
	for _, c := range []*exec.Cmd{
		exec.Command(store, "-httpListenAddr="+at, "-storageDataPath="+filepath.Join(dir, "store"), "-memory.allowedBytes=64MB"),
		exec.Command(agent, "--enable-feature=agent", "--config.file="+config, "--storage.agent.path="+filepath.Join(dir, "agent"), fmt.Sprintf("--web.listen-address=127.0.0.1:%d", freePort(t))),
	} {
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		defer func() { _ = c.Process.Kill(); _ = c.Wait() }()
	}
	var missing, ofBatches []string
	for end := time.Now().Add(time.Minute); time.Now().Before(end); time.Sleep(time.Second) {
		var names struct{ Data []string }
		answer, err := http.Get("http://" + at + "/api/v1/label/__name__/values?" + url.Values{"match[]": {`{bench="bench-1",plant="north"}`}}.Encode())
		if err != nil {
			continue
		}
		_ = json.NewDecoder(answer.Body).Decode(&names)
		answer.Body.Close()
		missing, ofBatches = nil, nil
		for _, m := range metrics.List() {
			has, of := slices.Contains(names.Data, m.Name), slices.Contains(m.Labels, "batch")
			if has && of {
				ofBatches = append(ofBatches, m.Name)
			}
			if !has && !of {
				missing = append(missing, m.Name)
			}
		}
		if len(missing) == 0 {
			break
		}
	}
	if len(missing) > 0 || len(ofBatches) > 0 {
		t.Errorf("not in the store: %v; of batches: %v", missing, ofBatches)
	}
}
