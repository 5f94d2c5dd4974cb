package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"math/rand/v2"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"potlifed/daemon/journal"
	"potlifed/daemon/view"
	"potlifed/model/light"
)

// TestFaults runs the program, asks for changes without a break, does something bad to it or to
// its files, and starts it again. With POTLIFED_FAULTS=1 each fault is tried forty
// times, otherwise once. After each:
//
//   - every change that was answered is there exactly once, or the alarm names how much is lost
//   - no change is there that was never asked for
//   - the spent life of the open batch is not below what was shown before
//   - where something is lost, the presses are unknown until a person says what is on them
//   - the program is ready again without a hand
func TestFaults(t *testing.T) {
	if testing.Short() {
		t.Skip("the whole program, killed a dozen times")
	}
	t.Parallel() // it waits more than it works
	random := rand.New(rand.NewPCG(13, 12))
	for _, name := range slices.Sorted(maps.Keys(faults)) {
		f := newFaultShop(t)
		for range rounds() {
			f.suffers(name, faults[name], random)
			if t.Failed() {
				return
			}
		}
		t.Logf("%s: tried %d times, %d changes answered, %d lost and named, longest recovery %v",
			name, rounds(), f.answered, f.lost, f.longest.Round(10*time.Millisecond))
		f.p.end()
	}
}

// ends asks the program to stop, waits until it has and returns how it ended. It may say that it
// could not write what it had to: its journal may be damaged by then.
func (p *program) ends() (how error) {
	if err := p.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		p.t.Error(err)
	}
	gone, how := p.isGone(patience)
	if !gone {
		p.t.Fatalf("the program does not stop:\n%s", p.log.tail(30))
	}
	return how
}

// end asks the program to stop, and waits until it has.
func (p *program) end() { _ = p.ends() }

// fault is something bad. It happens while changes are asked for.
type fault struct {
	// before happens to the running program before changes are asked for.
	before func(p *program)
	// during happens to the running program; nil kills it.
	during func(p *program)
	// files happens to its files before it starts again; nil for nothing.
	files func(dir string, random *rand.Rand) error
	// loses: answered changes may be lost, and are named.
	loses bool
}

var faults = map[string]fault{
	"killed":              {},
	"stopped":             {during: func(p *program) { p.stop() }},
	"killed in its start": {files: func(string, *rand.Rand) error { return nil }},
	"the journal is emptied": {loses: true, files: func(dir string, _ *rand.Rand) error {
		return os.Truncate(filepath.Join(dir, journal.FileName), 0)
	}},
	"journal and log are gone": {loses: true, files: func(dir string, _ *rand.Rand) error {
		if err := os.Remove(filepath.Join(dir, journal.FileName)); err != nil {
			return err
		}
		return os.RemoveAll(filepath.Join(dir, journal.FileName+"-wal"))
	}},
	"the log is cut": {loses: true, files: func(dir string, random *rand.Rand) error {
		path := filepath.Join(dir, journal.FileName+"-wal")
		info, err := os.Stat(path)
		if err != nil {
			return err
		}
		return os.Truncate(path, random.Int64N(info.Size()+1))
	}},
	"a bit of the log is flipped": {loses: true, files: func(dir string, random *rand.Rand) error {
		return damageFile(filepath.Join(dir, journal.FileName+"-wal"), random, func(data []byte, at int) { data[at] ^= 1 << random.IntN(8) })
	}},
	"a bit of the file is flipped": {loses: true, during: (*program).end, files: func(dir string, random *rand.Rand) error {
		return damageFile(filepath.Join(dir, journal.FileName), random, func(data []byte, at int) { data[at] ^= 1 << random.IntN(8) })
	}},
	"a page of the file is zero": {loses: true, during: (*program).end, files: func(dir string, random *rand.Rand) error {
		return damageFile(filepath.Join(dir, journal.FileName), random, func(data []byte, at int) {
			const page = 4096
			clear(data[at/page*page : min(len(data), at/page*page+page)])
		})
	}},
}

