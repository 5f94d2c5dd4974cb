package main

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"
)

// soakHour is how long an hour of the soak takes: time for a restart in the long form.
func soakHour() time.Duration {
	if rounds() > 1 {
		return 1500 * time.Millisecond
	}
	return 750 * time.Millisecond
}

// TestFaultsSoak runs a shop for a month, with POTLIFED_FAULTS=1, or a day. In each hour a batch is
// mixed and loaded, prints are reported, and a random thing goes wrong. In the second half nothing
// ends the service, so that what grows in it is seen.
func TestFaultsSoak(t *testing.T) {
	if testing.Short() {
		t.Skip("a day of a shop")
	}
	t.Parallel()
	hours := 24
	if rounds() > 1 {
		hours = 30 * 24
	}
	k := newSoak(t)
	k.mended = map[string]int{}
	random := rand.New(rand.NewPCG(13, 5))
	all, gentle := slices.Sorted(maps.Keys(troubles)), []string{}
	for _, name := range all {
		if !troubles[name].restarts {
			gentle = append(gentle, name)
		}
	}
	for hour := range hours {
		names := all
		if hour >= hours/2 {
			names = gentle
		}
		k.hour(names[random.IntN(len(names))], random)
		if hour%4 == 3 {
			k.measure(hour)
		}
		if t.Failed() {
			t.Logf("in hour %d after %v; the log:\n%s", hour, k.mended, k.f.p.log.tail(30))
			return
		}
	}
	t.Logf("%d hours, faults: %v; %d changes answered, %d lost, longest recovery %v", hours, k.mended, k.f.answered, k.f.lost, k.f.longest.Round(10*time.Millisecond))
	k.grewNot()
	k.f.p.stop()
}

// soak is a shop with a fast clock.
type soak struct {
	surroundings
	c      *fileClock
	mended map[string]int // how often each thing went wrong
	sizes  []size
}

// size is how large the service is.
type size struct {
	hour, goroutines, descriptors, series int
	heap, log                             int64
}

func newSoak(t *testing.T) *soak {
	t.Helper()
	k := &soak{surroundings: surroundings{m: newMosquitto(t), h: newHardware(t)}, c: newFileClock(t, float64(time.Hour/soakHour()))}
	k.way = newCable(t, k.m.port)
	file := k.h.configuration(t, k.way.configuration())
	k.f = startFaultShop(t, filepath.Join(k.h.dir, "data"), file, k.c, func() *program { return startByClock(t, k.c, file) })
	return k
}

// trouble is something that goes wrong for a part of an hour.
type trouble struct {
	restarts bool // it ends the service
	begins   func(k *soak, random *rand.Rand) (ends func())
}

var troubles = map[string]trouble{
	"killed":  {true, func(k *soak, _ *rand.Rand) func() { k.f.p.kill(); return k.starts }},
	"stopped": {true, func(k *soak, _ *rand.Rand) func() { k.f.p.stop(); return k.starts }},
	"power cut": {true, func(k *soak, random *rand.Rand) func() {
		k.f.p.kill()
		k.c.boots(time.Duration(random.IntN(3600))*time.Second, 0)
		return k.starts
	}},
	"power cut, no clock": {true, func(k *soak, random *rand.Rand) func() {
		k.f.p.kill()
		away := time.Duration(1+random.IntN(3600)) * time.Second
		k.c.boots(away, away)
		return func() { k.starts(); k.c.isSet(away) }
	}},
	"the clock steps": {false, func(k *soak, random *rand.Rand) func() {
		by := []time.Duration{time.Second, time.Minute, time.Hour, 24 * time.Hour, aYear, 10 * aYear}[random.IntN(6)]
		if random.IntN(2) == 0 {
			by = -by
		}
		k.c.steps(by)
		return func() { k.c.steps(-by) }
	}},
	"sensor":  {false, func(k *soak, random *rand.Rand) func() { return k.part("sensor", random) }},
	"scale":   {false, func(k *soak, random *rand.Rand) func() { return k.part("scale", random) }},
	"broker":  {false, func(k *soak, random *rand.Rand) func() { return k.part("broker", random) }},
	"network": {false, func(k *soak, random *rand.Rand) func() { return k.part("network", random) }},
	"the disk fails": {false, func(k *soak, _ *rand.Rand) func() {
		return meddle(k.f.p, k.f.dir, changes, "error=EIO", allFiles...).ends
	}},
	"the disk is slow": {false, func(k *soak, _ *rand.Rand) func() {
		return meddle(k.f.p, k.f.dir, syncs, "delay_exit=300ms", logFile).ends
	}},
	"the configuration is read again": {false, func(k *soak, _ *rand.Rand) func() {
		_ = k.f.p.cmd.Process.Signal(syscall.SIGHUP)
		return func() {}
	}},
	"many connections": {false, func(k *soak, _ *rand.Rand) func() {
		var open []net.Conn
		for range 100 {
			if c, err := net.Dial("tcp", strings.TrimPrefix(k.f.p.http, "http://")); err == nil {
				_, _ = c.Write([]byte("GET /api/v1/stream HTTP/1.1\r\nHost: localhost\r\n\r\n"))
				open = append(open, c)
			}
		}
		return func() {
			for _, c := range open {
				_ = c.Close()
			}
		}
	}},
}

