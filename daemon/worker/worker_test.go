package worker

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"go.uber.org/goleak"
	"golang.org/x/sys/unix"

	"potlifed/daemon/history"
	"potlifed/daemon/importing"
	"potlifed/daemon/journal"
	"potlifed/daemon/report"
	"potlifed/daemon/study"
)

// role is the variable that makes the test's own program a worker: its value says of which sort.
const role = "POTLIFED_TEST_WORKER"

func TestMain(m *testing.M) {
	switch os.Getenv(role) {
	case "":
		goleak.VerifyTestMain(m)
	case "job":
		switch err := Do(context.Background(), os.Stdin, os.Stdout); {
		case errors.Is(err, report.ErrNoLot):
			os.Exit(ExitNoLot)
		case err != nil:
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	case "broken":
		fmt.Fprintln(os.Stderr, "no memory left")
		os.Exit(2)
	case "babbling":
		fmt.Println("potlifed")
	case "telling": // what the kernel gives the process, once the service has said its last word
		for range 100_000 { // about a second: then it was never said
			if told("oom_score_adj") == "1000" {
				break
			}
			runtime.Gosched()
		}
		session, _ := unix.Getsid(0)
		json.NewEncoder(os.Stdout).Encode(study.Chart{By: study.Grouping(fmt.Sprintf("nice %s, session of its own: %t, %s",
			strings.Fields(told("stat"))[18], session == os.Getpid(), told("autogroup")))})
	case "hanging":
		time.Sleep(time.Hour)
	}
}

// told returns what the kernel tells of this process.
func told(file string) string {
	text, _ := os.ReadFile("/proc/self/" + file)
	return strings.TrimSpace(string(text))
}

var noon = time.Date(2026, 7, 1, 12, 0, 0, 0, time.UTC)

// stored returns a data directory with twelve days of prints, with more rejects in humid air.
func stored(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	j, err := journal.Open(dir, slog.New(slog.DiscardHandler), func(time.Duration) {})
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(history.New(history.Settings{Dir: dir, Journal: j, Log: slog.New(slog.DiscardHandler)}).Close(), j.Close()); err != nil {
		t.Fatal(err)
	}
	rows := []byte("time,press,batch,prints,temperature_c,humidity_pct\n")
	rejects := []byte("time,press,batch,kind,defects\n")
	for day := range 12 {
		for hour := range 6 {
			at := noon.AddDate(0, 0, day-20).Add(time.Duration(hour) * time.Hour).Format(time.RFC3339)
			rows = fmt.Appendf(rows, "%s,press-1,%d-1,500,21,%d\n", at, day, 40+3*day+hour)
			rejects = fmt.Appendf(rejects, "%s,press-1,%d-1,pinholes,%d\n", at, day, 2+day/2)
		}
	}
	var files []string
	for name, text := range map[string][]byte{"prints.csv": rows, "defects.csv": rejects} {
		file := filepath.Join(t.TempDir(), name)
		if err := os.WriteFile(file, text, 0o600); err != nil {
			t.Fatal(err)
		}
		files = append(files, file)
	}
	known := importing.Known{Bench: "bench-1", Zones: []string{"hall"}, Presses: []string{"press-1"}, Kinds: []string{"pinholes"}, Zone: time.UTC, Now: noon}
	if _, err := importing.Files(t.Context(), dir, files, known, false, func(string, float64) {}); err != nil {
		t.Fatal(err)
	}
	return dir
}

// process returns a Process whose program is this test in a role.
func process(t *testing.T, as, dir string) *Process {
	t.Setenv(role, as)
	return New([]string{os.Args[0]}, func() Job {
		return Job{DataDir: dir, Bench: "bench-1", TimeZone: "UTC", Now: noon, Open: []OpenBatch{{Batch: "0701-1", Ink: "dial-satin"}}}
	})
}

// TestAnswersAreThoseOfTheServicesOwnProcess compares what a worker sends with what is computed here.
func TestAnswersAreThoseOfTheServicesOwnProcess(t *testing.T) {
	dir := stored(t)
	p := process(t, "job", dir)
	j, err := journal.OpenToRead(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	past, err := history.OpenToRead(t.Context(), dir, j)
	if err != nil {
		t.Fatal(err)
	}
	defer past.Close()
	here := study.NewRunner(study.Stored{History: past, Bench: "bench-1", Now: func() time.Time { return noon }, Open: func() []study.Mix { return nil }}, time.UTC, time.Now)
	q := study.Request{Relevant: 0.25}
	want, err := here.Study(t.Context(), q)
	if err != nil {
		t.Fatal(err)
	}
	got, err := p.Study(t.Context(), q)
	if err != nil {
		t.Fatal(err)
	}
	got.ComputedAt = want.ComputedAt
	if d := cmp.Diff(want, got); d != "" || got.Prints != 36_000 || got.Verdict != "more-defects" {
		t.Errorf("%v prints, %s, (-here +worker)\n%s", got.Prints, got.Verdict, d)
	}
	chart := study.ChartRequest{Press: "press-1", From: noon.AddDate(0, -1, 0), To: noon}
	wantChart, err := here.Chart(t.Context(), chart)
	if err != nil {
		t.Fatal(err)
	}
	gotChart, err := p.Chart(t.Context(), chart)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(wantChart, gotChart); d != "" || len(gotChart.Points) == 0 {
		t.Errorf("%d points, (-here +worker)\n%s", len(gotChart.Points), d)
	}
	asked := Report{Request: report.Request{From: noon.AddDate(0, 0, -21), To: noon}, Zones: []string{"hall"}, Presses: []report.Press{{ID: "press-1", Zone: "hall"}}, Kinds: map[string]string{"pinholes": "small holes"}}
	text, err := p.Report(t.Context(), asked)
	if err != nil || !bytes.Contains(text, []byte("</html>")) || !bytes.Contains(text, []byte("small holes")) {
		t.Errorf("a report of %d bytes: %v", len(text), err)
	}
	asked.Lot = "HA-0915"
	if _, err := p.Report(t.Context(), asked); !errors.Is(err, report.ErrNoLot) {
		t.Errorf("an unknown lot: %v", err)
	}
}

// TestAWorkerThatFailsSaysWhy also ends when its context does.
func TestAWorkerThatFailsSaysWhy(t *testing.T) {
	for as, want := range map[string]string{"broken": "no memory left", "babbling": "result of the worker", "job": "open journal"} {
		t.Run(as, func(t *testing.T) {
			if _, err := process(t, as, t.TempDir()).Study(t.Context(), study.Request{}); err == nil || !strings.Contains(err.Error(), want) {
				t.Errorf("%v", err)
			}
		})
	}
	if _, err := New([]string{"/nowhere"}, func() Job { return Job{} }).Study(t.Context(), study.Request{}); err == nil {
		t.Error("a program that is not there gave an answer")
	}
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error)
	p := process(t, "hanging", "")
	go func() {
		_, err := p.Chart(ctx, study.ChartRequest{})
		ended <- err
	}()
	cancel()
	if err := <-ended; !errors.Is(err, context.Canceled) {
		t.Errorf("after the end of the context: %v", err)
	}
}

// FuzzDo reads any text as a job. It finds no data, so all that it may do is fail.
func FuzzDo(f *testing.F) {
	for _, job := range []Job{{}, {Study: &study.Request{}}, {Report: &Report{Language: "en"}}} {
		text, err := json.Marshal(job)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		var job Job
		if json.Unmarshal(text, &job) == nil && job.DataDir != "" {
			t.Skip("would open files")
		}
		if err := Do(t.Context(), bytes.NewReader(text), &bytes.Buffer{}); err == nil {
			t.Error("no error")
		}
	})
}

// TestAWorkerStepsBack: its priority is lower than the service's, also where the kernel counts it within a session alone.
func TestAWorkerStepsBack(t *testing.T) {
	c, err := process(t, "telling", t.TempDir()).Chart(t.Context(), study.ChartRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if !strings.HasPrefix(string(c.By), "nice 10, session of its own: true") {
		t.Errorf("%q", c.By)
	}
	// Without privileges, the kernel may not take the session's so soon after that of another test.
	text, err := os.ReadFile("/proc/sys/kernel/sched_autogroup_enabled")
	if err == nil && strings.TrimSpace(string(text)) == "1" && os.Geteuid() == 0 && !strings.HasSuffix(string(c.By), " nice 10") {
		t.Errorf("the session: %q", c.By)
	}
}
