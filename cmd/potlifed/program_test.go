package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"potlifed/daemon/view"
	"potlifed/devices/simulate"
	"potlifed/model/air"
)

// program is a running potlifed.
type program struct {
	t    testing.TB
	cmd  *exec.Cmd
	http string // http://host:port
	log  *lines
	done chan error
}

// lines keeps what a program printed.
type lines struct {
	mu   sync.Mutex
	all  []string
	more chan struct{} // closed and replaced with each line
}

func newLines() *lines { return &lines{more: make(chan struct{})} }

func (l *lines) read(r io.Reader) {
	in := bufio.NewScanner(r)
	in.Buffer(nil, 1<<20)
	for in.Scan() {
		l.mu.Lock()
		l.all = append(l.all, in.Text())
		close(l.more)
		l.more = make(chan struct{})
		l.mu.Unlock()
	}
}

// find returns the first line from the given one on for which f holds.
func (l *lines) find(from int, f func(string) bool) (at int, line string, more <-chan struct{}) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for i := from; i < len(l.all); i++ {
		if f(l.all[i]) {
			return i, l.all[i], nil
		}
	}
	return -1, "", l.more
}

// wait waits for a line for which f holds.
func (l *lines) wait(t testing.TB, what string, from int, f func(string) bool) (at int, line string) {
	t.Helper()
	deadline := time.After(patience)
	for {
		at, line, more := l.find(from, f)
		if at >= 0 {
			return at, line
		}
		select {
		case <-more:
		case <-deadline:
			t.Fatalf("waited %v for %s; got:\n%s", patience, what, l.tail(60))
		}
	}
}

func (l *lines) len() int {
	l.mu.Lock()
	defer l.mu.Unlock()
	return len(l.all)
}

func (l *lines) tail(n int) string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return strings.Join(l.all[max(0, len(l.all)-n):], "\n")
}

// patience bounds each wait: long, as machines are busy, and never slept through.
const patience = 2 * time.Minute

func has(parts ...string) func(string) bool {
	return func(s string) bool {
		for _, p := range parts {
			if !strings.Contains(s, p) {
				return false
			}
		}
		return true
	}
}

// start runs the built program with a configuration and waits until it is ready.
func start(t testing.TB, configuration string) *program {
	t.Helper()
	p := launch(t, "run", "--config", configuration)
	p.ready()
	return p
}

// ready waits until the program is ready.
func (p *program) ready() {
	p.t.Helper()
	_, line := p.log.wait(p.t, "the program to be ready", 0, has("msg=ready"))
	for _, field := range strings.Fields(line) {
		if address, ok := strings.CutPrefix(field, "http="); ok {
			p.http = "http://" + address
		}
	}
	if p.http == "" {
		p.t.Fatalf("no address in %q", line)
	}
}

func launch(t testing.TB, args ...string) *program {
	t.Helper()
	return launchCommand(t, append([]string{os.Args[0]}, args...)...)
}

// launchCommand runs the program by another command, which becomes the program.
func launchCommand(t testing.TB, command ...string) *program {
	t.Helper()
	p := &program{t: t, log: newLines(), done: make(chan error, 1)}
	p.cmd = exec.Command(command[0], command[1:]...)
	p.cmd.Env = append(os.Environ(), asProgram+"=1")
	out, err := p.cmd.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := p.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	go func() {
		p.log.read(out)
		p.done <- p.cmd.Wait()
	}()
	t.Cleanup(p.kill)
	return p
}

// kill ends the program as a pulled plug does.
func (p *program) kill() {
	if p.cmd == nil {
		return
	}
	_ = p.cmd.Process.Kill()
	<-p.done
	p.cmd = nil
}

// stop ends the program in good order.
func (p *program) stop() {
	p.t.Helper()
	if err := p.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		p.t.Fatal(err)
	}
	select {
	case err := <-p.done:
		p.cmd = nil
		if err != nil {
			p.t.Fatalf("the program ended with %v:\n%s", err, p.log.tail(30))
		}
	case <-time.After(patience):
		p.t.Fatalf("the program does not stop:\n%s", p.log.tail(30))
	}
}

// get reads JSON from the API into v.
func (p *program) get(path string, v any) {
	p.t.Helper()
	if err := json.Unmarshal([]byte(p.text(path)), v); err != nil {
		p.t.Fatalf("GET %s: %v", path, err)
	}
}

// text reads a path as it is.
func (p *program) text(path string) string {
	p.t.Helper()
	r, err := http.Get(p.http + path)
	if err != nil {
		p.t.Fatalf("GET %s: %v", path, err)
	}
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	if err != nil || r.StatusCode != 200 {
		p.t.Fatalf("GET %s: %s %v\n%s", path, r.Status, err, b)
	}
	return string(b)
}

// problem is an error of the API.
type problem struct {
	Status int    `json:"status"`
	Title  string `json:"title"`
	Detail string `json:"detail"`
}

// post makes a change; the problem is nil when it was made.
func (p *program) post(path string, body any) (view.Batch, *problem) {
	p.t.Helper()
	b, err := json.Marshal(body)
	if err != nil {
		p.t.Fatal(err)
	}
	r, err := http.Post(p.http+"/api/v1/"+path, "application/json", bytes.NewReader(b))
	if err != nil {
		p.t.Fatalf("POST %s: %v", path, err)
	}
	defer r.Body.Close()
	answer, err := io.ReadAll(r.Body)
	if err != nil {
		p.t.Fatalf("POST %s: %v", path, err)
	}
	if r.StatusCode >= 300 {
		var wrong problem
		if err := json.Unmarshal(answer, &wrong); err != nil || wrong.Status != r.StatusCode {
			p.t.Fatalf("POST %s: %s, and no problem+json: %s", path, r.Status, answer)
		}
		return view.Batch{}, &wrong
	}
	var v view.Batch
	if err := json.Unmarshal(answer, &v); err != nil {
		p.t.Fatalf("POST %s: %v: %s", path, err, answer)
	}
	return v, nil
}

