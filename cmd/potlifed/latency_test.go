package main

import (
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/creack/pty"
	paho "github.com/eclipse/paho.mqtt.golang"
	"golang.org/x/sys/unix"
)

// scaleLines is the built program with a scale on a pseudo-terminal, and a subscriber of its built-in broker.
type scaleLines struct {
	b      testing.TB
	p      *program
	client paho.Client
	scale  *os.File
	tty    *os.File
	seen   chan float64
	bare   chan struct{}
	sent   int
}

// lineConfig is the configuration for a scale on a terminal.
func lineConfig(dir, tty string) string {
	return fmt.Sprintf(`bench: bench-1
data_dir: %s
http: {listen: "127.0.0.1:0"}
broker: {listen: "127.0.0.1:0"}
mqtt: {commands: true}
clock: assume
scales: [{id: scale-1, port: %s, division_g: 0.1, line: status-first}]
sensors: [{id: bench-air, zone: bench, path: /nowhere}]
inks: [{id: dial-satin, hardener_ratio: "5:1", pot_life: {about: 5h}}]
presses: [{id: press-1, zone: bench}, {id: press-2, zone: bench}, {id: press-3, zone: bench}]
`, filepath.Join(dir, "data"), tty)
}

// newScaleLines starts the program. prepare is called with the configuration before that.
func newScaleLines(b testing.TB, prepare func(file string)) *scaleLines {
	l := &scaleLines{b: b, seen: make(chan float64, 100), bare: make(chan struct{}, 1)}
	var err error
	if l.scale, l.tty, err = pty.Open(); err != nil {
		b.Fatal(err)
	}
	raw, err := unix.IoctlGetTermios(int(l.tty.Fd()), unix.TCGETS)
	if err != nil {
		b.Fatal(err)
	}
	raw.Oflag, raw.Lflag, raw.Iflag = raw.Oflag&^unix.OPOST, raw.Lflag&^(unix.ECHO|unix.ICANON), raw.Iflag&^unix.ICRNL
	if err := unix.IoctlSetTermios(int(l.tty.Fd()), unix.TCSETS, raw); err != nil {
		b.Fatal(err)
	}
	dir := b.TempDir()
	file := filepath.Join(dir, "potlifed.yaml")
	if err := os.WriteFile(file, []byte(lineConfig(dir, l.tty.Name())), 0o600); err != nil {
		b.Fatal(err)
	}
	prepare(file)
	l.p = start(b, file)
	_, line := l.p.log.wait(b, "the broker", 0, has("msg=ready", "mqtt="))
	l.client = paho.NewClient(paho.NewClientOptions().AddBroker(line[strings.Index(line, "mqtt=")+len("mqtt="):]).SetClientID("bench-reader"))
	for _, token := range []func() paho.Token{
		l.client.Connect,
		func() paho.Token { return l.client.Subscribe("potlife/bench-1/scale/scale-1", 0, l.weight) },
		func() paho.Token {
			return l.client.Subscribe("potlife/bench-1/do/+", 0, func(paho.Client, paho.Message) { l.bare <- struct{}{} })
		},
	} {
		if t := token(); !t.WaitTimeout(patience) || t.Error() != nil {
			b.Fatal(t.Error())
		}
	}
	return l
}

func (l *scaleLines) weight(_ paho.Client, m paho.Message) {
	var v struct {
		Weight *float64 `json:"weight_g"`
	}
	if json.Unmarshal(m.Payload(), &v) == nil && v.Weight != nil {
		l.seen <- *v.Weight
	}
}

func (l *scaleLines) close() {
	l.client.Disconnect(100)
	l.tty.Close()
	l.scale.Close()
}

// first sends lines until one arrives. The first after the port was opened may be torn and does not count.
func (l *scaleLines) first(pause <-chan time.Time) {
	for len(l.seen) == 0 {
		<-pause
		if _, err := fmt.Fprint(l.scale, "ST,GS,+00001.0  g\r\n"); err != nil {
			l.b.Fatal(err)
		}
	}
}

// one sends a line and returns how long it took to the subscriber.
func (l *scaleLines) one() time.Duration {
	l.sent++
	want := float64(100+l.sent%900) / 10
	began := time.Now()
	if _, err := fmt.Fprintf(l.scale, "ST,GS,+%07.1f  g\r\n", want); err != nil {
		l.b.Fatal(err)
	}
	for got := -1.0; got != want; {
		select {
		case got = <-l.seen:
		case <-time.After(patience):
			l.b.Fatalf("line %d never arrived:\n%s", l.sent, l.p.log.tail(10))
		}
	}
	return time.Since(began)
}

// reportTimes reports the median and the 99th percentile.
func reportTimes(b *testing.B, name string, all []time.Duration) {
	slices.Sort(all)
	b.ReportMetric(float64(all[len(all)/2].Microseconds()), name+"-median-µs")
	b.ReportMetric(float64(all[len(all)*99/100].Microseconds()), name+"-p99-µs")
}

