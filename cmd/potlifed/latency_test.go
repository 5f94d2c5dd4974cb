package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/creack/pty"
	paho "github.com/eclipse/paho.mqtt.golang"
	"golang.org/x/sys/unix"
)

// BenchmarkSerialBytesToSubscriber measures from the last byte of a scale's line,
// written to a pseudo-terminal, to a subscriber of the built-in broker that has the
// weight. The program is the built one. A bare publish to a subscriber on the same
// broker is measured beside it, in the same run.
//
// A weight is published on change, at most five times a second, so lines are written a
// quarter of a second apart.
func BenchmarkSerialBytesToSubscriber(b *testing.B) {
	scale, tty, err := pty.Open()
	if err != nil {
		b.Fatal(err)
	}
	defer scale.Close()
	defer tty.Close()
	raw, err := unix.IoctlGetTermios(int(tty.Fd()), unix.TCGETS)
	if err != nil {
		b.Fatal(err)
	}
	raw.Oflag, raw.Lflag, raw.Iflag = raw.Oflag&^unix.OPOST, raw.Lflag&^(unix.ECHO|unix.ICANON), raw.Iflag&^unix.ICRNL
	if err := unix.IoctlSetTermios(int(tty.Fd()), unix.TCSETS, raw); err != nil {
		b.Fatal(err)
	}
	dir := b.TempDir()
	file := filepath.Join(dir, "potlifed.yaml")
	text := fmt.Sprintf(`bench: bench-1
data_dir: %s
http: {listen: "127.0.0.1:0"}
broker: {listen: "127.0.0.1:0"}
mqtt: {commands: true}
clock: assume
scales: [{id: scale-1, port: %s, division_g: 0.1, line: status-first}]
sensors: [{id: bench-air, zone: bench, path: /nowhere}]
inks: [{id: dial-satin, hardener_ratio: "5:1", pot_life: {about: 5h}}]
`, filepath.Join(dir, "data"), tty.Name())
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		b.Fatal(err)
	}
	p := start(b, file)
	_, line := p.log.wait(b, "the broker", 0, has("msg=ready", "mqtt="))
	broker := line[strings.Index(line, "mqtt=")+len("mqtt="):]

	seen := make(chan float64, 100)
	bare := make(chan struct{}, 1)
	client := paho.NewClient(paho.NewClientOptions().AddBroker(broker).SetClientID("bench-reader"))
	for _, token := range []func() paho.Token{
		client.Connect,
		func() paho.Token {
			return client.Subscribe("potlife/bench-1/scale/scale-1", 0, func(_ paho.Client, m paho.Message) {
				var v struct {
					Weight *float64 `json:"weight_g"`
				}
				if json.Unmarshal(m.Payload(), &v) == nil && v.Weight != nil {
					seen <- *v.Weight
				}
			})
		},
		func() paho.Token {
			return client.Subscribe("potlife/bench-1/do/+", 0, func(paho.Client, paho.Message) { bare <- struct{}{} })
		},
	} {
		if t := token(); !t.WaitTimeout(patience) || t.Error() != nil {
			b.Fatal(t.Error())
		}
	}
	defer client.Disconnect(100)

	var through, direct []time.Duration
	pause := time.NewTicker(250 * time.Millisecond)
	defer pause.Stop()
	// The first line after the port was opened may be torn and does not count.
	for len(seen) == 0 {
		<-pause.C
		if _, err := fmt.Fprint(scale, "ST,GS,+00001.0  g\r\n"); err != nil {
			b.Fatal(err)
		}
	}
	i := 0
	for b.Loop() {
		i++
		<-pause.C
		want := float64(100+i%900) / 10
		began := time.Now()
		if _, err := fmt.Fprintf(scale, "ST,GS,+%07.1f  g\r\n", want); err != nil {
			b.Fatal(err)
		}
		for got := -1.0; got != want; {
			select {
			case got = <-seen:
			case <-time.After(patience):
				b.Fatalf("line %d never arrived:\n%s", i, p.log.tail(10))
			}
		}
		through = append(through, time.Since(began))
		began = time.Now()
		client.Publish("potlife/bench-1/do/nothing", 0, false, "{}")
		<-bare
		direct = append(direct, time.Since(began))
	}
	report := func(name string, all []time.Duration) {
		slices.Sort(all)
		b.ReportMetric(float64(all[len(all)/2].Microseconds()), name+"-median-µs")
		b.ReportMetric(float64(all[len(all)*99/100].Microseconds()), name+"-p99-µs")
	}
	report("bytes-to-subscriber", through)
	report("bare-publish", direct)
	b.ReportMetric(0, "ns/op") // the pause, and nothing that was measured
}