func damageFile(path string, random *rand.Rand, damage func(data []byte, at int)) error {
	data, err := os.ReadFile(path)
	if err != nil || len(data) == 0 {
		return err
	}
	damage(data, random.IntN(len(data)))
	return os.WriteFile(path, data, 0o640)
}

// faultShop is a program with a loaded press, and what it was asked for.
type faultShop struct {
	t       *testing.T
	file    string          // of the configuration
	starts  func() *program // starts the program and waits until it is ready
	clock   *fileClock      // the program's clock, nil where that is the computer's
	dir     string
	p       *program
	batch   string
	next    int
	asked   map[string]bool // lots of the cans that were registered
	done    map[string]bool // and answered
	given   map[string]bool // that were lost, and named
	longest time.Duration

	answered, lost int
}

func newFaultShop(t *testing.T) *faultShop {
	t.Helper()
	return newFaultShopIn(t, filepath.Join(t.TempDir(), "data"))
}

// newFaultShopIn has its data in the given directory.
func newFaultShopIn(t *testing.T, dir string) *faultShop {
	t.Helper()
	file := filepath.Join(t.TempDir(), "potlifed.yaml")
	text := fmt.Sprintf(`bench: bench-1
data_dir: %s
http: {listen: "127.0.0.1:%d"}
clock: assume
scales: [{id: scale-1, port: /nowhere, division_g: 0.1, zone: hall}]
sensors: [{id: hall-air, zone: hall, path: /nowhere}]
presses: [{id: press-1, zone: hall}, {id: press-2, zone: hall}]
inks: [{id: dial-satin, hardener_ratio: "5:1", pot_life: {about: 5h}}]
`, dir, freePort(t)) // the same port after a start in the same process
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return startFaultShop(t, dir, file, nil, func() *program { return start(t, file) })
}

// newFaultShopOn has a scale, a sensor and a light; more is added to its configuration.
func newFaultShopOn(t *testing.T, h *hardware, more string) *faultShop {
	t.Helper()
	file := h.configuration(t, more)
	return startFaultShop(t, filepath.Join(h.dir, "data"), file, nil, func() *program { return start(t, file) })
}

func startFaultShop(t *testing.T, dir, file string, c *fileClock, starts func() *program) *faultShop {
	t.Helper()
	f := &faultShop{t: t, dir: dir, file: file, clock: c, starts: starts, asked: map[string]bool{}, done: map[string]bool{}, given: map[string]bool{}}
	f.p = f.starts()
	f.loads()
	return f
}

// now is the time of the program.
func (f *faultShop) now() time.Time {
	if f.clock != nil {
		return f.clock.now().Wall
	}
	return time.Now()
}

// loads records a mix and puts it on a press. The program may be about to start again in its
// process, when it has found damage.
func (f *faultShop) loads() {
	f.t.Helper()
	f.p.eventually("a recorded mix", func() (bool, any) {
		said, err := f.p.asks("batches", fmt.Sprintf(`{"ink":"dial-satin","mixed_at":%q,"components":[{"part":"ink","g":85},{"part":"hardener","g":17},{"part":"thinner","g":8}]}`,
			f.now().UTC().Format(time.RFC3339Nano)))
		var made view.Batch
		if err == nil {
			err = json.Unmarshal([]byte(said), &made)
		}
		f.batch = made.ID
		return err == nil, said
	})
	f.p.eventually("the batch on the press", func() (bool, any) {
		said, err := f.p.asks("batches/"+f.batch+"/load", `{"press":"press-1","replace":true}`)
		return err == nil, fmt.Sprintf("%s %v; the log:\n%s", said, err, f.p.log.tail(30))
	})
}

// suffers lets a fault happen once.
func (f *faultShop) suffers(name string, happens fault, random *rand.Rand) {
	t := f.t
	t.Helper()
	spent := *f.p.batch(f.batch).Spent
	if happens.before != nil {
		happens.before(f.p)
	}
	asking := f.asks(20 + random.IntN(20))
	timer := time.NewTimer(time.Duration(random.IntN(250)) * time.Millisecond)
	<-timer.C
	if happens.during != nil {
		happens.during(f.p)
	} else {
		f.p.kill()
	}
	<-asking
	if happens.files != nil {
		if err := happens.files(f.dir, random); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
	}
	if strings.Contains(name, "start") {
		again := launch(t, "run", "--config", f.file)
		again.log.wait(t, "a line", 0, func(string) bool { return true })
		again.kill()
	}
	began := time.Now()
	f.p = f.starts()
	f.longest = max(f.longest, time.Since(began))
	f.check(name, happens, spent)
}

