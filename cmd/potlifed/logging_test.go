package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"log/slog"
	"strings"
	"testing"
)

// logAll logs one line of each level and returns the lines.
func logAll(h slog.Handler) {
	log := slog.New(h).With("bench", "bench-1")
	log.Debug("opened")
	log.Info("ready")
	log.Log(context.Background(), levelNotice, "batch closed", "batch", "0612-3")
	log.Warn("two\nlines")
	log.Error("gone")
}

func TestTheJournalGetsPriorities(t *testing.T) {
	var out bytes.Buffer
	logAll(newLogHandler(&out, "text", slog.LevelDebug, true))
	want := `<7>level=DEBUG msg=opened bench=bench-1
<6>level=INFO msg=ready bench=bench-1
<5>level=NOTICE msg="batch closed" bench=bench-1 batch=0612-3
<4>level=WARN msg="two\nlines" bench=bench-1
<3>level=ERROR msg=gone bench=bench-1
`
	if out.String() != want {
		t.Errorf("got\n%swant\n%s", out.String(), want)
	}
}

func TestLogAsJSON(t *testing.T) {
	var out bytes.Buffer
	logAll(newLogHandler(&out, "json", levelNotice, false))
	lines := strings.Split(strings.TrimSpace(out.String()), "\n")
	if len(lines) != 3 {
		t.Fatalf("from notice on there are 3 lines, got\n%s", out.String())
	}
	var first struct {
		Time, Level, Msg, Bench, Batch string
	}
	if err := json.Unmarshal([]byte(lines[0]), &first); err != nil {
		t.Fatal(err)
	}
	if first.Time == "" || first.Level != "NOTICE" || first.Msg != "batch closed" || first.Bench != "bench-1" || first.Batch != "0612-3" {
		t.Errorf("%+v", first)
	}
}

func TestLogFlags(t *testing.T) {
	for _, wrong := range []logFlags{{"xml", "info"}, {"text", "loud"}} {
		if _, err := wrong.logger("run", io.Discard); exitCode(err) != exitUsage {
			t.Errorf("%+v: %v", wrong, err)
		}
	}
	if _, err := (logFlags{"json", "debug"}).logger("run", io.Discard); err != nil {
		t.Error(err)
	}
	if got := failure(errors.New("one\ntwo"), true); got != "<3>potlifed: one\n<3>two" {
		t.Errorf("%q", got)
	}
	if got := failure(errors.New("one"), false); got != "potlifed: one" {
		t.Errorf("%q", got)
	}
}