func (k *soak) starts() {
	began := time.Now()
	k.f.p = k.f.starts()
	k.f.longest = max(k.f.longest, time.Since(began))
}

func (k *soak) part(name string, random *rand.Rand) (ends func()) {
	way := parts[name][random.IntN(len(parts[name]))]
	if err := way.begins(&k.surroundings); err != nil {
		k.f.t.Fatalf("%s: %v", name, err)
	}
	return func() {
		if err := way.ends(&k.surroundings); err != nil {
			k.f.t.Fatalf("%s: %v", name, err)
		}
	}
}

// hour is an hour of the shop with a trouble in it.
func (k *soak) hour(name string, random *rand.Rand) {
	f := k.f
	over := time.Now().Add(soakHour())
	before := f.batch
	k.takes("batches/"+before+"/close", `{"outcome": "used-up"}`)
	f.loads()
	k.takes("presses/press-1/prints", `{"add": 50}`)
	spent := *f.p.batch(f.batch).Spent
	asking := f.asks(2)
	ends := troubles[name].begins(k, random)
	<-asking
	time.Sleep(time.Duration(random.Int64N(int64(soakHour()) / 2)))
	ends()
	k.mended[name]++
	f.p.eventually(name+": a change", func() (bool, any) {
		_, wrong := f.p.post("batches/"+f.batch+"/good", map[string]any{})
		return wrong == nil, wrong
	})
	f.check(name, fault{}, spent)
	time.Sleep(time.Until(over))
}

// takes makes a change that must be taken.
func (k *soak) takes(path, body string) {
	k.f.t.Helper()
	if answer, err := k.f.p.asks(path, body); err != nil {
		k.f.t.Errorf("%s: %v %s", path, err, answer)
	}
}

// measure looks how large the service is.
func (k *soak) measure(hour int) {
	t, p := k.f.t, k.f.p
	s := size{hour: hour}
	written := k.c.path + ".size"
	_ = os.Remove(written)
	if err := p.cmd.Process.Signal(syscall.SIGUSR1); err != nil {
		t.Fatal(err)
	}
	p.eventually("the size of the service", func() (bool, any) {
		text, err := os.ReadFile(written)
		if err != nil {
			return false, err
		}
		n, _ := fmt.Sscan(string(text), &s.goroutines, &s.heap)
		return n == 2, string(text)
	})
	s.descriptors = p.descriptors()
	for line := range strings.Lines(p.text("/metrics")) {
		if !strings.HasPrefix(line, "#") {
			s.series++
		}
	}
	if info, err := os.Stat(filepath.Join(k.f.dir, logFile)); err == nil {
		s.log = info.Size()
	}
	k.sizes = append(k.sizes, s)
}

// grewNot compares the service in the last quarter of the time with the quarter before, in which it
// had been running since the middle.
func (k *soak) grewNot() {
	t := k.f.t
	most := func(part []size) (m size) {
		for _, s := range part {
			m = size{0, max(m.goroutines, s.goroutines), max(m.descriptors, s.descriptors), max(m.series, s.series), max(m.heap, s.heap), max(m.log, s.log)}
		}
		return m
	}
	n := len(k.sizes)
	third, last := most(k.sizes[n/2:3*n/4]), most(k.sizes[3*n/4:])
	t.Logf("third quarter: %+v", third)
	t.Logf("last quarter:  %+v", last)
	const mega = 1 << 20
	if last.goroutines > third.goroutines+10 || last.descriptors > third.descriptors+10 || last.series > third.series+20 ||
		last.heap > third.heap+third.heap/4+2*mega || last.log > max(third.log, 8*mega) {
		t.Errorf("the service grows: %+v", k.sizes)
	}
}
