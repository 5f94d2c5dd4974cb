package main

import (
	"encoding/json"
	"errors"
	"maps"
	"math/rand/v2"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/journal"
	"potlifed/daemon/peers"
	"potlifed/daemon/view"
)

// diskFault is what a disk does for a while to a running program.
type diskFault struct {
	calls, how string
	files      []string
	// refuses: changes are refused as long as it lasts, and the alarm `journal` says so.
	refuses bool
	long    bool // only tried with POTLIFED_FAULTS
}

var allFiles = []string{journal.FileName, logFile, headFile}

var diskFaults = map[string]diskFault{
	"writes fail":        {calls: changes, how: "error=EIO", files: allFiles, refuses: true, long: true},
	"it is full":         {calls: writes, how: "error=ENOSPC", files: allFiles, refuses: true, long: true},
	"it is read-only":    {calls: changes, how: "error=EROFS", files: allFiles, refuses: true},
	"syncs fail":         {calls: syncs, how: "error=EIO", files: []string{logFile}, refuses: true},
	"some writes fail":   {calls: changes, how: "error=EIO:when=2+3", files: []string{logFile}, long: true},
	"reads fail":         {calls: "pread64", how: "error=EIO", files: allFiles},
	"syncs take seconds": {calls: syncs, how: "delay_exit=2s", files: []string{logFile}},
}

// TestFaultsOfTheDisk lets calls on the journal's files fail or take long while the program runs
// and is asked for changes, and then lets them be as before. As long as it lasts the press is shown
// with a life that does not fall, and where changes are refused the alarm says so. Afterwards the
// program takes changes again by itself, and after a kill every answered change is there once.
func TestFaultsOfTheDisk(t *testing.T) {
	if testing.Short() {
		t.Skip("the whole program, with a disk that fails")
	}
	t.Parallel()
	peers.Program(t, "strace")
	for _, name := range slices.Sorted(maps.Keys(diskFaults)) {
		if diskFaults[name].long && rounds() == 1 {
			continue
		}
		t.Run(name, func(t *testing.T) {
			t.Parallel() // it waits for the alarm's end
			random := rand.New(rand.NewPCG(13, 2))
			f := newFaultShop(t)
			hits := 0
			for range rounds() {
				hits += f.endures(name, diskFaults[name], random)
				if t.Failed() {
					return
				}
			}
			t.Logf("the disk: %s: tried %d times, %d changes answered, %d lost, longest recovery %v",
				name, rounds(), f.answered, f.lost, f.longest.Round(10*time.Millisecond))
			if hits == 0 && (rounds() > 1 || name != "reads fail") { // what was read before may be in memory
				t.Error("no call was met")
			}
			f.p.stop()
		})
	}
}

// endures lets a disk fail for a while, and returns how many calls this met.
func (f *faultShop) endures(name string, d diskFault, random *rand.Rand) (hits int) {
	t := f.t
	t.Helper()
	spent := *f.p.batch(f.batch).Spent
	m := meddle(f.p, f.dir, d.calls, d.how, d.files...)
	asking := f.asks(3 + random.IntN(3))
	fastest := patience
	for range 5 {
		began := time.Now()
		if b, err := f.p.looksAt(f.batch); err == nil { // it may be about to start again
			fastest = min(fastest, time.Since(began))
			if *b.Spent < spent-1e-6 {
				t.Errorf("%s: spent fell from %v to %v", name, spent, *b.Spent)
			}
			spent = max(*b.Spent, spent)
		}
		if r, err := http.Get(f.p.http + "/api/v1/events"); err == nil { // read from the file, as far as it can be
			r.Body.Close()
		}
	}
	if fastest > time.Second && fastest < patience { // of five: the machine may be busy
		t.Errorf("%s: the page waits for the disk: %v", name, fastest)
	}
	<-asking
	if d.refuses {
		f.p.eventually(name+": the alarm", func() (bool, any) { return f.journalAlarm() != "", f.journalAlarm() })
		if _, wrong := f.p.post("cans", map[string]any{"ink": "dial-satin", "lot": "refused"}); wrong == nil || wrong.Status != http.StatusServiceUnavailable {
			t.Errorf("%s: a change is answered with %+v, want 503", name, wrong)
		}
	}
	hits = m.hits()
	m.ends()
	f.takesChangesAgain(name)
	f.check(name, fault{}, spent)
	f.p.kill()
	f.p = f.starts()
	f.check(name+", and killed", fault{}, spent)
	return hits
}

// looksAt returns a batch of a program that may be about to start again.
func (p *program) looksAt(id string) (b view.Batch, err error) {
	r, err := http.Get(p.http + "/api/v1/batches/" + id)
	if err != nil {
		return b, err
	}
	defer r.Body.Close()
	if err = json.NewDecoder(r.Body).Decode(&b); err == nil && b.Spent == nil {
		err = errors.New(r.Status)
	}
	return b, err
}

// journalAlarm returns the text of the alarm that the journal cannot write, empty where its cause
// is gone. That the journal was made again with all that it had stays until a person has seen it.
func (f *faultShop) journalAlarm() string {
	var alarms struct{ Alarms []view.Alarm }
	f.get("/api/v1/alarms", &alarms)
	for _, a := range alarms.Alarms {
		if a.Name == "journal" && !strings.Contains(string(a.State), "returned") && !strings.Contains(a.Text, "batches and presses are as before") {
			return a.Text
		}
	}
	return ""
}
