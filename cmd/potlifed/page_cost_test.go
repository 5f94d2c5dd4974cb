package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
	"github.com/creack/pty"
	"golang.org/x/sys/unix"

	"potlifed/devices/simulate"
)

// spread reports median and 99th centile of what was measured, in ms.
func spread(b *testing.B, name string, ms []float64) {
	slices.Sort(ms)
	b.ReportMetric(ms[len(ms)/2], name+"-median-ms")
	b.ReportMetric(ms[len(ms)*99/100], name+"-p99-ms")
	b.ReportMetric(0, "ns/op") // the pauses, and nothing that was measured
}

// BenchmarkPageFirstPaint measures from the navigation to the first content on the screen of
// the bench's page, over loopback and with a cold cache. Aim on a tablet: below a second.
func BenchmarkPageFirstPaint(b *testing.B) {
	m := newMixer(b, quickScale)
	cold := chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
		_, err := cdp.Call(ctx, target, network.ClearBrowserCache, cdp.Empty{})
		return err
	})
	var paints []float64
	for b.Loop() {
		m.run(chromedp.Navigate("about:blank"), cold, chromedp.Navigate(m.url+"/"))
		const first = `performance.getEntriesByName("first-contentful-paint")[0]`
		m.waits("nothing is painted", first+" !== undefined")
		paints = append(paints, evaluate[float64](m, first+".startTime"))
	}
	spread(b, "first-paint", paints)
}

// BenchmarkScaleBytesToScreen measures from the last byte of a scale's line, written to a
// pseudo-terminal, to the figure in the document of the page that a real browser shows; and
// beside it, in the same run, to a client that reads the event stream alone. Browser and test
// read the same clock. Aim: below 100 ms.
//
// A line is written every 240 ms, each with another weight.
func BenchmarkScaleBytesToScreen(b *testing.B) {
	scale, tty, err := pty.Open()
	if err != nil {
		b.Fatal(err)
	}
	defer scale.Close()
	defer tty.Close()
	raw, err := unix.IoctlGetTermios(int(tty.Fd()), unix.TCGETS)
	if err != nil {
		b.Fatal(err)
	}
	raw.Oflag, raw.Lflag, raw.Iflag = raw.Oflag&^unix.OPOST, raw.Lflag&^(unix.ECHO|unix.ICANON), raw.Iflag&^unix.ICRNL
	if err := unix.IoctlSetTermios(int(tty.Fd()), unix.TCSETS, raw); err != nil {
		b.Fatal(err)
	}
	openChromium(b)
	dir := b.TempDir()
	file := filepath.Join(dir, "potlifed.yaml")
	text := fmt.Sprintf(`bench: bench-1
data_dir: %q
http: {listen: "127.0.0.1:0"}
clock: assume
scales: [{id: scale-1, port: %q, division_g: 0.1, line: status-first}]
sensors: [{id: bench-air, zone: bench, path: /nowhere}]
inks: [{id: dial-satin, hardener_ratio: "5:1", pot_life: {about: 5h}}]
`, filepath.Join(dir, "data"), tty.Name())
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		b.Fatal(err)
	}
	m := &mixer{t: b, url: start(b, file).http}
	m.looks()
	evaluate[bool](m, `(() => {
		window.seen = {};
		new MutationObserver(() => (window.seen[document.querySelector(".weight-figure").textContent] ??= performance.timeOrigin + performance.now()))
			.observe(document.querySelector(".weight"), {subtree: true, characterData: true, childList: true});
		return true;
	})()`)
	bare := followWeights(b, m.url)

	pause := time.NewTicker(240 * time.Millisecond)
	defer pause.Stop()
	var onScreen, onStream []float64
	for i := 0; b.Loop(); i++ {
		<-pause.C
		weight := float64(100+i%9000) / 10
		began := time.Now()
		if _, err := fmt.Fprintf(scale, "ST,GS,+%07.1f  g\r\n", weight); err != nil {
			b.Fatal(err)
		}
		shown := fmt.Sprintf("window.seen[%s]", quoted(fmt.Sprintf("%.1f", weight)))
		if i == 0 { // the first line after the port was opened may be torn
			continue
		}
		m.waits("the weight", shown+" !== undefined")
		at := evaluate[float64](m, shown)
		onScreen = append(onScreen, at-float64(began.UnixMicro())/1000)
		onStream = append(onStream, bare(weight).Sub(began).Seconds()*1000)
		evaluate[bool](m, "delete "+shown)
	}
	if len(onScreen) == 0 {
		b.Skip("needs -benchtime of more than one line, such as 200x")
	}
	spread(b, "bytes-to-screen", onScreen)
	spread(b, "bytes-to-stream", onStream)
}

