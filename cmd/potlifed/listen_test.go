package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"potlifed/devices/link"
	"potlifed/devices/simulate"
)

// speakingScale runs a simulated scale with 60 g on it until the test ends.
func speakingScale(t *testing.T, o simulate.ScaleOptions) *simulate.Scale {
	t.Helper()
	o.Dir, o.Every = t.TempDir(), 5*time.Millisecond
	s, err := simulate.NewScale(o)
	if err != nil {
		t.Fatal(err)
	}
	s.Set(60)
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- s.Run(ctx) }()
	t.Cleanup(func() {
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
	return s
}

// listenWith runs the command and gives what it printed and returned.
func listenWith(ctx context.Context, args ...string) (out, errOut string, err error) {
	var o, e bytes.Buffer
	c := listenCommand()
	c.SetArgs(args)
	c.SetOut(&o)
	c.SetErr(&e)
	c.SilenceErrors, c.SilenceUsage = true, true
	err = c.ExecuteContext(ctx)
	return o.String(), e.String(), err
}

func TestListenPrintsLinesBesideWhatTheySay(t *testing.T) {
	t.Parallel()
	s := speakingScale(t, simulate.ScaleOptions{Settle: time.Nanosecond})
	out, errOut, err := listenWith(t.Context(), "--port", s.Port(), "--for", "400ms")
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`"ST,GS,+00060.0  g"`, " 60 g, stable, gross\n", "- still learning"} {
		if !strings.Contains(out, want) {
			t.Errorf("%q is missing in:\n%s", want, out)
		}
	}
	if !strings.Contains(errOut, "shape status-first: ") {
		t.Errorf("the summary is %q", errOut)
	}
}

func TestListenJSON(t *testing.T) {
	t.Parallel()
	s := speakingScale(t, simulate.ScaleOptions{Shape: "weight-unit", Settle: time.Nanosecond})
	out, _, err := listenWith(t.Context(), "--port", s.Port(), "--for", "400ms", "--json", "--line", "weight-unit")
	if err != nil {
		t.Fatal(err)
	}
	weights := 0
	for d := json.NewDecoder(strings.NewReader(out)); ; {
		var h heardLine
		if err := d.Decode(&h); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		switch {
		case h.Grams != nil && *h.Grams == 60 && h.Raw == "      60.0 g " && h.Error == "":
			weights++
		case h.Kind == "torn" && weights == 0: // the first line may have begun before
		default:
			t.Errorf("line %+v", h)
		}
	}
	if weights == 0 {
		t.Errorf("no weight in:\n%s", out)
	}
}

func TestListenSaysWhatToDo(t *testing.T) {
	t.Parallel()
	s := speakingScale(t, simulate.ScaleOptions{})
	silent := speakingScale(t, simulate.ScaleOptions{})
	silent.Silence(true)
	holder, err := link.Open(t.Context(), link.Settings{Port: silent.Port()})
	if err != nil {
		t.Fatal(err)
	}
	if !silent.OnNetwork() {
		_, _, err = listenWith(t.Context(), "--port", silent.Port())
		if !errors.Is(err, link.ErrBusy) || !strings.Contains(err.Error(), silent.Port()) || exitCode(err) != exitFault || !strings.Contains(err.Error(), "\n") {
			t.Errorf("busy: %v", err)
		}
	}
	if err := holder.Close(); err != nil {
		t.Fatal(err)
	}
	absent := filepath.Join(t.TempDir(), "absent")
	for _, c := range []struct {
		args []string
		exit int
		want string
	}{
		{nil, exitUsage, "--port is missing"},
		{[]string{"--port", s.Port(), "--for", "-1s"}, exitUsage, "negative"},
		{[]string{"--port", s.Port(), "--mode", "8Z1"}, exitUsage, "8Z1"},
		{[]string{"--port", s.Port(), "--line", "fancy"}, exitUsage, "want one of auto"},
		{[]string{"--port", "hid:0922"}, exitUsage, "four hexadecimal digits"},
		{[]string{"--port", s.Port(), "extra"}, exitUsage, "extra"},
		{[]string{"--port", absent}, exitFault, "plugged in"},
		{[]string{"--port", silent.Port(), "--for", "50ms"}, exitFault, "no line came"},
		{[]string{"--port", s.Port(), "--for", "200ms", "--line", "sign-digits"}, exitFault, "none could be decoded"},
	} {
		_, _, err := listenWith(t.Context(), c.args...)
		if err == nil || exitCode(err) != c.exit || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q: exit %d, %v; want exit %d and %q", c.args, exitCode(err), err, c.exit, c.want)
		}
	}
}

func TestListenEndsWithItsContextItsLinkAndItsReader(t *testing.T) {
	s := speakingScale(t, simulate.ScaleOptions{})
	o := listenOptions{}
	o.config.Link.Port = s.Port()
	closed := &onceThenClosed{}
	if err := listen(t.Context(), o, closed, io.Discard); !errors.Is(err, io.ErrClosedPipe) {
		t.Errorf("nobody reads the output: %v", err)
	}
	unplug := &callWriter{call: func() { _ = s.Unplug() }}
	if err := listen(t.Context(), o, unplug, io.Discard); !errors.Is(err, link.ErrLost) {
		t.Errorf("unplugged: %v", err)
	}
	if err := s.Replug(); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	if err := listen(ctx, o, &callWriter{call: cancel}, io.Discard); err != nil {
		t.Errorf("interrupted: %v, want no error", err)
	}
}

// onceThenClosed takes one write, as a pipe whose reader then goes.
type onceThenClosed struct{ written bool }

func (w *onceThenClosed) Write(p []byte) (int, error) {
	if w.written {
		return 0, io.ErrClosedPipe
	}
	w.written = true
	return len(p), nil
}

// callWriter calls something at each write.
type callWriter struct{ call func() }

func (w *callWriter) Write(p []byte) (int, error) {
	w.call()
	return len(p), nil
}
