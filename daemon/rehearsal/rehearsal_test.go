package rehearsal

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/mqtt/mqtttest"
)

func TestMain(m *testing.M) { mqtttest.VerifyNoLeaks(m) }

// rehearse runs a rehearsal and hands each line of its story to a function, which may
// end it. Everything it leaves behind is a fault.
func rehearse(t *testing.T, o Options, line func(text string, stop func())) {
	t.Helper()
	temporary := t.TempDir()
	t.Setenv("TMPDIR", temporary)
	ctx, stop := context.WithTimeout(t.Context(), 2*time.Minute)
	defer stop()
	in, out := io.Pipe()
	o.Listen, o.Out, o.Log = "127.0.0.1:0", out, slog.New(slog.NewTextHandler(t.Output(), &slog.HandlerOptions{Level: slog.LevelWarn}))
	ended := make(chan error, 1)
	go func() {
		err := Run(ctx, o)
		ended <- err
		out.Close()
	}()
	lines := bufio.NewScanner(in)
	for lines.Scan() {
		t.Log(lines.Text())
		line(lines.Text(), stop)
	}
	if err := <-ended; err != nil {
		t.Error(err)
	}
	left, err := os.ReadDir(temporary)
	if err != nil || len(left) > 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}

var (
	pageLine  = regexp.MustCompile(`^the page is at (http://127\.0\.0\.1:\d+)/$`)
	lampLine  = regexp.MustCompile(`light-1 shows ([a-z-]+): ([a-z]+), ([a-z]+)`)
	printLine = regexp.MustCompile(`press-1 stops printing at the red light, after (\d+) prints`)
	loadLine  = regexp.MustCompile(`batch (\S+) is loaded on press-1`)
)

// The whole story once, with time so fast that an hour passes in fifteen seconds: what
// the lamp was told over MQTT, and what page and metrics say meanwhile.
func TestStory(t *testing.T) {
	page, first := "", true
	var meanings, refusals, stirs, end []string
	printed := 0
	rehearse(t, Options{Speed: 240, First: 10, Seed: 1}, func(text string, stop func()) {
		if first {
			first = false
			if m := pageLine.FindStringSubmatch(text); m != nil {
				page = m[1]
			} else {
				t.Errorf("the first line is %q", text)
			}
		}
		if m := lampLine.FindStringSubmatch(text); m != nil {
			meanings = append(meanings, m[1])
			if in := slices.Index(meanings, "do-not-print"); in >= 0 && m[1] == "in-order" {
				stop()
			}
		}
		if strings.Contains(text, "refused: No thinner yet") {
			refusals = append(refusals, text)
		}
		if strings.Contains(text, "stirred to the bottom first: it was never stirred") {
			stirs = append(stirs, text)
		}
		if m := printLine.FindStringSubmatch(text); m != nil {
			printed, _ = strconv.Atoi(m[1])
			checkRejects(t, page, printed)
		}
		if m := loadLine.FindStringSubmatch(text); m != nil && len(end) == 0 { // the first
			end = append(end, m[1])
			checkLoaded(t, page, m[1])
		}
		if strings.Contains(text, "the end, after") {
			end = append(end, text)
		}
	})
	want := []string{"unknown", "empty", "act", "in-order", "soon", "do-not-print"}
	if len(meanings) < len(want) || !slices.Equal(meanings[:len(want)], want) || slices.Contains(meanings[1:], "unknown") {
		t.Errorf("the light was %v; want %v first, and unknown never again", meanings, want)
	}
	if len(refusals) != 1 {
		t.Errorf("thinner before the stir was refused %d times, want once", len(refusals))
	}
	if len(stirs) < 2 || !strings.Contains(stirs[0], "can gauge-quick-1, lot GQ-0431") {
		t.Errorf("stirred: %q", stirs)
	}
	// One in three seconds, from the load to the red light after half an hour and more.
	if printed < 600 || printed > 1400 {
		t.Errorf("%d prints until the red light", printed)
	}
	if len(end) != 2 || !strings.Contains(end[1], "1 closed") {
		t.Errorf("loaded and ended with %q", end)
	}
}

