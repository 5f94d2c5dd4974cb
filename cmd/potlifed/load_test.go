package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"
)

// load is how much is asked of the program at once.
type load struct {
	batches, pages               int
	scrapes, commands, scaleRate int // in a second
	lasts                        time.Duration
}

// wholeLoad is more than a large shop asks for.
var wholeLoad = load{batches: 500, pages: 200, scrapes: 50, commands: 1000, scaleRate: 100, lasts: 20 * time.Second}

// TestUnderLoad lets pages, scrapes, commands and a scale at the program all at once, with many open
// batches. Weights still reach the pages, each honest request is answered, and what is shed is counted.
// The whole load is `POTLIFED_LOAD=1 go test ./cmd/potlifed -run UnderLoad -v`.
func TestUnderLoad(t *testing.T) {
	l := load{batches: 30, pages: 20, scrapes: 5, commands: 200, scaleRate: 20, lasts: 2 * time.Second}
	if os.Getenv("POTLIFED_LOAD") != "" {
		l = wholeLoad
	}
	underLoad(t, l)
}

// BenchmarkUnderLoad measures under the whole load how long a weight takes to a page, and how long a
// request that the loop refuses, and nothing writes, takes to its answer. A weight should take less than a
// tenth of a second for 99 % of them, from which on a person who pours sees a delay (common practice, no
// source); the stream itself waits up to 40 ms. Run it with -benchtime 1x.
func BenchmarkUnderLoad(b *testing.B) {
	for b.Loop() {
		toPage, loop := underLoad(b, wholeLoad)
		reportTimes(b, "weight-to-page", toPage)
		reportTimes(b, "loop", loop)
	}
	b.ReportMetric(0, "ns/op") // the load lasts as long as it is told to
}

// underLoad returns how long weights took to a page, and the loop to the answer of a request.
func underLoad(t testing.TB, l load) (toPage, loop []time.Duration) {
	t.Helper()
	lines := newScaleLines(t, func(string) {})
	defer lines.close()
	first := time.NewTicker(100 * time.Millisecond)
	defer first.Stop()
	lines.first(first.C)
	p := lines.p
	for range l.batches {
		if _, wrong := p.post("batches", map[string]any{
			"ink": "dial-satin", "mixed_at": rightNow(), "components": []map[string]any{{"part": "ink", "g": 85}, {"part": "hardener", "g": 17}},
		}); wrong != nil {
			t.Fatal(wrong)
		}
	}
	ctx, cancel := context.WithTimeout(t.Context(), l.lasts)
	defer cancel()
	var running sync.WaitGroup
	w := watcher{sent: map[string]time.Time{}}
	for i := range l.pages {
		tablet := from(t, byte(1+i/8)) // the program bounds the streams of each address
		running.Go(func() {
			if err := streamTo(ctx, tablet, p.http, func(line string) { w.take(line, i == 0) }); err != nil && ctx.Err() == nil {
				t.Errorf("page %d: %v", i, err)
			}
		})
	}
	prometheus, person := from(t, 201), from(t, 202)
	var scrapes, shedScrapes, honest atomic.Int64
	running.Go(func() {
		each(ctx, l.scrapes, func(int) {
			running.Go(func() {
				switch status := statusOf(ctx, prometheus, http.MethodGet, p.http+"/metrics"); status {
				case http.StatusOK:
					scrapes.Add(1)
				case http.StatusServiceUnavailable:
					shedScrapes.Add(1)
				}
			})
		})
	})
	running.Go(func() {
		each(ctx, l.commands, func(n int) {
			lines.client.Publish("potlife/bench-1/do/prints", 0, false, fmt.Sprintf(`{"ref":"r%d","at":%q,"press":"press-1","add":1}`, n, rightNow()))
		})
	})
	running.Go(func() {
		each(ctx, l.scaleRate, func(n int) {
			grams := 100 + float64(n%9000)/10
			w.wrote(fmt.Sprintf("%.1f", grams))
			fmt.Fprintf(lines.scale, "ST,GS,+%07.1f  g\r\n", grams)
		})
	})
	var slowest time.Duration
	running.Go(func() {
		each(ctx, 5, func(int) {
			began := time.Now()
			if status := statusOf(ctx, person, http.MethodGet, p.http+"/api/v1/lights"); status == http.StatusOK {
				honest.Add(1)
				slowest = max(slowest, time.Since(began))
			} else if ctx.Err() == nil {
				t.Errorf("an honest request got %d", status)
			}
			began = time.Now()
			if status := statusOf(ctx, person, http.MethodPost, p.http+"/api/v1/batches/none/close"); status == http.StatusNotFound {
				loop = append(loop, time.Since(began))
			} else if ctx.Err() == nil {
				t.Errorf("closing a batch that there is not got %d", status)
			}
		})
	})
	running.Wait()
	toPage = w.report(t, l)
	shed := 0.0
	eventually(t, "scrapes that nobody waits for to end", func() (bool, any) {
		status := statusOf(t.Context(), prometheus, http.MethodGet, p.http+"/metrics")
		return status == http.StatusOK, status
	})
	for line := range strings.SplitSeq(p.text("/metrics"), "\n") {
		if name, value, ok := strings.Cut(line, "} "); ok && strings.HasPrefix(name, `potlife_mqtt_messages_total{bench="bench-1",broker="hall",direction="in"`) && !strings.Contains(name, `"ok"`) {
			var n float64
			fmt.Sscan(value, &n)
			shed += n
		}
	}
	t.Logf("%d scrapes answered and %d shed, %d honest requests answered, the slowest after %v; %.0f commands shed and counted",
		scrapes.Load(), shedScrapes.Load(), honest.Load(), slowest, shed)
	if honest.Load() == 0 || scrapes.Load() == 0 || len(loop) == 0 {
		t.Error("nobody was answered")
	}
	return toPage, loop
}

