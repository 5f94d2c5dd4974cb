package main

import (
	"bytes"
	"context"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"potlifed/daemon/view"
	"potlifed/devices/link"
)

// command runs a command of the program in this process.
func command(t testing.TB, args ...string) (code int, out, errs string) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	defer cancel()
	var o, e bytes.Buffer
	code = run(ctx, args, strings.NewReader(""), &o, &e)
	return code, o.String(), e.String()
}

func TestWrongConfigurationIsRefusedWhole(t *testing.T) {
	b := newHardware(t)
	file := b.configuration(t, "colour: red\nalarms: {stop_at_risk: 7, ending_before: soon}\n")
	for _, args := range [][]string{{"run", "--config", file}, {"check", "--config", file}} {
		code, _, errs := command(t, args...)
		if code != 2 {
			t.Errorf("%v: exit %d, want 2", args, code)
		}
		for _, want := range []string{"potlifed.yaml:", "colour", "stop_at_risk", "7", "ending_before", "soon"} {
			if !strings.Contains(errs, want) {
				t.Errorf("%v: no %q in\n%s", args, want, errs)
			}
		}
	}
	for _, args := range [][]string{{"run", "--config", ""}, {"run", "--config", filepath.Join(b.dir, "none.yaml")}, {"frobnicate"}, {"run", "--nonsense"}} {
		if code, _, errs := command(t, args...); code != 2 || errs == "" {
			t.Errorf("%v: exit %d, %q; want 2 and a reason", args, code, errs)
		}
	}
}

// TestMissingDevicesAreStates starts without scale, sensor and broker, and sees each
// come to life, go, and come back under its name.
func TestMissingDevicesAreStates(t *testing.T) {
	t.Parallel() // it waits more than it works
	b := newHardware(t)
	if err := b.scale.Unplug(); err != nil {
		t.Fatal(err)
	}
	file := b.configuration(t, "mqtt: {url: \"mqtt://127.0.0.1:1\"}\n")
	p := start(t, file)
	standing := func(name string) bool {
		var list struct{ Alarms []view.Alarm }
		p.get("/api/v1/alarms", &list)
		for _, a := range list.Alarms {
			if a.Name == name && a.Text != "" && a.Response != "" && a.State == "unacknowledged" {
				return true
			}
		}
		return false
	}
	for _, name := range []string{"scale-silent", "broker"} {
		p.eventually("alarm "+name, func() (bool, any) { return standing(name), nil })
	}
	if err := b.scale.Replug(); err != nil {
		t.Fatal(err)
	}
	p.eventually("the scale to be back", func() (bool, any) { return !standing("scale-silent"), nil })
	b.scale.Set(42)
	p.eventually("42 g", func() (bool, any) {
		var list struct{ Scales []view.Scale }
		p.get("/api/v1/scales", &list)
		s := list.Scales[0]
		return s.WeightG != nil && *s.WeightG == 42 && s.Stable, s
	})
	if err := b.scale.Noise([]byte("\x00\xff garbage \r\n" + strings.Repeat("9", 300) + "\r\n")); err != nil {
		t.Fatal(err)
	}
	p.eventually("garbage to be counted", func() (bool, any) {
		metrics := p.text("/metrics")
		return sample(t, metrics, `potlife_scale_lines_total{bench="bench-1",result="overlong",scale="scale-1"}`) >= 1 &&
			sample(t, metrics, `potlife_scale_lines_total{bench="bench-1",result="unknown",scale="scale-1"}`) >= 1, nil
	})
	if err := b.room.SetRaw("humidity1_input", "130000\n"); err != nil {
		t.Fatal(err)
	}
	p.eventually("impossible humidity to be rejected", func() (bool, any) {
		return sample(t, p.text("/metrics"), `potlife_sensor_reads_total{bench="bench-1",result="rejected",sensor="bench-air"}`) >= 1, nil
	})
	var list struct{ Air []view.Air }
	p.get("/api/v1/air", &list)
	if a := list.Air[0]; a.HumidityPct == nil || *a.HumidityPct != 50 {
		t.Errorf("air %+v: want the last good reading and no impossible one", a)
	}
	p.eventually("the lasting fault to be an alarm", func() (bool, any) { return standing("sensor-implausible"), nil })
	p.stop()
}

func TestTwoDaemonsOneJournal(t *testing.T) {
	t.Parallel()
	b := newHardware(t)
	file := b.configuration(t, "")
	p := start(t, file)
	second := launch(t, "run", "--config", file)
	select {
	case err := <-second.done:
		second.cmd = nil
		if err == nil {
			t.Error("a second daemon on one data_dir ended without an error")
		}
		if log := second.log.tail(10); !strings.Contains(log, "another potlifed") {
			t.Errorf("the second daemon does not say why it ended:\n%s", log)
		}
	case <-time.After(patience):
		t.Fatal("a second daemon runs on one data_dir")
	}
	p.stop()
}

// TestPortHeldByAnother: a scale whose port another program holds is an alarm that says
// so, and comes to life when the port is free.
func TestPortHeldByAnother(t *testing.T) {
	t.Parallel()
	b := newHardware(t)
	held, err := link.Open(t.Context(), link.Settings{Port: b.scale.Port()})
	if err != nil {
		t.Fatal(err)
	}
	p := start(t, b.configuration(t, ""))
	find := func() view.Sensor {
		var list struct{ Sensors []view.Sensor }
		p.get("/api/v1/sensors", &list)
		for _, s := range list.Sensors {
			if s.ID == "scale-1" {
				return s
			}
		}
		t.Fatal("no scale-1 among the sensors")
		return view.Sensor{}
	}
	p.eventually("the reason", func() (bool, any) {
		s := find()
		return s.Condition == "down" && strings.Contains(s.Detail, "another program"), s
	})
	if err := held.Close(); err != nil {
		t.Fatal(err)
	}
	p.eventually("the scale to be up", func() (bool, any) { s := find(); return s.Condition == "up", s })
	p.stop()
}
