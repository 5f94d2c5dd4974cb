package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"potlifed/daemon/peers"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// TestPrometheusScrapesTheProgram: a real Prometheus scrapes the running program and
// answers how long a press has left; promtool has nothing to say about the scrape.
func TestPrometheusScrapesTheProgram(t *testing.T) {
	t.Parallel() // it waits more than it works
	prometheus, promtool := peers.Program(t, "prometheus"), peers.Program(t, "promtool")
	b := newHardware(t)
	p := start(t, b.configuration(t, "broker: {listen: \"127.0.0.1:0\"}\n"))
	id := b.mix(t, p)
	if _, wrong := p.post("batches/"+id+"/load", map[string]string{"press": "press-1"}); wrong != nil {
		t.Fatal(wrong)
	}
	lint := exec.Command(promtool, "check", "metrics")
	lint.Stdin = strings.NewReader(p.text("/metrics"))
	if out, err := lint.CombinedOutput(); err != nil || len(bytes.TrimSpace(out)) > 0 {
		t.Errorf("promtool: %v\n%s", err, out)
	}

	dir, address := t.TempDir(), fmt.Sprintf("127.0.0.1:%d", freePort(t))
	file := filepath.Join(dir, "prometheus.yml")
	content := "global: {scrape_interval: 500ms, scrape_timeout: 500ms}\nscrape_configs:\n" +
		"- job_name: bench\n  static_configs:\n  - targets: [\"" + strings.TrimPrefix(p.http, "http://") + "\"]\n"
	if err := os.WriteFile(file, []byte(content), 0o600); err != nil {
		t.Fatal(err)
	}
	var log bytes.Buffer
	cmd := exec.Command(prometheus, "--config.file="+file, "--storage.tsdb.path="+filepath.Join(dir, "data"), "--web.listen-address="+address)
	cmd.Stdout, cmd.Stderr = &log, &log
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() {
		// Told to end and given time for it: killed, it may leave its storage half written
		// while the folder is being removed.
		_ = cmd.Process.Signal(syscall.SIGTERM)
		timer := time.AfterFunc(10*time.Second, func() { _ = cmd.Process.Kill() })
		_ = cmd.Wait()
		timer.Stop()
		if t.Failed() {
			t.Logf("prometheus said:\n%s", &log)
		}
	}()
	query := "http://" + address + "/api/v1/query?query=" + url.QueryEscape(`potlife_press_remaining_seconds{press="press-1",bound="expected"}`)
	eventually(t, "Prometheus to answer", func() (bool, any) {
		got, err := answer(t.Context(), query)
		if err != nil {
			return false, err
		}
		want := p.batch(id).RemainingS.Expected
		return got > want-5 && got < want+5, fmt.Sprintf("Prometheus %v s, HTTP %v s", got, want)
	})
	p.stop()
}

// answer returns the value of a query's only result.
func answer(ctx context.Context, query string) (float64, error) {
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, query, nil)
	if err != nil {
		return 0, err
	}
	r, err := http.DefaultClient.Do(request)
	if err != nil {
		return 0, err
	}
	defer r.Body.Close()
	var found struct {
		Data struct {
			Result []struct{ Value [2]any }
		}
	}
	if err := json.NewDecoder(r.Body).Decode(&found); err != nil {
		return 0, err
	}
	if len(found.Data.Result) != 1 {
		return 0, fmt.Errorf("%d results", len(found.Data.Result))
	}
	text, _ := found.Data.Result[0].Value[1].(string)
	return strconv.ParseFloat(text, 64)
}

// TestPageOfTheProgram opens the page in a real browser while a mix is made, and looks
// at what a person sees.
func TestPageOfTheProgram(t *testing.T) {
	t.Parallel()
	chromium := peers.Chromium(t)
	b := newHardware(t)
	p := start(t, b.configuration(t, "broker: {listen: \"127.0.0.1:0\"}\n"))
	options := []chromedp.ExecAllocatorOption{chromedp.ExecPath(chromium), chromedp.UserDataDir(t.TempDir()), chromedp.WindowSize(1280, 800)}
	for _, flag := range []string{
		"headless", "no-sandbox", "disable-gpu", "disable-quic", "no-first-run", "disable-background-networking", "disable-component-update", "disable-sync",
	} {
		options = append(options, chromedp.Flag(flag, true))
	}
	allocator, stop := chromedp.NewExecAllocator(context.Background(), options...)
	defer stop()
	ctx, end := chromedp.NewContext(allocator)
	defer end()
	sees := func(what, text string) {
		t.Helper()
		poll := chromedp.Poll[chromedp.Void](fmt.Sprintf("document.body.innerText.includes(%q)", text), chromedp.WithPollingTimeout(patience))
		if err := chromedp.Do(ctx, poll); err != nil {
			all, _ := chromedp.Run(ctx, chromedp.Evaluate[string]("document.body.innerText"))
			t.Fatalf("%s: nobody sees %q: %v\n%s", what, text, err, all)
		}
	}
	if err := chromedp.Do(ctx, chromedp.Navigate(p.http+"/")); err != nil {
		t.Fatal(err)
	}
	b.scale.Set(12.3)
	sees("the scale", "12.3")
	sees("the air", "50")
	v, wrong := p.post("batches", map[string]any{"ink": "dial-satin", "press": "press-1"})
	if wrong != nil {
		t.Fatal(wrong)
	}
	sees("the mix", v.ID)
	p.confirm(v.ID, "cup")
	b.pour(t, 30, 30)
	sees("half of the ink", "30")
	if err := chromedp.Cancel(ctx); err != nil {
		t.Logf("closing chromium: %v", err)
	}
	p.stop()
}
