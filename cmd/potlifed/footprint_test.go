package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"potlifed/daemon/peers"
	"potlifed/devices/simulate"
)

// BenchmarkFootprint measures what the program takes of a machine, with a year of data, 20 open
// batches, a scale of 10 lines a second, three zones with a sensor each, and its built-in broker: the
// memory that is resident, and its part that no file backs; the share of a core; the bytes written,
// once while nothing happens and once while three presses report a print each minute; and the time
// of a start. Beside it, in the same run, it measures a mosquitto and a node exporter at rest, where
// they are installed.
//
// POTLIFED_SPAN is how long is measured, 5 minutes without it. A checkpoint is taken each hour, in
// which the history writes more, too, so that only 61m tells the bytes of a day.
// POTLIFED_PROGRAMS compares programs, as in "before=/tmp/before after=/tmp/after"; without it, the
// program is built from this tree, without symbols, as packages have it. POTLIFED_YEAR names a data
// directory from which each starts; without it, or where it does not exist, one is written there, which
// takes minutes and 0.9 GB. Name it on a disk: what is written to memory is not counted.
//
// Aims: 32 MB resident, 0.8 % of a core of the machine that runs .ci/run, 40 MB and 60 MB a day, 500 ms.
func BenchmarkFootprint(b *testing.B) {
	span := measuredSpan(b, 5*time.Minute)
	data := os.Getenv("POTLIFED_YEAR")
	if data == "" {
		data = filepath.Join(b.TempDir(), "year")
	}
	if _, err := os.Stat(data); err != nil {
		if err := os.MkdirAll(data, 0o750); err != nil {
			b.Fatal(err)
		}
		writeYear(b, data)
	}
	for b.Loop() {
		var runs []*footprint
		for _, named := range strings.Fields(programsToCompare(b)) {
			name, path, _ := strings.Cut(named, "=")
			runs = append(runs, newFootprint(b, name, path, data, false), newFootprint(b, name+"-reporting", path, data, true))
		}
		runs = append(runs, othersAtRest(b)...)
		time.Sleep(min(time.Minute, span)) // the starts are over, their garbage is collected
		for _, r := range runs {
			r.begin()
		}
		over := time.After(span)
		for done := false; !done; {
			select {
			case <-over:
				done = true
			case <-time.After(min(time.Minute, span)):
			}
			for _, r := range runs {
				r.report()
			}
		}
		for _, r := range runs {
			r.end(span)
		}
	}
	b.ReportMetric(0, "ns/op")
}

// programsToCompare returns pairs of a name and a path.
func programsToCompare(b *testing.B) string {
	if given := os.Getenv("POTLIFED_PROGRAMS"); given != "" {
		return given
	}
	path := filepath.Join(b.TempDir(), "potlifed")
	build := exec.Command("go", "build", "-trimpath", "-buildvcs=false", "-ldflags", "-s -w -buildid=", "-o", path, ".")
	build.Env = append(os.Environ(), "CGO_ENABLED=0")
	if out, err := build.CombinedOutput(); err != nil {
		b.Fatalf("%v: %s", err, out)
	}
	return "potlifed=" + path
}

// footprint is a program that is measured.
type footprint struct {
	b       *testing.B
	name    string
	pid     int
	http    string
	reports bool // three presses report

	cpu     time.Duration
	written int64
}