// BenchmarkSerialBytesToSubscriber measures from the last byte of a scale's line,
// written to a pseudo-terminal, to a subscriber of the built-in broker that has the
// weight. The program is the built one. A bare publish to a subscriber on the same
// broker is measured beside it, in the same run.
//
// A weight is published on change, at most five times a second, so lines are written a
// quarter of a second apart.
func BenchmarkSerialBytesToSubscriber(b *testing.B) {
	l := newScaleLines(b, func(string) {})
	defer l.close()
	var through, direct []time.Duration
	pause := time.NewTicker(250 * time.Millisecond)
	defer pause.Stop()
	l.first(pause.C)
	for b.Loop() {
		<-pause.C
		through = append(through, l.one())
		began := time.Now()
		l.client.Publish("potlife/bench-1/do/nothing", 0, false, "{}")
		<-l.bare
		direct = append(direct, time.Since(began))
	}
	reportTimes(b, "bytes-to-subscriber", through)
	reportTimes(b, "bare-publish", direct)
	b.ReportMetric(0, "ns/op") // the pause, and nothing that was measured
}

// BenchmarkScaleBesideAStudy measures the same alone, beside studies of a year that run one after the other,
// and beside another process that computes, in turns of 20 lines, so that all see the same machine. A study
// should cost no more than the other process. On a Pi it may add 2 ms to the median.
func BenchmarkScaleBesideAStudy(b *testing.B) {
	l := newScaleLines(b, func(file string) {
		start(b, file).stop()
		if code, _, errs := command(b, append([]string{"import", "--config", file}, yearOfPrints(b)...)...); code != 0 {
			b.Fatal(errs)
		}
	})
	defer l.close()
	first := time.NewTicker(250 * time.Millisecond)
	l.first(first.C)
	first.Stop()
	turn := func(all []time.Duration) []time.Duration {
		for range 20 {
			time.Sleep(300 * time.Millisecond) // since the last weight: more than the time between two
			all = append(all, l.one())
		}
		return all
	}
	var alone, beside, other []time.Duration
	studies, took := 0, time.Duration(0)
	for b.Loop() {
		alone = turn(alone)
		hog := exec.CommandContext(b.Context(), "sha256sum", "/dev/zero")
		if err := hog.Start(); err != nil {
			b.Fatal(err)
		}
		other = turn(other)
		hog.Process.Kill()
		hog.Wait() // with the error of the kill
		stop, done := make(chan struct{}), make(chan struct{})
		go func() {
			defer close(done)
			for {
				select {
				case <-stop:
					return
				default:
				}
				studies++ // each asks something else, so that none is answered from memory
				began := time.Now()
				var a struct {
					Prints float64 `json:"prints"`
				}
				if err := json.Unmarshal([]byte(l.p.text(fmt.Sprintf("/api/v1/study?relevant_pct=%.3f", 20+float64(studies)/1000))), &a); err != nil || a.Prints < 3e6 {
					b.Error(err, a.Prints)
					return
				}
				took += time.Since(began)
			}
		}()
		beside = turn(beside)
		close(stop)
		<-done
	}
	reportTimes(b, "alone", alone)
	reportTimes(b, "beside-a-study", beside)
	reportTimes(b, "beside-a-process", other)
	b.ReportMetric(float64(took.Milliseconds())/float64(studies), "ms/study")
	b.ReportMetric(0, "ns/op")
}

// yearBegins returns the first day of the year of prints.
func yearBegins() time.Time { return time.Now().UTC().Truncate(24*time.Hour).AddDate(-1, 0, 0) }

// yearOfPrints writes a year of prints and rejects by the minute on three presses.
func yearOfPrints(b *testing.B) (files []string) {
	dir := b.TempDir()
	prints, defects := []byte("time,press,batch,prints,temperature_c,humidity_pct,spent\n"), []byte("time,press,batch,kind,defects\n")
	begin := yearBegins()
	for day := range 250 {
		for minute := range 480 {
			for press := 1; press <= 3; press++ {
				at := begin.AddDate(0, 0, day).Add(time.Duration(360+minute) * time.Minute).Format(time.RFC3339)
				humidity := 45 + day%20 + minute/60
				prints = fmt.Appendf(prints, "%s,press-%d,%d-%d-%d,11,21.5,%d,%.3f\n", at, press, day, press, minute/240, humidity, float64(minute%240)/300)
				if (day*7919+minute*31+press*17)%1000 < humidity {
					defects = fmt.Appendf(defects, "%s,press-%d,%d-%d-%d,%s,1\n", at, press, day, press, minute/240, []string{"pinholes", "dust", "stringing", "ghost"}[minute%4])
				}
			}
		}
	}
	for name, text := range map[string][]byte{"prints.csv": prints, "defects.csv": defects} {
		file := filepath.Join(dir, name)
		if err := os.WriteFile(file, text, 0o600); err != nil {
			b.Fatal(err)
		}
		files = append(files, file)
	}
	return files
}
