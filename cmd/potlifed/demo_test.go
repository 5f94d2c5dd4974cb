package main

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"regexp"
	"strings"
	"testing"
)

func TestDemo(t *testing.T) {
	temporary := t.TempDir()
	t.Setenv("TMPDIR", temporary)
	var out, errs bytes.Buffer
	if code := run(t.Context(), []string{"demo", "--for", "3s"}, strings.NewReader(""), &out, &errs); code != exitDone {
		t.Errorf("exit code %d: %s", code, errs.String())
	}
	lines := strings.Split(strings.TrimSpace(out.String()), "\n")
	if first := lines[0]; !regexp.MustCompile(`http://127\.0\.0\.1:[1-9]\d*/$`).MatchString(first) {
		t.Errorf("the first line is %q, want the page's address", first)
	}
	if last := lines[len(lines)-1]; !strings.Contains(last, "the end, after") {
		t.Errorf("the last line is %q", last)
	}
	if errs.Len() > 0 {
		t.Errorf("on standard error: %s", errs.String())
	}
	left, err := os.ReadDir(temporary)
	if err != nil || len(left) > 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}

// An interrupt is how most demos end, and no fault.
func TestDemoInterrupted(t *testing.T) {
	t.Setenv("TMPDIR", t.TempDir())
	ctx, interrupt := context.WithCancelCause(t.Context())
	defer interrupt(nil)
	in, out := io.Pipe()
	var errs bytes.Buffer
	code := make(chan int, 1)
	go func() {
		code <- run(ctx, []string{"demo"}, strings.NewReader(""), out, &errs)
		out.Close()
	}()
	last := ""
	for lines := bufio.NewScanner(in); lines.Scan(); last = lines.Text() {
		interrupt(errors.New("interrupt signal received"))
	}
	if got := <-code; got != exitDone || errs.Len() > 0 || !strings.Contains(last, "the end, after") {
		t.Errorf("exit code %d, %q; the last line is %q", got, errs.String(), last)
	}
}

func TestDemoRefuses(t *testing.T) {
	for _, args := range [][]string{
		{"--speed", "0"}, {"--speed", "241"}, {"--speed", "NaN"}, {"--for", "-1s"}, {"--for", "soon"},
		{"--listen", "9755"}, {"--listen", "127.0.0.1:port"}, {"--seed", "-1"}, {"now"},
	} {
		var out, errs bytes.Buffer
		code := run(t.Context(), append([]string{"demo"}, args...), strings.NewReader(""), &out, &errs)
		if code != exitUsage || out.Len() > 0 || errs.Len() == 0 {
			t.Errorf("%v: exit code %d, %q, %q", args, code, out.String(), errs.String())
		}
	}
}
