package main

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"potlifed/daemon/journal"
	"potlifed/daemon/peers"
)

// meddler changes what the system answers to a running program: a call on a file fails, takes
// long, or ends the program before it is made. It is strace, which can be taken away again.
type meddler struct {
	t   testing.TB
	cmd *exec.Cmd
	log string
}

// meddled are the calls by which the journal's file, its log and its head are changed.
const (
	writes  = "pwrite64"
	syncs   = "fsync,fdatasync"
	cuts    = "ftruncate"
	changes = "pwrite64,fsync,fdatasync,ftruncate"
)

// meddle lets calls on files of the data directory end in another way from now on. how is what
// strace injects: "error=EIO", "delay_exit=2s", "signal=KILL:when=3"; with `when` it counts the
// calls of each thread.
func meddle(p *program, dir, calls, how string, files ...string) *meddler {
	p.t.Helper()
	log, err := os.CreateTemp(p.t.TempDir(), "calls")
	if err != nil {
		p.t.Fatal(err)
	}
	log.Close()
	args := []string{"-f", "-y", "-o", log.Name(), "-p", fmt.Sprint(p.cmd.Process.Pid), "-e", "signal=none", "-e", "trace=" + calls, "-e", "inject=" + calls + ":" + how}
	for _, f := range files {
		args = append(args, "-P", filepath.Join(dir, f))
	}
	m := &meddler{t: p.t, log: log.Name(), cmd: exec.Command(peers.Program(p.t, "strace"), args...)}
	said, err := m.cmd.StderrPipe()
	if err != nil {
		p.t.Fatal(err)
	}
	if err := m.cmd.Start(); err != nil {
		p.t.Fatal(err)
	}
	lines := newLines()
	go lines.read(said)
	lines.wait(p.t, "strace to be attached", 0, has("attached"))
	p.t.Cleanup(m.ends)
	return m
}

// ends takes the meddler away; the program runs on.
func (m *meddler) ends() {
	if m.cmd == nil {
		return
	}
	_ = m.cmd.Process.Signal(syscall.SIGINT)
	_ = m.cmd.Wait() // it tells of the signal
	m.cmd = nil
}

// hits returns how many calls ended in another way.
func (m *meddler) hits() int {
	m.t.Helper()
	b, err := os.ReadFile(m.log)
	if err != nil {
		m.t.Fatal(err)
	}
	return strings.Count(string(b), "(INJECTED)") + strings.Count(string(b), "(DELAYED)")
}

// step is a step of the journal's writer: a call on one of its files.
type step struct {
	file, calls string
	most        int  // the n-th call of a thread is drawn from 1 to this
	closing     bool // made when the program ends in good order
	long        bool // only tried with POTLIFED_FAULTS
}

const (
	logFile  = journal.FileName + "-wal"
	headFile = "journal.head"
)

// writerSteps are all calls that change a file while the journal is written and closed.
var writerSteps = map[string]step{
	"a page into the log":                    {file: logFile, calls: writes, most: 60},
	"the log to the disk":                    {file: logFile, calls: syncs, most: 8},
	"how far it goes":                        {file: headFile, calls: writes, most: 8},
	"a page into the file":                   {file: journal.FileName, calls: writes, most: 12, closing: true},
	"the file's length":                      {file: journal.FileName, calls: cuts, most: 1, closing: true, long: true},
	"the file to the disk":                   {file: journal.FileName, calls: syncs, most: 1, closing: true, long: true},
	"how far it goes, to the disk":           {file: headFile, calls: syncs, most: 1, closing: true, long: true},
	"the log to the disk, before it is used": {file: logFile, calls: syncs, most: 1, closing: true, long: true},
}

// TestFaultsKilledAtEachStep kills the program with SIGKILL before a call by which the journal is
// written, for each kind of call on each file, while changes are asked for or while it ends.
func TestFaultsKilledAtEachStep(t *testing.T) {
	if testing.Short() {
		t.Skip("the whole program, killed at each step")
	}
	t.Parallel()
	peers.Program(t, "strace")
	random := rand.New(rand.NewPCG(13, 1))
	f := newFaultShop(t)
	for name, s := range writerSteps {
		if s.long && rounds() == 1 {
			continue
		}
		killed := 0
		f.answered, f.longest = 0, 0
		for round := range rounds() {
			when := 1
			if round > 0 {
				when += random.IntN(s.most)
			}
			f.suffers("killed at: "+name, fault{
				before: func(p *program) {
					if !s.closing {
						meddle(p, f.dir, s.calls, fmt.Sprintf("signal=KILL:when=%d", when), s.file)
					}
				},
				during: func(p *program) {
					if s.closing {
						meddle(p, f.dir, s.calls, fmt.Sprintf("signal=KILL:when=%d", when), s.file)
					}
					if gone, err := p.isGone(500 * time.Millisecond); gone && isKill(err) || !gone && isKill(p.ends()) {
						killed++
					}
				},
			}, random)
			if t.Failed() {
				return
			}
		}
		t.Logf("killed before a call that brings %s: tried %d times, %d times it came so far, %d changes answered, longest recovery %v",
			name, rounds(), killed, f.answered, f.longest.Round(10*time.Millisecond))
		if killed == 0 {
			t.Errorf("%s: the program was never killed there", name)
		}
	}
	f.p.stop()
}

