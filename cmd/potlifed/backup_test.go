package main

import (
	"bytes"
	"encoding/json"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/backup"
)

// TestBackupOfARunningBench writes backups while the service runs and batches are recorded, and
// restores the second for a bench on another computer. Everything that was answered before the
// backup began is there, with the PIN.
func TestBackupOfARunningBench(t *testing.T) {
	t.Parallel()
	b := newHardware(t)
	file := b.configuration(t, "")
	p := start(t, file)
	mix := map[string]any{
		"ink": "dial-satin", "mixed_at": time.Now().UTC().Format(time.RFC3339Nano), "cup": "cup-110",
		"components": []map[string]any{{"part": "ink", "g": 85}, {"part": "hardener", "g": 17}},
	}
	first, wrong := p.post("batches", mix)
	if wrong != nil {
		t.Fatalf("%+v", wrong)
	}
	out := filepath.Join(t.TempDir(), "bench.backup")
	write := func() (c backup.Contents) {
		t.Helper()
		code, told, errs := called(t, "", "backup", out, "--config", file, "--json")
		if code != exitDone || json.Unmarshal([]byte(told), &c) != nil || c.Bench != "bench-1" {
			t.Fatalf("backup: code %d, %s, %s", code, told, errs)
		}
		return c
	}
	done, recorded := make(chan struct{}), make(chan int)
	go func() {
		n := 0
		for body, _ := json.Marshal(mix); ; {
			select {
			case <-done:
				recorded <- n
				return
			default:
				if r, err := http.Post(p.http+"/api/v1/batches", "application/json", bytes.NewReader(body)); err == nil {
					r.Body.Close()
					n++
				}
			}
		}
	}()
	during := write()
	close(done)
	n := <-recorded
	if code, _, errs := called(t, "902817\n", "pin", "--config", file); code != exitDone {
		t.Fatalf("pin: %s", errs)
	}
	c := write()
	if during.Seq == 0 || c.Seq < during.Seq || n == 0 {
		t.Errorf("%d batches were recorded during the first backup; it has %d events, the second %d", n, during.Seq, c.Seq)
	}
	if info, err := os.Stat(out); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the backup's file: %v, %v", info, err)
	}
	if code, _, errs := called(t, "", "restore", out, "--config", file); code != exitUsage || !strings.Contains(errs, "not empty") {
		t.Errorf("restored into the directory of a running bench: code %d, %s", code, errs)
	}
	p.stop()
	if err := os.Rename(filepath.Join(b.dir, "data"), filepath.Join(b.dir, "before")); err != nil {
		t.Fatal(err)
	}
	code, told, errs := called(t, "", "restore", out, "--config", file)
	if code != exitDone {
		t.Fatalf("restore: %s", errs)
	}
	if !strings.Contains(told, "restored the backup of bench-1") || strings.Contains(told, c.Journal) {
		t.Errorf("restore says %s, the journal was %s", told, c.Journal)
	}
	moved := start(t, file)
	if got := moved.batch(first.ID); got.Ink != "dial-satin" || got.MixedAt == nil {
		t.Errorf("the batch after the move: %+v", got)
	}
	if _, wrong := moved.post("batches", map[string]any{"ink": "dial-satin"}); wrong == nil || wrong.Status != 401 {
		t.Errorf("a change without the PIN after the move: %+v", wrong)
	}
	moved.stop()
}

func TestRestoreFlags(t *testing.T) {
	for _, args := range [][]string{{"restore"}, {"restore", "x", "--journal", "new"}, {"restore", "x", "--access", "none"}, {"backup"}, {"backup", "a", "b"}} {
		if code, out, errs := called(t, "", args...); code != exitUsage || out != "" {
			t.Errorf("%v: code %d, %s, %s", args, code, out, errs)
		}
	}
}

// TestBackupIntoNoFolder: what is said names the folder and what to do, and no temporary file.
func TestBackupIntoNoFolder(t *testing.T) {
	t.Parallel()
	b := newHardware(t)
	file := b.configuration(t, "")
	folder := filepath.Join(b.dir, "stick")
	code, _, errs := called(t, "", "backup", filepath.Join(folder, "x.backup"), "--config", file)
	if code != exitFault || !strings.Contains(errs, "there is no folder "+folder+"; make it") || strings.Contains(errs, ".partial") {
		t.Errorf("code %d, %s", code, errs)
	}
}