// newFootprint starts a program on a copy of the year, several times for the time of a start, and
// records 20 batches.
func newFootprint(b *testing.B, name, path, year string, reports bool) *footprint {
	b.Helper()
	dir := b.TempDir()
	if err := os.CopyFS(filepath.Join(dir, "data"), os.DirFS(year)); err != nil {
		b.Fatal(err)
	}
	forgetCached(b, filepath.Join(dir, "data"))
	file := footprintShop(b, dir)
	var p *program
	var starts []float64
	for i := range 6 {
		if i > 0 {
			p.stop()
		}
		p = &program{t: b, log: newLines(), done: make(chan error, 1), cmd: exec.Command(path, "run", "--config", file)}
		began := time.Now()
		p.run()
		_, line := p.log.wait(b, "the program to be ready", 0, has("msg=ready"))
		if i > 0 { // the first brings the layout up to date
			starts = append(starts, time.Since(began).Seconds()*1000)
		}
		_, rest, _ := strings.Cut(line, "http=")
		p.http = "http://" + strings.Fields(rest)[0]
	}
	slices.Sort(starts)
	if !reports {
		b.ReportMetric(starts[len(starts)/2], name+"-start-ms")
	}
	f := &footprint{b: b, name: name, pid: p.cmd.Process.Pid, http: p.http, reports: reports}
	for i := range 20 {
		f.post("batches", fmt.Sprintf(`{"ink":"dial-satin","zone":%q,"mixed_at":%q,"components":[{"part":"ink","g":85},{"part":"hardener","g":17},{"part":"thinner","g":8}]}`,
			footprintZones[i%3], time.Now().UTC().Format(time.RFC3339)))
	}
	var list struct {
		Batches []struct {
			ID string `json:"id"`
		} `json:"batches"`
	}
	p.get("/api/v1/batches", &list)
	if len(list.Batches) != 20 {
		b.Fatalf("%d batches are open", len(list.Batches))
	}
	for i := range 3 {
		f.post("batches/"+list.Batches[i].ID+"/load", fmt.Sprintf(`{"press":"press-%d"}`, i+1))
	}
	return f
}

// run starts the program and reads what it logs.
func (p *program) run() {
	p.t.Helper()
	out, err := p.cmd.StderrPipe()
	if err != nil {
		p.t.Fatal(err)
	}
	if err := p.cmd.Start(); err != nil {
		p.t.Fatal(err)
	}
	go func() {
		p.log.read(out)
		p.done <- p.cmd.Wait()
	}()
	p.t.Cleanup(p.kill)
}

// footprintShop writes the configuration: a scale on a pseudo-terminal and three rooms.
func footprintShop(b *testing.B, dir string) (file string) {
	b.Helper()
	scale, err := simulate.NewScale(simulate.ScaleOptions{Dir: dir, DivisionG: 0.1})
	if err != nil {
		b.Fatal(err)
	}
	ctx, stop := context.WithCancel(b.Context())
	var running sync.WaitGroup
	running.Go(func() {
		if err := scale.Run(ctx); err != nil {
			b.Error(err)
		}
	})
	text := fmt.Sprintf(`bench: bench-1
data_dir: %q
http: {listen: "127.0.0.1:0"}
broker: {listen: "127.0.0.1:0"}
clock: assume
scales: [{id: scale-1, port: %q, division_g: 0.1, zone: bench}]
presses: [{id: press-1, zone: hall}, {id: press-2, zone: hall}, {id: press-3, zone: hall}]
lights: [{id: light-1, presses: [press-1, press-2, press-3], reads: [json]}]
inks: [{id: dial-satin, hardener_ratio: "5:1", thinner_pct: {min: 6, max: 14, dark: 7, light: 9}, pot_life: {shortest: 40h, longest: 50h}}]
sensors:
`, filepath.Join(dir, "data"), scale.Port())
	// The files of a sensor, which the kernel makes, are on no disk: reading them writes no times of access.
	rooms, err := os.MkdirTemp("/dev/shm", "footprint-")
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		if err := os.RemoveAll(rooms); err != nil {
			b.Error(err)
		}
	})
	for _, zone := range footprintZones {
		room, err := simulate.NewRoom(filepath.Join(rooms, zone), roomAt(time.Now()))
		if err != nil {
			b.Fatal(err)
		}
		running.Go(func() { // the air of a room moves
			for ctx.Err() == nil {
				if err := room.Set(roomAt(time.Now())); err != nil {
					b.Error(err)
					return
				}
				select {
				case <-ctx.Done():
				case <-time.After(5 * time.Second):
				}
			}
		})
		text += fmt.Sprintf("  - {id: %s-air, zone: %s, path: %q, every: 5s}\n", zone, zone, room.Path())
	}
	b.Cleanup(func() { stop(); running.Wait() })
	file = filepath.Join(dir, "potlifed.yaml")
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		b.Fatal(err)
	}
	return file
}