// each calls f so many times a second until ctx ends.
func each(ctx context.Context, perSecond int, f func(n int)) {
	ticker := time.NewTicker(time.Second / time.Duration(perSecond))
	defer ticker.Stop()
	for n := 0; ; n++ {
		select {
		case <-ctx.Done():
			return
		case <-ticker.C:
			f(n)
		}
	}
}

// from returns a client with an address of its own on the loopback.
func from(t testing.TB, last byte) *http.Client {
	dialer := net.Dialer{LocalAddr: &net.TCPAddr{IP: net.IPv4(127, 0, 1, last)}}
	transport := &http.Transport{DialContext: dialer.DialContext}
	t.Cleanup(transport.CloseIdleConnections)
	return &http.Client{Transport: transport}
}

// statusOf returns the status of the answer, 0 without one. A POST has a batch's end as its body.
func statusOf(ctx context.Context, client *http.Client, method, url string) int {
	var body io.Reader
	if method == http.MethodPost {
		body = strings.NewReader(`{"outcome":"used-up"}`)
	}
	r, err := http.NewRequestWithContext(ctx, method, url, body)
	if err != nil {
		return 0
	}
	r.Header.Set("Content-Type", "application/json")
	answer, err := client.Do(r)
	if err != nil {
		return 0
	}
	defer answer.Body.Close()
	io.Copy(io.Discard, answer.Body)
	return answer.StatusCode
}

// streamTo reads the stream and passes on each line until ctx ends.
func streamTo(ctx context.Context, client *http.Client, server string, take func(line string)) error {
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, server+"/api/v1/stream", nil)
	if err != nil {
		return err
	}
	answer, err := client.Do(r)
	if err != nil {
		return err
	}
	defer answer.Body.Close()
	if answer.StatusCode != http.StatusOK {
		return errors.New(answer.Status)
	}
	in := bufio.NewScanner(answer.Body)
	in.Buffer(nil, 1<<20)
	for in.Scan() {
		take(in.Text())
	}
	return in.Err()
}

// watcher measures from a scale's line to a reader of the stream.
type watcher struct {
	mu     sync.Mutex // guards what follows
	sent   map[string]time.Time
	took   []time.Duration
	events int
}

func (w *watcher) wrote(weight string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.sent[weight] = time.Now()
}

func (w *watcher) take(line string, measure bool) {
	data, ok := strings.CutPrefix(line, "data: ")
	if !ok {
		return
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	w.events++
	var v struct {
		Weight *float64 `json:"weight_g"`
	}
	if !measure || json.Unmarshal([]byte(data), &v) != nil || v.Weight == nil {
		return
	}
	if at, ok := w.sent[fmt.Sprintf("%.1f", *v.Weight)]; ok {
		w.took = append(w.took, time.Since(at))
	}
}

// report logs the figures and returns how long the weights took, sorted.
func (w *watcher) report(t testing.TB, l load) []time.Duration {
	t.Helper()
	w.mu.Lock()
	defer w.mu.Unlock()
	if len(w.took) == 0 {
		t.Fatal("no weight reached the stream")
	}
	slices.Sort(w.took)
	median, p99 := w.took[len(w.took)/2], w.took[len(w.took)*99/100]
	t.Logf("%d weights from the scale to the stream: median %v, 99 %% within %v; %d events to %d pages", len(w.took), median, p99, w.events, l.pages)
	return w.took
}
