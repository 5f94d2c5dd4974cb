package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"maps"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// panicPoint is a package that exists only in the program that [buildWithPanics] builds. Every
// function and every loop of the service calls Here. A goroutine is named by the function of the
// service that it began with.
const panicPoint = `package panicpoint

import (
	"os"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"
	"time"
)

var (
	at    atomic.Pointer[string] // the goroutine that is to panic, "?" to write down which there are
	known sync.Map
)

func init() {
	path := os.Getenv("POTLIFED_TEST_PANIC_AT")
	if path == "" {
		return
	}
	go func() {
		last := ""
		for range time.Tick(10 * time.Millisecond) {
			text, _ := os.ReadFile(path)
			if s := strings.TrimSpace(string(text)); s != last {
				last = s
				at.Store(&s)
			}
		}
	}()
}

func Here() {
	want := at.Load()
	if want == nil || *want == "" {
		return
	}
	name := goroutine()
	if name == "" {
		return
	}
	if *want == "?" {
		if _, is := known.LoadOrStore(name, true); !is {
			note("seen " + name)
		}
		return
	}
	if name == *want && at.CompareAndSwap(want, nil) {
		note("fired " + name)
		panic("injected into " + name)
	}
}

func note(line string) {
	f, err := os.OpenFile(os.Getenv("POTLIFED_TEST_PANIC_AT")+".notes", os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o600)
	if err == nil {
		f.WriteString(line + "\n")
		f.Close()
	}
}

func goroutine() string {
	pcs := make([]uintptr, 128)
	frames := runtime.CallersFrames(pcs[:runtime.Callers(3, pcs)])
	var own []string
	for {
		f, more := frames.Next()
		if name, is := strings.CutPrefix(f.Function, "potlifed/"); is {
			own = append(own, name)
		}
		if !more {
			break
		}
	}
	if len(own) == 0 {
		return ""
	}
	name := own[len(own)-1]
	if name == "daemon.(*runner).start.func1" && len(own) > 1 { // every part of the service begins so
		name = own[len(own)-2]
	}
	return name
}
`

// buildWithPanics builds the program with a call of panicpoint.Here at the start of every function
// and of every loop's body in daemon and devices. The sources stay as they are.
func buildWithPanics(t testing.TB) (path string) {
	t.Helper()
	dir := t.TempDir()
	root, err := filepath.Abs("../..")
	if err != nil {
		t.Fatal(err)
	}
	point := filepath.Join(dir, "panicpoint.go")
	if err := os.WriteFile(point, []byte(panicPoint), 0o600); err != nil {
		t.Fatal(err)
	}
	replaced := map[string]string{filepath.Join(root, "daemon", "panicpoint", "panicpoint.go"): point}
	list := exec.Command("go", "list", "-deps", "-f", `{{if .Module}}{{if .Module.Main}}{{$d := .Dir}}{{range .GoFiles}}{{$d}}/{{.}}{{"\n"}}{{end}}{{end}}{{end}}`, "./cmd/potlifed")
	list.Dir = root
	files, err := list.Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	for _, path := range strings.Fields(string(files)) {
		name, err := filepath.Rel(root, path)
		if err != nil {
			t.Fatal(err)
		}
		if !strings.HasPrefix(name, "daemon/") && !strings.HasPrefix(name, "devices/") {
			continue
		}
		changed := filepath.Join(dir, strings.ReplaceAll(name, "/", "-"))
		if err := os.WriteFile(changed, withPanicPoints(t, path), 0o600); err != nil {
			t.Fatal(err)
		}
		replaced[path] = changed
	}
	overlay, err := json.Marshal(map[string]any{"Replace": replaced})
	if err != nil {
		t.Fatal(err)
	}
	overlayFile, program := filepath.Join(dir, "overlay.json"), filepath.Join(dir, "potlifed")
	if err := os.WriteFile(overlayFile, overlay, 0o600); err != nil {
		t.Fatal(err)
	}
	build := exec.Command("go", "build", "-overlay", overlayFile, "-o", program, "./cmd/potlifed")
	build.Dir = root
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("go build: %v\n%s", err, out)
	}
	return program
}

// withPanicPoints returns a source with the calls.
func withPanicPoints(t testing.TB, path string) []byte {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	set := token.NewFileSet()
	file, err := parser.ParseFile(set, path, text, parser.SkipObjectResolution)
	if err != nil {
		t.Fatal(err)
	}
	var bodies []int // offsets behind the opening brace
	ast.Inspect(file, func(n ast.Node) bool {
		var body *ast.BlockStmt
		switch n := n.(type) {
		case *ast.FuncDecl:
			body = n.Body
		case *ast.FuncLit:
			body = n.Body
		case *ast.ForStmt:
			body = n.Body
		case *ast.RangeStmt:
			body = n.Body
		}
		if body != nil {
			bodies = append(bodies, set.Position(body.Lbrace).Offset+1)
		}
		return true
	})
	if len(bodies) == 0 {
		return text
	}
	slices.Sort(bodies)
	var out bytes.Buffer
	begin := set.Position(file.Name.End()).Offset
	out.Write(text[:begin])
	out.WriteString(`; import "potlifed/daemon/panicpoint"`)
	for _, at := range bodies {
		out.Write(text[begin:at])
		out.WriteString("panicpoint.Here(); ")
		begin = at
	}
	out.Write(text[begin:])
	return out.Bytes()
}

