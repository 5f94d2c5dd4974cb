package main

import (
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// TestFaultsOfAMountedDisk runs the program on a file system of its own, in memory. The disk is
// filled by another file and emptied again, and is mounted for reading only at a start and for
// writing again while the program runs.
func TestFaultsOfAMountedDisk(t *testing.T) {
	if testing.Short() {
		t.Skip("the whole program, on a disk of its own")
	}
	t.Parallel()
	for name, happens := range map[string]func(f *faultShop, disk string){
		"filled":               (*faultShop).fills,
		"full at a start":      (*faultShop).startsFull,
		"read-only at a start": (*faultShop).startsReadOnly,
	} {
		if name == "full at a start" && rounds() == 1 {
			continue
		}
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			f := newFaultShopIn(t, mounted(t, "size=32m"))
			for range rounds() {
				happens(f, f.dir)
				if t.Failed() {
					return
				}
				f.p.kill()
				f.p = f.starts()
				f.check(name+", and killed", fault{}, 0)
			}
			t.Logf("the disk: %s: tried %d times, %d changes answered, %d lost, longest recovery %v",
				name, rounds(), f.answered, f.lost, f.longest.Round(10*time.Millisecond))
			f.p.stop()
		})
	}
}

// mounted returns a folder with a file system of its own.
func mounted(t testing.TB, options string) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "disk")
	if err := os.Mkdir(dir, 0o750); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("mount", "-t", "tmpfs", "-o", options, "tmpfs", dir).CombinedOutput(); err != nil {
		t.Skipf("skipped: no file system can be mounted here: %v: %s", err, out)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(dir, syscall.MNT_DETACH); err != nil {
			t.Error(err)
		}
	})
	return dir
}

// fill writes a file until the disk has no room, and returns its path.
func (f *faultShop) fill(disk string) string {
	f.t.Helper()
	path := filepath.Join(disk, "filler")
	file, err := os.Create(path)
	if err != nil {
		f.t.Fatal(err)
	}
	defer file.Close()
	for _, piece := range []int{64 << 10, 1} {
		for block := make([]byte, piece); ; {
			if _, err := file.Write(block); err != nil {
				break
			}
		}
	}
	return path
}

func (f *faultShop) fills(disk string) {
	spent := *f.p.batch(f.batch).Spent
	filler := f.fill(disk)
	// The log has room that it had before: changes are answered until that is used up.
	f.p.eventually("a full disk to be noticed", func() (bool, any) {
		<-f.asks(20)
		return f.journalAlarm() != "", nil
	})
	if now := *f.p.batch(f.batch).Spent; now < spent {
		f.t.Errorf("spent fell from %v to %v", spent, now)
	}
	f.hasRoomAgain("filled", filler)
	f.check("filled", fault{}, spent)
}

func (f *faultShop) startsFull(disk string) {
	spent := *f.p.batch(f.batch).Spent
	<-f.asks(5)
	f.p.kill()
	filler := f.fill(disk)
	f.p = f.starts()
	f.check("full at a start", fault{}, spent)
	<-f.asks(5)
	f.hasRoomAgain("full at a start", filler)
	f.check("full at a start, with room again", fault{}, spent)
}

func (f *faultShop) hasRoomAgain(name, filler string) {
	if err := os.Remove(filler); err != nil {
		f.t.Fatal(err)
	}
	f.takesChangesAgain(name)
}

func (f *faultShop) startsReadOnly(disk string) {
	t := f.t
	spent := *f.p.batch(f.batch).Spent
	<-f.asks(5)
	f.p.kill()
	remount(t, disk, "ro")
	f.p = f.starts()
	f.check("read-only", fault{}, spent)
	f.p.eventually("the alarm", func() (bool, any) { return f.journalAlarm() != "", nil })
	if _, wrong := f.p.post("cans", map[string]any{"ink": "dial-satin", "lot": "refused"}); wrong == nil || wrong.Status != 503 {
		t.Errorf("a change on a read-only disk is answered with %+v, want 503", wrong)
	}
	remount(t, disk, "rw")
	f.takesChangesAgain("read-only")
	f.check("read-only, and writing again", fault{}, spent)
}

func remount(t testing.TB, disk, how string) {
	t.Helper()
	if out, err := exec.Command("mount", "-o", "remount,"+how, disk).CombinedOutput(); err != nil {
		t.Fatalf("mount %s: %v: %s", how, err, out)
	}
}

// asks makes a change of a program that may be about to start again.
func (p *program) asks(path, body string) (answer string, err error) {
	r, err := http.Post(p.http+"/api/v1/"+path, "application/json", strings.NewReader(body))
	if err != nil {
		return "", err
	}
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	if err == nil && r.StatusCode >= 300 {
		err = errors.New(r.Status)
	}
	return string(b), err
}

// takesChangesAgain waits until a change is made and the alarm is over.
func (f *faultShop) takesChangesAgain(name string) {
	began := time.Now()
	f.p.eventually(name+": the next change", func() (bool, any) {
		f.next++
		lot := fmt.Sprintf("lot-%d", f.next)
		f.asked[lot] = true
		said, err := f.p.asks("cans", fmt.Sprintf(`{"ink":"dial-satin","lot":%q}`, lot))
		f.done[lot] = err == nil
		return err == nil, said
	})
	f.longest = max(f.longest, time.Since(began))
	f.p.eventually(name+": the alarm's end", func() (bool, any) { return f.journalAlarm() == "", f.journalAlarm() })
}
