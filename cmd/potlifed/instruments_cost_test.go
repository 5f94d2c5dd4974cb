package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"potlifed/devices/simulate"
	"potlifed/model/air"
)

// BenchmarkInstruments measures what eight kernel sensors, read every 5 s, and two scales of ten lines a
// second take of the program, beside one of the same configuration whose instruments are not there. The
// scales are simulated in the process of the test, which is not counted. POTLIFED_SPAN is how long is
// measured, half a minute without it.
//
// Budget on a Raspberry Pi: 3 % of a core more than without them.
func BenchmarkInstruments(b *testing.B) {
	span := measuredSpan(b, 30*time.Second)
	for b.Loop() {
		programs := map[string]*program{"absent": start(b, manyInstruments(b, false)), "present": start(b, manyInstruments(b, true))}
		time.Sleep(10 * time.Second) // the starts are over, and the scales' lines are known
		before := map[string]time.Duration{}
		for name, p := range programs {
			before[name] = processorTime(b, p.cmd.Process.Pid)
		}
		time.Sleep(span)
		for name, p := range programs {
			b.ReportMetric((processorTime(b, p.cmd.Process.Pid)-before[name]).Seconds()/span.Seconds()*100, name+"-core-%")
		}
		if text := programs["present"].text("/metrics"); strings.Count(text, "potlife_scale_up{") != 2 || strings.Count(text, "potlife_sensor_up{") != 8 ||
			strings.Contains(text, "_up{bench=\"bench-1\",sensor=\"air-7\"} 0") || strings.Contains(text, "_up{bench=\"bench-1\",scale=\"scale-1\"} 0") {
			b.Errorf("not all instruments are read:\n%s", text)
		}
		for _, p := range programs {
			p.stop()
		}
	}
	b.ReportMetric(0, "ns/op")
}

// manyInstruments writes a configuration with eight sensors and two scales, and simulates them if they are
// to be there.
func manyInstruments(b *testing.B, there bool) (file string) {
	b.Helper()
	dir := b.TempDir()
	ctx, stop := context.WithCancel(b.Context())
	var running sync.WaitGroup
	b.Cleanup(func() { stop(); running.Wait() })
	text := fmt.Sprintf(`bench: bench-1
data_dir: %q
http: {listen: "127.0.0.1:0"}
clock: assume
inks: [{id: dial-satin, hardener_ratio: "5:1", pot_life: {about: 5h}}]
sensors:
`, filepath.Join(dir, "data"))
	for i := range 8 {
		room := filepath.Join(dir, fmt.Sprintf("room%d", i))
		text += fmt.Sprintf("  - {id: air-%d, zone: zone-%d, path: %q, every: 5s}\n", i, i/2, room)
		if !there {
			continue
		}
		r, err := simulate.NewRoom(room, air.State{TemperatureC: 21, HumidityPct: 50})
		if err != nil {
			b.Fatal(err)
		}
		running.Go(func() {
			for n := 0; ctx.Err() == nil; n++ {
				if err := r.Set(air.State{TemperatureC: 21, HumidityPct: 50 + 0.1*float64(n%5)}); err != nil {
					b.Error(err)
					return
				}
				select {
				case <-ctx.Done():
				case <-time.After(5 * time.Second):
				}
			}
		})
	}
	text += "scales:\n"
	for i := range 2 {
		port := filepath.Join(dir, "nowhere")
		if there {
			scale, err := simulate.NewScale(simulate.ScaleOptions{Dir: b.TempDir(), DivisionG: 0.1})
			if err != nil {
				b.Fatal(err)
			}
			running.Go(func() {
				if err := scale.Run(ctx); err != nil {
					b.Error(err)
				}
			})
			port = scale.Port()
		} else if i > 0 {
			port += "-either"
		}
		text += fmt.Sprintf("  - {id: scale-%d, port: %q, division_g: 0.1, zone: zone-0}\n", i, port)
	}
	file = filepath.Join(dir, "potlifed.yaml")
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		b.Fatal(err)
	}
	return file
}