// followWeights reads the event stream; what it returns waits for a weight and tells when it
// came.
func followWeights(b *testing.B, url string) func(weight float64) time.Time {
	b.Helper()
	r, err := http.Get(url + "/api/v1/stream")
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { r.Body.Close() })
	var mu sync.Mutex
	came := map[string]time.Time{}
	go func() { // ends with the body
		in := bufio.NewScanner(r.Body)
		in.Buffer(nil, 1<<20)
		for in.Scan() {
			_, rest, found := strings.Cut(in.Text(), `"weight_g":`)
			if !found {
				continue
			}
			figure := rest[:strings.IndexAny(rest, ",}")]
			mu.Lock()
			if _, known := came[figure]; !known {
				came[figure] = time.Now()
			}
			mu.Unlock()
		}
	}()
	return func(weight float64) (at time.Time) {
		figure := strconv.FormatFloat(weight, 'f', -1, 64)
		eventually(b, "weight "+figure+" on the stream", func() (bool, any) {
			mu.Lock()
			defer mu.Unlock()
			var known bool
			at, known = came[figure]
			return known, len(came)
		})
		mu.Lock()
		defer mu.Unlock()
		delete(came, figure)
		return at
	}
}

// BenchmarkIdlePage counts the bytes over the wire, both ways, of the bench's page for an
// hour in which nothing happens. A minute is measured, in which the page asks for its lists
// twice, and taken sixty times.
func BenchmarkIdlePage(b *testing.B) {
	const span = time.Minute
	m := newFloor(b, simulate.ScaleOptions{DivisionG: 0.1})
	address := strings.TrimPrefix(start(b, m.file(b)).http, "http://")
	wire, through := countingProxy(b, address)
	m.url = "http://" + through
	began := wire.Load()
	m.looks()
	m.sees("Start a mix")
	for b.Loop() {
		loaded := wire.Load()
		<-time.After(span)
		b.ReportMetric(float64(loaded-began)/1000, "first-load-kB")
		b.ReportMetric(float64(wire.Load()-loaded)/1000*float64(time.Hour/span), "idle-kB/h")
	}
	b.ReportMetric(0, "ns/op")
}

// countingProxy passes connections on to an address and counts what goes over them.
func countingProxy(b *testing.B, to string) (bytes *atomic.Int64, address string) {
	b.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	bytes = &atomic.Int64{}
	var open sync.WaitGroup
	pass := func(dst, src net.Conn) {
		defer open.Done()
		defer dst.Close()
		_, _ = io.Copy(io.MultiWriter(dst, counter{bytes}), src)
	}
	open.Go(func() {
		for {
			in, err := l.Accept()
			if err != nil {
				return
			}
			out, err := net.Dial("tcp", to)
			if err != nil {
				in.Close()
				continue
			}
			open.Add(2)
			go pass(out, in)
			go pass(in, out)
		}
	})
	b.Cleanup(func() { l.Close() })
	return bytes, l.Addr().String()
}

type counter struct{ n *atomic.Int64 }

func (c counter) Write(p []byte) (int, error) {
	c.n.Add(int64(len(p)))
	return len(p), nil
}

// BenchmarkFiftyPages measures what fifty open pages cost the program: processor time a
// second and memory, beside what it needs without them. Once at rest, and once with a weight
// that changes with every line, ten times a second. Aim on a Pi 4: below 100 ms a second.
func BenchmarkFiftyPages(b *testing.B) {
	const span = 15 * time.Second
	h := newHardwareWith(b, simulate.ScaleOptions{DivisionG: 0.1})
	p := start(b, h.configuration(b, ""))
	cost := func() float64 {
		began := processorTime(b, p.cmd.Process.Pid)
		<-time.After(span)
		return (processorTime(b, p.cmd.Process.Pid) - began).Seconds() * 1000 / span.Seconds()
	}
	measure := func(name string) {
		b.ReportMetric(cost(), name+"-at-rest-ms/s")
		h.scale.Shake(20)
		b.ReportMetric(cost(), name+"-weighing-ms/s")
		h.scale.Shake(0)
	}
	for b.Loop() {
		measure("no-page")
		before := residentMemory(b, p.cmd.Process.Pid)
		var open sync.WaitGroup
		var bodies []io.Closer
		for range 50 {
			r, err := http.Get(p.http + "/api/v1/stream")
			if err != nil || r.StatusCode != http.StatusOK {
				b.Fatalf("%v %v", err, r)
			}
			bodies = append(bodies, r.Body)
			open.Go(func() { _, _ = io.Copy(io.Discard, r.Body) })
		}
		measure("50-pages")
		b.ReportMetric(float64(residentMemory(b, p.cmd.Process.Pid)-before)/1000, "50-pages-MB")
		for _, body := range bodies {
			body.Close()
		}
		open.Wait()
	}
	b.ReportMetric(0, "ns/op")
}

// processorTime is what a process has used, in user and kernel mode (proc(5): fields 14 and 15
// of stat, in hundredths of a second).
func processorTime(b *testing.B, pid int) time.Duration {
	b.Helper()
	stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		b.Fatal(err)
	}
	fields := strings.Fields(string(stat[strings.LastIndexByte(string(stat), ')')+1:]))
	ticks := 0
	for _, f := range fields[11:13] {
		n, err := strconv.Atoi(f)
		if err != nil {
			b.Fatal(err)
		}
		ticks += n
	}
	return time.Duration(ticks) * 10 * time.Millisecond
}

// residentMemory is what a process holds in memory, kB.
func residentMemory(b *testing.B, pid int) int {
	b.Helper()
	status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		b.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(status), "VmRSS:")
	kB, err := strconv.Atoi(strings.Fields(rest)[0])
	if err != nil {
		b.Fatal(err)
	}
	return kB
}