// forgetCached brings files to disk and has the system forget what it has of them in memory, as after a boot: what was
// copied in large pieces stays in large pieces, and Linux counts all of one as written when a page of it is.
func forgetCached(b *testing.B, dir string) {
	b.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		b.Fatal(err)
	}
	for _, e := range entries {
		f, err := os.OpenFile(filepath.Join(dir, e.Name()), os.O_RDWR, 0)
		if err != nil {
			b.Fatal(err)
		}
		err = errors.Join(f.Sync(), unix.Fadvise(int(f.Fd()), 0, 0, unix.FADV_DONTNEED), f.Close())
		if err != nil {
			b.Fatal(err)
		}
	}
}

func (f *footprint) post(path, body string) {
	f.b.Helper()
	r, err := http.Post(f.http+"/api/v1/"+path, "application/json", strings.NewReader(body))
	if err != nil {
		f.b.Fatal(err)
	}
	defer r.Body.Close()
	if answer, err := io.ReadAll(r.Body); err != nil || r.StatusCode >= 300 {
		f.b.Fatalf("POST %s: %s %v: %s", path, r.Status, err, answer)
	}
}

// report is what three presses do each minute.
func (f *footprint) report() {
	for press := 1; f.reports && press <= 3; press++ {
		f.post(fmt.Sprintf("presses/press-%d/prints", press), `{"add":1}`)
	}
}

func (f *footprint) begin() {
	f.cpu, f.written = processorTime(f.b, f.pid), f.statusOf("io", "\nwrite_bytes:")
}

// end reports what was used since begin.
func (f *footprint) end(span time.Duration) {
	f.b.ReportMetric(float64(f.statusOf("status", "VmRSS:"))/1000, f.name+"-resident-MB")
	f.b.ReportMetric(float64(f.statusOf("status", "RssAnon:"))/1000, f.name+"-anonymous-MB")
	f.b.ReportMetric((processorTime(f.b, f.pid)-f.cpu).Seconds()/span.Seconds()*100, f.name+"-core-%")
	f.b.ReportMetric(float64(f.statusOf("io", "\nwrite_bytes:")-f.written)/1e6*float64(24*time.Hour)/float64(span), f.name+"-written-MB/day")
}

// statusOf returns a number of a file below /proc.
func (f *footprint) statusOf(file, name string) (n int64) {
	f.b.Helper()
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/%s", f.pid, file))
	if err != nil {
		f.b.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(text), name)
	if _, err := fmt.Sscan(rest, &n); err != nil {
		f.b.Fatal(err)
	}
	return n
}

// othersAtRest starts a mosquitto and a node exporter, where they are installed.
func othersAtRest(b *testing.B) (runs []*footprint) {
	m := newMosquitto(b)
	runs = append(runs, &footprint{b: b, name: "mosquitto", pid: m.cmd.Process.Pid})
	if _, err := exec.LookPath("prometheus-node-exporter"); err == nil {
		c := exec.Command(peers.Program(b, "prometheus-node-exporter"), fmt.Sprintf("--web.listen-address=127.0.0.1:%d", freePort(b)))
		if err := c.Start(); err != nil {
			b.Fatal(err)
		}
		b.Cleanup(func() { _ = c.Process.Kill(); _ = c.Wait() })
		runs = append(runs, &footprint{b: b, name: "node-exporter", pid: c.Process.Pid})
	}
	return runs
}

// measuredSpan returns how long a benchmark measures: POTLIFED_SPAN, or what is usual.
func measuredSpan(b *testing.B, usual time.Duration) time.Duration {
	b.Helper()
	text := os.Getenv("POTLIFED_SPAN")
	if text == "" {
		return usual
	}
	span, err := time.ParseDuration(text)
	if err != nil {
		b.Fatal(err)
	}
	return span
}