// asks registers cans, each with a lot of its own, until the program is gone.
func (f *faultShop) asks(n int) (ended <-chan struct{}) {
	over := make(chan struct{})
	url := f.p.http + "/api/v1/cans"
	go func() {
		defer close(over)
		client := http.Client{Timeout: 10 * time.Second}
		defer client.CloseIdleConnections()
		for range n {
			f.next++
			lot := fmt.Sprintf("lot-%d", f.next)
			f.asked[lot] = true
			r, err := client.Post(url, "application/json", bytes.NewReader(fmt.Appendf(nil, `{"ink":"dial-satin","lot":%q}`, lot)))
			if err != nil {
				return
			}
			r.Body.Close()
			if r.StatusCode < 300 {
				f.done[lot] = true
				f.answered++
			}
		}
	}()
	return over
}

// get reads JSON from the API into v. The program may be about to start again in its process, when
// it has found damage.
func (f *faultShop) get(path string, v any) {
	f.t.Helper()
	f.p.eventually("GET "+path, func() (bool, any) {
		r, err := http.Get(f.p.http + path)
		if err != nil {
			return false, err
		}
		defer r.Body.Close()
		return r.StatusCode == http.StatusOK && json.NewDecoder(r.Body).Decode(v) == nil, r.Status
	})
}

// check looks at what the program knows after a fault.
func (f *faultShop) check(name string, happens fault, spent float64) {
	t := f.t
	t.Helper()
	var cans struct {
		Cans []struct{ Lot string } `json:"cans"`
	}
	f.get("/api/v1/cans", &cans)
	has := map[string]int{}
	for _, c := range cans.Cans {
		if has[c.Lot]++; has[c.Lot] > 1 {
			t.Errorf("%s: the can of %s is there twice", name, c.Lot)
		}
		if !f.asked[c.Lot] {
			t.Errorf("%s: a can of %s was never asked for", name, c.Lot)
		}
	}
	missing := 0
	for lot, answered := range f.done {
		if answered && has[lot] == 0 && !f.given[lot] {
			f.given[lot] = true
			missing++
		}
	}
	f.lost += missing
	var list struct{ Batches []view.Batch }
	f.get("/api/v1/batches", &list)
	known := slices.IndexFunc(list.Batches, func(b view.Batch) bool { return b.ID == f.batch })
	named := missing == 0 && known >= 0
	if !named {
		f.p.eventually("the alarm that names what is lost", func() (bool, any) {
			var alarms struct{ Alarms []view.Alarm }
			f.get("/api/v1/alarms", &alarms)
			named = slices.ContainsFunc(alarms.Alarms, func(a view.Alarm) bool { return a.Name == "journal" && strings.Contains(a.Text, "lost") })
			return named, alarms
		})
	}
	if (missing > 0 || known < 0) && !happens.loses || !named {
		t.Errorf("%s: %d answered changes are gone, named: %v", name, missing, named)
	}
	if known >= 0 { // air that was not written yet is bridged by the first reading after a start
		f.p.eventually(name+": the life that was spent", func() (bool, any) {
			b, err := f.p.looksAt(f.batch)
			return err == nil && *b.Spent >= spent-1e-6, fmt.Sprintf("%v, %v, shown before were %v", b.Spent, err, spent)
		})
	}
	if known < 0 || missing > 0 {
		var presses struct{ Presses []view.Press }
		f.get("/api/v1/presses", &presses)
		for _, p := range presses.Presses {
			if p.Light != light.Unknown {
				t.Errorf("%s: %s is %s (%s) although something is lost", name, p.ID, p.Light, p.Cause)
			}
		}
	}
	if known < 0 {
		f.loads()
	}
}