// isGone reports whether the program ends by itself within a time, and how it ended.
func (p *program) isGone(within time.Duration) (gone bool, how error) {
	timer := time.NewTimer(within)
	defer timer.Stop()
	select {
	case how = <-p.done:
		p.cmd = nil
		return true, how
	case <-timer.C:
		return false, nil
	}
}

// isKill reports whether a program was ended by SIGKILL.
func isKill(how error) bool {
	var exit *exec.ExitError
	if !errors.As(how, &exit) {
		return false
	}
	status, ok := exit.Sys().(syscall.WaitStatus)
	return ok && status.Signaled() && status.Signal() == syscall.SIGKILL
}

// rounds is how often each fault is tried.
func rounds() int {
	if os.Getenv("POTLIFED_FAULTS") != "" {
		return 40
	}
	return 1
}

// launchMeddled runs the program with calls that end in another way from its first one on, see
// [meddle]. The log says which did.
func launchMeddled(t testing.TB, file, dir, calls, how string, files ...string) (p *program, log string) {
	t.Helper()
	log = filepath.Join(t.TempDir(), "calls")
	args := []string{peers.Program(t, "strace"), "-D", "-f", "-y", "-o", log, "-e", "signal=none", "-e", "trace=" + calls, "-e", "inject=" + calls + ":" + how}
	for _, f := range files {
		args = append(args, "-P", filepath.Join(dir, f))
	}
	return launchCommand(t, append(args, os.Args[0], "run", "--config", file)...), log
}

// startCalls are the calls by which a start reads and changes the journal.
const startCalls = "openat,pread64,read," + changes + ",renameat,renameat2,unlinkat,unlink,mkdirat"

// TestFaultsInTheStart kills the program before a call on the journal's files while it starts, and
// lets reads fail while it starts.
func TestFaultsInTheStart(t *testing.T) {
	if testing.Short() {
		t.Skip("the whole program, killed and disturbed in its start")
	}
	t.Parallel()
	peers.Program(t, "strace")
	for name, how := range map[string]struct {
		calls, action string
		long          bool // only tried with POTLIFED_FAULTS
	}{
		"killed":                 {startCalls, "signal=KILL:when=%d", false},
		"a read fails":           {"pread64,read", "error=EIO:when=%d", true},
		"the first reads fail":   {"pread64,read", "error=EIO:when=1..%d", true},
		"every third read fails": {"pread64,read", "error=EIO:when=%d+3", true},
	} {
		if how.long && rounds() == 1 {
			continue
		}
		t.Run(name, func(t *testing.T) {
			random := rand.New(rand.NewPCG(13, 3))
			f := newFaultShop(t)
			met := 0
			for round := range rounds() {
				spent := *f.p.batch(f.batch).Spent
				asking := f.asks(5 + random.IntN(20))
				<-asking
				f.p.kill()
				again, log := launchMeddled(t, f.file, f.dir, how.calls, fmt.Sprintf(how.action, 1+3*round%40), allFiles...)
				_, ended := again.isGone(2 * time.Second) // or it runs: no thread made so many calls
				again.kill()
				if text, err := os.ReadFile(log); err != nil {
					t.Error(err)
				} else if isKill(ended) || strings.Contains(string(text), "(INJECTED)") {
					met++
				}
				began := time.Now()
				f.p = f.starts()
				f.longest = max(f.longest, time.Since(began))
				f.check(name, fault{}, spent)
				if t.Failed() {
					t.Logf("the disturbed start said:\n%s", again.log.tail(40))
					return
				}
			}
			t.Logf("in the start: %s: tried %d times, met %d times, %d changes answered, %d lost, longest recovery %v",
				name, rounds(), met, f.answered, f.lost, f.longest.Round(10*time.Millisecond))
			if met == 0 {
				t.Error("no call was met")
			}
			f.p.stop()
		})
	}
}
