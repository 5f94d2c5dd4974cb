package main

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"potlifed/model/light"
)

// wirelessShop is the configuration for one press in the air of a sensor that publishes at the broker,
// so that the moment at which its reading comes is the test's to choose.
func wirelessShop(b *testing.B, mqtt string) string {
	dir := b.TempDir()
	file := filepath.Join(dir, "potlifed.yaml")
	text := fmt.Sprintf(`bench: bench-1
data_dir: %s
http: {listen: "127.0.0.1:0"}
%sclock: assume
scales: [{id: scale-1, port: "tcp://127.0.0.1:1", division_g: 0.1}]
sensors: [{id: hall-air, zone: hall, source: mqtt, topic: sensors/hall, temperature: {pointer: /t}, humidity: {pointer: /rh}, every: 1m, stale_after: 10m}]
cups: [{id: cup-110, ink_minimum_g: 85, fill_maximum_g: 150}]
presses: [{id: press-1, zone: hall, cup: cup-110}]
lights: [{id: light-1, presses: [press-1], reads: [json]}]
inks: [{id: dial-satin, hardener_ratio: "5:1", thinner_pct: {min: 6, max: 14}, pot_life: {shortest: 4h30m, longest: 5h30m}}]
`, filepath.Join(dir, "data"), mqtt)
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		b.Fatal(err)
	}
	return file
}

// BenchmarkReadingToLight measures from a reading above 85 % relative humidity, published at the broker,
// to the lamp's client that is told yellow. The program is the built one and the broker mosquitto.
// The reading goes through the broker, as the light does. A bare message, published by the same
// client and seen by the same lamp's client, is measured in the same turn.
func BenchmarkReadingToLight(b *testing.B) {
	for _, batches := range []int{1, 20} {
		b.Run(fmt.Sprintf("batches=%d", batches), func(b *testing.B) { readingToLight(b, batches) })
	}
}

// betweenReadings is longer than the time between two readings of one sensor that the program takes.
const betweenReadings = 1100 * time.Millisecond

func readingToLight(b *testing.B, batches int) {
	m := newMosquitto(b)
	p := start(b, wirelessShop(b, m.configuration()))
	lamp := newLampClient(b, m.url(), lampTopic)
	bare := newClient(b, m.url(), "bare", "bare")
	air := func(humidity int) {
		lamp.client.Publish("sensors/hall", 1, false, fmt.Sprintf(`{"t":20,"rh":%d}`, humidity))
	}
	eventually(b, "the air to be known", func() (bool, any) { // the program subscribes in its own time
		air(50)
		text := p.text("/api/v1/air")
		return strings.Contains(text, `"quality":"good"`), text
	})
	time.Sleep(2 * betweenReadings) // the program takes one reading a second: what was sent above would make the next ones wait
	for range batches - 1 {
		p.mustRecord()
	}
	var through, direct []time.Duration
	for b.Loop() {
		air(50)
		time.Sleep(betweenReadings)
		from := lamp.mark()
		id := p.loads() // a fresh one: of the last one's life too much was uncertain
		lamp.sees("green", from, means(light.InOrder))
		from, began := bare.mark(), time.Now()
		lamp.client.Publish("bare", 1, false, "{}")
		direct = append(direct, bare.sees("a bare message", from, func(s shown) bool { return s.payload == "{}" }).at.Sub(began))
		time.Sleep(200 * time.Millisecond) // what the load brought about is over
		from, began = lamp.mark(), time.Now()
		air(88)
		through = append(through, lamp.sees("yellow", from, means(light.Soon)).at.Sub(began))
		if _, wrong := p.post("batches/"+id+"/close", map[string]string{"outcome": "used-up"}); wrong != nil {
			b.Fatal(wrong)
		}
		time.Sleep(betweenReadings)
	}
	reportTimes(b, "reading-to-light", through)
	reportTimes(b, "bare-publish", direct)
	b.ReportMetric(ratioOfMedians(through, direct), "bare-round-trips")
	b.ReportMetric(0, "ns/op") // the pauses, and nothing that was measured
}

// ratioOfMedians returns how many times the median of bare the median of all is. Both are sorted.
func ratioOfMedians(all, bare []time.Duration) float64 {
	slices.Sort(all)
	slices.Sort(bare)
	return float64(all[len(all)/2]) / float64(bare[len(bare)/2])
}

// mustRecord records a fresh mix and leaves it at the bench.
func (p *program) mustRecord() {
	p.t.Helper()
	_, wrong := p.post("batches", map[string]any{
		"ink": "dial-satin", "mixed_at": rightNow(), "zone": "hall",
		"components": []map[string]any{{"part": "ink", "g": 85}, {"part": "hardener", "g": 17}, {"part": "thinner", "g": 7.1}},
	})
	if wrong != nil {
		p.t.Fatal(wrong)
	}
}