// confirm confirms a step once the weight has settled.
func (p *program) confirm(id, step string) view.Batch {
	p.t.Helper()
	var v view.Batch
	p.eventually("step "+step+" of batch "+id, func() (bool, any) {
		var wrong *problem
		v, wrong = p.post("batches/"+id+"/confirm", map[string]string{"step": step})
		return wrong == nil, wrong
	})
	if len(v.Corrections) > 0 {
		p.t.Fatalf("step %s: corrections %+v", step, v.Corrections)
	}
	return v
}

func (p *program) batch(id string) view.Batch {
	p.t.Helper()
	var v view.Batch
	p.get("/api/v1/batches/"+id, &v)
	return v
}

// eventually asks until it holds.
func (p *program) eventually(what string, holds func() (bool, any)) {
	p.t.Helper()
	eventually(p.t, what, func() (bool, any) {
		ok, last := holds()
		if !ok && time.Now().UnixNano()%50 == 0 {
			return ok, fmt.Sprintf("%+v\n%s", last, p.log.tail(20))
		}
		return ok, last
	})
}

func eventually(t testing.TB, what string, holds func() (bool, any)) {
	t.Helper()
	deadline := time.NewTimer(patience)
	defer deadline.Stop()
	again := time.NewTicker(50 * time.Millisecond)
	defer again.Stop()
	for {
		ok, last := holds()
		if ok {
			return
		}
		select {
		case <-again.C:
		case <-deadline.C:
			t.Fatalf("waited %v for %s; last: %+v", patience, what, last)
		}
	}
}

// hardware is a bench's on real interfaces: a scale on a pseudo-terminal and a
// room of kernel-style files.
type hardware struct {
	dir   string
	scale *simulate.Scale
	room  *simulate.Room
}

func newHardware(t testing.TB) *hardware {
	t.Helper()
	return newHardwareWith(t, simulate.ScaleOptions{DivisionG: 0.1, Settle: 300 * time.Millisecond})
}

// newHardwareWith has a scale of its own kind.
func newHardwareWith(t testing.TB, scale simulate.ScaleOptions) *hardware {
	t.Helper()
	b := &hardware{dir: t.TempDir()}
	scale.Dir = b.dir
	var err error
	if b.room, err = simulate.NewRoom(filepath.Join(b.dir, "room"), air.State{TemperatureC: 20, HumidityPct: 50}); err != nil {
		t.Fatal(err)
	}
	if b.scale, err = simulate.NewScale(scale); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- b.scale.Run(ctx) }()
	t.Cleanup(func() {
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	return b
}

// configuration writes the bench's configuration; more is added to it.
func (b *hardware) configuration(t testing.TB, more string) string {
	t.Helper()
	text := fmt.Sprintf(`bench: bench-1
data_dir: %s
http: {listen: "127.0.0.1:0"}
clock: assume
scales:
  - {id: scale-1, port: %s, division_g: 0.1, zone: bench, print_key: PRINT}
sensors:
  - {id: bench-air, zone: bench, path: %s, every: 500ms, stale_after: 10s}
presses:
  - {id: press-1, zone: bench, cup: cup-110}
cups:
  - {id: cup-110, ink_minimum_g: 85, fill_maximum_g: 150}
lights:
  - {id: light-1, presses: [press-1]}
inks:
  - id: dial-satin
    hardener_ratio: "5:1"
    thinner_pct: {min: 6, max: 14, dark: 7, light: 9}
    pot_life: {shortest: 4h30m, longest: 5h30m}
%s`, filepath.Join(b.dir, "data"), b.scale.Port(), b.room.Path(), more)
	path := filepath.Join(b.dir, "potlifed.yaml")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func (b *hardware) pour(t testing.TB, grams, perSecond float64) {
	t.Helper()
	if err := b.scale.Pour(t.Context(), grams, perSecond); err != nil {
		t.Fatal(err)
	}
}

// rests waits until the program has the weight that is on the scale. On a busy machine a pour can pause for long
// enough that a weight on the way looks settled.
func (b *hardware) rests(p *program) {
	p.t.Helper()
	p.eventually("the weight to rest", func() (bool, any) {
		var list struct{ Scales []view.Scale }
		p.get("/api/v1/scales", &list)
		s := list.Scales[0]
		return s.Stable && s.WeightG != nil && math.Abs(*s.WeightG-b.scale.Grams()) <= s.DivisionG, s
	})
}

// mix makes a whole guided mix for press-1: 85 g of ink, 17 of hardener, 7.1 of
// thinner.
func (b *hardware) mix(t testing.TB, p *program) (id string) {
	t.Helper()
	v, wrong := p.post("batches", map[string]any{"scale": "scale-1", "ink": "dial-satin", "press": "press-1"})
	if wrong != nil {
		t.Fatal(wrong)
	}
	b.scale.Set(24)
	b.rests(p)
	p.confirm(v.ID, "cup")
	b.pour(t, 85, 40)
	b.rests(p)
	p.confirm(v.ID, "ink")
	b.pour(t, 17, 15)
	b.rests(p)
	p.confirm(v.ID, "hardener")
	p.confirm(v.ID, "stir-hardener")
	b.pour(t, 7.1, 15)
	b.rests(p)
	p.confirm(v.ID, "thinner")
	p.confirm(v.ID, "stir-thinner")
	return v.ID
}
