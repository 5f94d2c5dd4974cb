package main

import (
	"os"
	"strings"
	"syscall"
	"testing"

	"potlifed/daemon/view"
)

// TestTheConfigurationIsReadAnew: with the signal and over the API, while a mix is poured on a real
// line; a wrong file changes nothing and ends nothing.
func TestTheConfigurationIsReadAnew(t *testing.T) {
	t.Parallel()
	b := newHardware(t)
	file := b.configuration(t, "")
	p := start(t, file)
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	write := func(content string) {
		t.Helper()
		aside := file + ".new"
		if err := os.WriteFile(aside, []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := os.Rename(aside, file); err != nil {
			t.Fatal(err)
		}
	}
	more := string(text) + "  - {id: dial-flat, hardener_ratio: \"10:1\", pot_life: {about: 8h}}\n"
	hangup := func() {
		t.Helper()
		if err := p.cmd.Process.Signal(syscall.SIGHUP); err != nil {
			t.Fatal(err)
		}
	}
	inks := func(n int) func() (bool, any) {
		return func() (bool, any) {
			var list struct{ Inks []view.Ink }
			p.get("/api/v1/inks", &list)
			return len(list.Inks) == n, list.Inks
		}
	}
	write(more)
	hangup()
	p.eventually("a second ink after the signal", inks(2))
	done := make(chan struct{})
	go func() { // while the mix is made
		defer close(done)
		for i := range 40 {
			write([]string{string(text), more, "bench: [", strings.Replace(more, "bench: bench-1", "bench: bench-2", 1)}[i%4])
			hangup()
		}
	}()
	id := b.mix(t, p)
	<-done
	got := map[string]float64{}
	for _, part := range p.batch(id).Components {
		got[string(part.Part)] += part.G
	}
	for part, want := range map[string]float64{"ink": 85, "hardener": 17, "thinner": 7.1} {
		if g := got[part]; g < want-0.15 || g > want+0.15 {
			t.Errorf("%s: %v g, want %v", part, g, want)
		}
	}
	write("bench: [\n")
	if _, wrong := p.post("configuration/reload", map[string]any{}); wrong == nil || wrong.Status != 422 || !strings.Contains(wrong.Detail, "nothing was changed") || !strings.Contains(wrong.Detail, "potlifed.yaml:1:") {
		t.Errorf("a wrong file: %+v", wrong)
	}
	write(strings.Replace(more, "127.0.0.1:0", "127.0.0.1:1", 1))
	if _, wrong := p.post("configuration/reload", map[string]any{}); wrong == nil || wrong.Status != 409 || !strings.Contains(wrong.Detail, "restart") {
		t.Errorf("another address: %+v", wrong)
	}
	write(strings.Replace(string(text), "dial-satin", "dial-matt", 1))
	if _, wrong := p.post("configuration/reload", map[string]any{}); wrong == nil || wrong.Status != 409 || !strings.Contains(wrong.Detail, "ink dial-satin") {
		t.Errorf("without the ink of an open batch: %+v", wrong)
	}
	write(more)
	if _, wrong := p.post("configuration/reload", map[string]any{}); wrong != nil {
		t.Errorf("a good file: %+v", wrong)
	}
	p.eventually("a second ink", inks(2))
	if metrics := p.text("/metrics"); !strings.Contains(metrics, `potlife_scale_up{bench="bench-1",scale="scale-1"} 1`) {
		t.Error("the scale is not up")
	}
	p.stop()
}
