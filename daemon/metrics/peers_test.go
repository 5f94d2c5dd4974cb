package metrics

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// peer finds a program that a test needs. Without it the test is skipped, or fails
// where POTLIFED_PEERS=require says that it has to run.
func peer(t *testing.T, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		if os.Getenv("POTLIFED_PEERS") == "require" {
			t.Fatalf("%s is required and missing: %v", name, err)
		}
		t.Skipf("%s is not installed", name)
	}
	return path
}

// TestPromtool: Prometheus' own linter has nothing to say about a full scrape.
func TestPromtool(t *testing.T) {
	promtool := peer(t, "promtool")
	m := New(settings(), newStand(shop(3)))
	m.ObserveReadingToPublish(time.Millisecond)
	m.ObserveJournalWrite(time.Millisecond)
	body, _ := scrape(t, m.Handler(quiet()), "")
	cmd := exec.CommandContext(t.Context(), promtool, "check", "metrics")
	cmd.Stdin = strings.NewReader(body)
	if out, err := cmd.CombinedOutput(); err != nil || len(bytes.TrimSpace(out)) > 0 {
		t.Errorf("promtool: %v\n%s", err, out)
	}
}

// TestPrometheus: a real Prometheus scrapes, and answers how long a press has left.
func TestPrometheus(t *testing.T) {
	program := peer(t, "prometheus")
	target := httptest.NewServer(New(settings(), newStand(shop(2))).Handler(quiet()))
	defer target.Close()

	dir := t.TempDir()
	file := filepath.Join(dir, "prometheus.yml")
	content := fmt.Sprintf("global: {scrape_interval: 200ms, scrape_timeout: 200ms}\nscrape_configs:\n"+
		"- job_name: bench\n  static_configs:\n  - targets: [%q]\n", strings.TrimPrefix(target.URL, "http://"))
	if err := os.WriteFile(file, []byte(content), 0o600); err != nil {
		t.Fatal(err)
	}
	address := freeAddress(t)
	var log bytes.Buffer
	cmd := exec.Command(program, "--config.file="+file, "--storage.tsdb.path="+filepath.Join(dir, "data"), "--web.listen-address="+address)
	cmd.Stdout, cmd.Stderr = &log, &log
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() {
		// Told to end and given time for it: killed, it may leave its storage half written
		// while the folder is being removed.
		cmd.Process.Signal(syscall.SIGTERM)
		timer := time.AfterFunc(10*time.Second, func() { cmd.Process.Kill() })
		cmd.Wait()
		timer.Stop()
		if t.Failed() {
			t.Logf("prometheus said:\n%s", &log)
		}
	}()

	query := "http://" + address + "/api/v1/query?query=" + url.QueryEscape(`potlife_press_remaining_seconds{press="press-1",bound="low"}`)
	ctx, cancel := context.WithTimeout(t.Context(), 60*time.Second)
	defer cancel()
	for {
		value, err := ask(ctx, query)
		if err == nil && value == "3600" {
			return
		}
		select {
		case <-ctx.Done():
			t.Fatalf("no answer of 3600: %q, %v", value, err)
		case <-time.After(100 * time.Millisecond):
		}
	}
}

// freeAddress is one that nothing listens on.
func freeAddress(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

// ask returns the value of a query's only result.
func ask(ctx context.Context, query string) (string, error) {
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, query, nil)
	if err != nil {
		return "", err
	}
	r.Close = true
	response, err := http.DefaultClient.Do(r)
	if err != nil {
		return "", err
	}
	defer response.Body.Close()
	body, err := io.ReadAll(response.Body)
	if err != nil {
		return "", err
	}
	var answer struct {
		Data struct {
			Result []struct{ Value [2]any }
		}
	}
	if err := json.Unmarshal(body, &answer); err != nil || len(answer.Data.Result) != 1 {
		return "", fmt.Errorf("%w: %s", err, body)
	}
	return fmt.Sprint(answer.Data.Result[0].Value[1]), nil
}