// checkLoaded looks at a batch from outside: by HTTP, in the events and in the metrics.
func checkLoaded(t *testing.T, page, id string) {
	t.Helper()
	var list struct {
		Batches []struct {
			ID, Ink, Press, Quality string
			Spent                   float64
			Lots                    []struct{ Part, Can, Lot string }
		}
	}
	// A change is answered a moment before the lists show it.
	for began := time.Now(); time.Since(began) < 10*time.Second; {
		fetch(t, page+"/api/v1/batches", func(data []byte) error { return json.Unmarshal(data, &list) })
		if len(list.Batches) == 1 && list.Batches[0].Press != "" {
			break
		}
	}
	if len(list.Batches) != 1 || list.Batches[0].ID != id || list.Batches[0].Ink != "gauge-quick" || list.Batches[0].Press != "press-1" ||
		list.Batches[0].Quality != "good" || list.Batches[0].Spent <= 0 || list.Batches[0].Spent > 0.1 {
		t.Errorf("HTTP shows %+v", list)
	}
	for _, from := range list.Batches[0].Lots {
		if from.Can == "" || from.Lot == "" {
			t.Errorf("poured from %+v", from)
		}
	}
	if len(list.Batches[0].Lots) != 3 {
		t.Errorf("poured from %+v, want three cans", list.Batches[0].Lots)
	}
	var events struct {
		Events []struct{ Kind, Batch, Step string }
	}
	fetch(t, page+"/api/v1/events?after=0", func(data []byte) error { return json.Unmarshal(data, &events) })
	var steps []string
	for _, e := range events.Events {
		if e.Kind == "confirmed" && e.Batch == id {
			steps = append(steps, e.Step)
		}
	}
	want := []string{"cup", "ink", "hardener", "stir-hardener", "thinner", "stir-thinner"}
	if !slices.Equal(slices.Compact(steps), want) {
		t.Errorf("the journal holds the steps %v, want %v", steps, want)
	}
	fetch(t, page+"/metrics", func(data []byte) error {
		for _, want := range []string{
			`potlife_batch_info{batch="` + id + `",bench="bench-1",ink="gauge-quick",press="press-1",state="open"} 1`,
			`potlife_press_remaining_seconds{bench="bench-1",bound="expected",press="press-1"}`,
			`potlife_time_lapse_ratio{bench="bench-1"} 240`,
			`potlife_scale_up{bench="bench-1",scale="scale-1"} 1`,
			`potlife_trend_up{bench="bench-1",press="press-2",trend="stirrer-2"} 1`,
		} {
			if !strings.Contains(string(data), want) {
				t.Errorf("the metrics lack %s", want)
			}
		}
		return nil
	})
}

// checkRejects looks at the counts of a press that has printed with a batch: about one print in
// sixty is rejected.
func checkRejects(t *testing.T, page string, printed int) {
	t.Helper()
	var list struct {
		Presses []struct {
			ID          string
			PrintsTotal int `json:"prints_total"`
			Defects     []struct {
				Kind  string
				Total int
			}
		}
	}
	// On a busy machine the last counts are still on their way. The press prints no more.
	for began := time.Now(); time.Since(began) < 10*time.Second; {
		fetch(t, page+"/api/v1/presses", func(data []byte) error { return json.Unmarshal(data, &list) })
		if list.Presses[0].PrintsTotal >= printed-100 {
			break
		}
	}
	press, rejected := list.Presses[0], 0
	for _, d := range press.Defects {
		rejected += d.Total
	}
	if press.ID != "press-1" || press.PrintsTotal < printed-100 || press.PrintsTotal > printed || len(press.Defects) < 8 || rejected == 0 || rejected > printed/10 {
		t.Errorf("after %d prints: %+v", printed, press)
	}
}

func fetch(t *testing.T, address string, read func([]byte) error) {
	t.Helper()
	answer, err := http.Get(address)
	if err != nil {
		t.Error(err)
		return
	}
	defer http.DefaultClient.CloseIdleConnections()
	defer answer.Body.Close()
	data, err := io.ReadAll(answer.Body)
	if err == nil {
		err = read(data)
	}
	if err != nil || answer.StatusCode != http.StatusOK {
		t.Errorf("%s: %s, %v", address, answer.Status, err)
	}
}

// An interrupt in mid-pour is an end like any other.
func TestInterruptedPour(t *testing.T) {
	last := ""
	rehearse(t, Options{Speed: 60, First: 10, Seed: 3}, func(text string, stop func()) {
		last = text
		if strings.Contains(text, "g of hardener poured") {
			t.Errorf("the mix went on after the interrupt: %s", text)
		}
		if strings.Contains(text, "g of ink poured") {
			stop()
		}
	})
	if !strings.Contains(last, "the end, after") || !strings.Contains(last, "0 batches made") {
		t.Errorf("it ended with %q", last)
	}
}

func TestTimeIsOver(t *testing.T) {
	began, lines := time.Now(), 0
	rehearse(t, Options{Speed: 2, For: time.Second}, func(string, func()) { lines++ })
	if took := time.Since(began); took < time.Second || took > 20*time.Second || lines < 6 {
		t.Errorf("%d lines in %v", lines, took)
	}
}

// The reader that goes away, as head does, ends the rehearsal.
func TestNobodyListens(t *testing.T) {
	temporary := t.TempDir()
	t.Setenv("TMPDIR", temporary)
	in, out := io.Pipe()
	ended := make(chan error, 1)
	go func() {
		ended <- Run(t.Context(), Options{Speed: 60, Listen: "127.0.0.1:0", Out: out, Log: slog.New(slog.DiscardHandler)})
	}()
	bufio.NewScanner(in).Scan()
	in.Close()
	if err := <-ended; !errors.Is(err, io.ErrClosedPipe) {
		t.Errorf("ended with %v", err)
	}
	left, err := os.ReadDir(temporary)
	if err != nil || len(left) > 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}

// A port that another program holds ends the rehearsal, and nothing is left behind.
func TestPortTaken(t *testing.T) {
	temporary := t.TempDir()
	t.Setenv("TMPDIR", temporary)
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	err = Run(t.Context(), Options{Speed: 60, Listen: taken.Addr().String(), Out: io.Discard, Log: slog.New(slog.DiscardHandler)})
	if err == nil || !strings.Contains(err.Error(), taken.Addr().String()) {
		t.Errorf("ended with %v", err)
	}
	left, err := os.ReadDir(temporary)
	if err != nil || len(left) > 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}
