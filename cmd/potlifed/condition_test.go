package main

import (
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"potlifed/model/air"
	"potlifed/model/light"
)

// BenchmarkConditionToLight measures from a jump of the humidity, written to the
// sensor's files, to the lamp's client that is told another meaning: air above 85 % is
// uncertain, and its light yellow. The program is the built one and the broker
// mosquitto. A bare publish to a subscriber of the same broker is measured beside it,
// in the same run.
//
// The sensor is read every 500 ms, so that the median can be no less than a quarter of
// a second. Beside it the usual way is measured, by a few samples: see usualWay. Run it
// with -benchtime 50x or more, and -timeout 20m; the usual way takes four minutes.
func BenchmarkConditionToLight(b *testing.B) {
	m, h := newMosquitto(b), newHardware(b)
	file := h.configuration(b, m.configuration())
	rooms := usualRooms(b, h, file)
	p := start(b, file)
	lamp := newLampClient(b, m.url(), lampTopic)
	room := newClient(b, m.url(), "room", "potlife/bench-1/air/bench")
	bare := newClient(b, m.url(), "bare", "bare")

	var through, direct []time.Duration
	for b.Loop() {
		from := room.mark()
		if err := h.room.Set(air.State{TemperatureC: 20, HumidityPct: 50}); err != nil {
			b.Fatal(err)
		}
		if len(through) > 0 {
			room.sees("mild air", from, func(s shown) bool { return strings.Contains(s.payload, `"humidity_pct":50,`) })
		}
		from = lamp.mark()
		id := p.loads() // a fresh one: of the last one's life too much was uncertain
		lamp.sees("green", from, means(light.InOrder))
		// The sensor was just read: without a wait at random the jump would always come
		// at the same moment between two readings.
		time.Sleep(rand.N(500 * time.Millisecond))
		from = lamp.mark()
		began := time.Now()
		if err := h.room.Set(air.State{TemperatureC: 20, HumidityPct: 90}); err != nil {
			b.Fatal(err)
		}
		through = append(through, lamp.sees("yellow", from, means(light.Soon)).at.Sub(began))
		if _, wrong := p.post("batches/"+id+"/close", map[string]string{"outcome": "used-up"}); wrong != nil {
			b.Fatal(wrong)
		}

		from, began = bare.mark(), time.Now()
		lamp.client.Publish("bare", 1, false, "{}")
		direct = append(direct, bare.sees("a bare message", from, func(s shown) bool { return s.payload == "{}" }).at.Sub(began))
	}
	report := func(name string, all []time.Duration) {
		slices.Sort(all)
		b.ReportMetric(float64(all[len(all)/2].Microseconds()), name+"-median-µs")
		b.ReportMetric(float64(all[len(all)*99/100].Microseconds()), name+"-p99-µs")
	}
	report("condition-to-light", through)
	report("bare-publish", direct)
	if usual := usualWay(b, p, rooms); len(usual) > 0 {
		slices.Sort(usual)
		b.ReportMetric(float64(usual[len(usual)/2].Microseconds()), "usual-way-median-µs")
		b.ReportMetric(float64(usual[len(usual)-1].Microseconds()), "usual-way-longest-µs")
	}
	b.ReportMetric(0, "ns/op") // making the batches, and nothing that was measured
}