// TestFaultsPanics lets each goroutine of the service panic once, in the middle of its work. The
// process ends at once and says so, as a service manager needs to see it, or the goroutine is one
// of a request, which the HTTP server ends alone. The next start has all that was answered.
func TestFaultsPanics(t *testing.T) {
	if os.Getenv("POTLIFED_FAULTS") == "" {
		t.Skip("the whole program, built again")
	}
	f := &panics{faultShop: newFaultShopOn(t, newHardware(t), "broker: {listen: \"127.0.0.1:0\"}\n"), program: buildWithPanics(t), at: filepath.Join(t.TempDir(), "at")}
	f.p.kill()
	for _, name := range f.goroutines() {
		f.panicsIn(name)
	}
}

// panics is a shop whose program can be made to panic.
type panics struct {
	*faultShop
	program string
	at      string // the file that names the goroutine
}

// runs starts the program and keeps it busy until the returned function is called.
func (f *panics) runs() (rest func()) {
	f.t.Helper()
	f.t.Setenv("POTLIFED_TEST_PANIC_AT", f.at)
	f.says("")
	f.p = launchCommand(f.t, f.program, "run", "--config", f.file)
	f.p.ready()
	over := make(chan struct{})
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		client := http.Client{Timeout: time.Second}
		defer client.CloseIdleConnections()
		for turn := 0; ; turn++ {
			path := []string{"/", "/metrics", "/api/v1/presses", "/api/v1/stream", "/api/v1/events", "/api/v1/history/air", "/api/v1/learned", "/readyz"}[turn%8]
			if r, err := client.Get(f.p.http + path); err == nil {
				_, _ = io.Copy(io.Discard, io.LimitReader(r.Body, 10_000))
				r.Body.Close()
			}
			select {
			case <-over:
				return
			case <-time.After(20 * time.Millisecond):
			}
		}
	}()
	return func() { close(over); <-ended }
}

func (f *panics) says(name string) {
	f.t.Helper()
	if err := os.WriteFile(f.at+".new", []byte(name), 0o600); err != nil {
		f.t.Fatal(err)
	}
	if err := os.Rename(f.at+".new", f.at); err != nil {
		f.t.Fatal(err)
	}
}

// notes returns what the program has written down with the given word before it.
func (f *panics) notes(word string) []string {
	text, _ := os.ReadFile(f.at + ".notes")
	found := map[string]bool{}
	for line := range strings.Lines(string(text)) {
		if name, is := strings.CutPrefix(strings.TrimSpace(line), word+" "); is {
			found[name] = true
		}
	}
	return slices.Sorted(maps.Keys(found))
}

// goroutines returns the names of the goroutines of a running program.
func (f *panics) goroutines() []string {
	f.t.Helper()
	rest := f.runs()
	f.says("?")
	<-f.asks(10)
	time.Sleep(12 * time.Second) // some work only every few seconds
	rest()
	f.p.stop()
	all := f.notes("seen")
	f.t.Logf("%d goroutines:\n%s", len(all), strings.Join(all, "\n"))
	return all
}

func (f *panics) panicsIn(name string) {
	t := f.t
	t.Helper()
	if err := os.Remove(f.at + ".notes"); err != nil && !os.IsNotExist(err) {
		t.Fatal(err)
	}
	rest := f.runs()
	spent := *f.p.batch(f.batch).Spent
	asking := f.asks(20)
	f.says(name)
	began := time.Now()
	gone, how := f.p.isGone(5 * time.Second)
	<-asking
	fired := len(f.notes("fired")) > 0
	if !gone && !fired { // it only runs while the program stops
		_ = f.p.cmd.Process.Signal(os.Interrupt)
		gone, how = f.p.isGone(5 * time.Second)
		fired = len(f.notes("fired")) > 0
	}
	rest()
	took := time.Since(began)
	_, visible, _ := f.p.log.find(0, has("injected into"))
	switch {
	case !fired:
		t.Logf("%s: not reached", name)
	case gone && how == nil:
		t.Errorf("%s: the program ended as if nothing had happened", name)
	case gone && visible == "":
		t.Errorf("%s: the program ended without a word: %v", name, how)
	case gone:
		t.Logf("%s: the program ended after %v: %v", name, took.Round(10*time.Millisecond), how)
	case visible == "" || !strings.HasPrefix(name, "daemon/web") && !strings.HasPrefix(name, "daemon/metrics"):
		t.Errorf("%s: the program lives on without it:\n%s", name, f.p.log.tail(10))
	default:
		f.takesChangesAgain(name)
		t.Logf("%s: the server ended the request alone", name)
	}
	f.p.kill()
	begun := time.Now()
	f.p = f.starts()
	f.longest = max(f.longest, time.Since(begun))
	f.check(fmt.Sprintf("panic in %s", name), fault{}, spent)
	f.p.kill()
}
