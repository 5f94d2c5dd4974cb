package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"potlifed/model/light"
)

// cable is the way from the program to its broker: it can be cut, and be slow.
type cable struct {
	listen net.Listener
	to     string
	delay  atomic.Int64 // of each piece, either way, in nanoseconds
	held   atomic.Bool  // nothing passes, and nobody is told
	refuse atomic.Value // a string: a connection that sends it is cut, such as a part of a client id; none for ""
	wg     sync.WaitGroup

	mu    sync.Mutex
	conns map[net.Conn]bool
	isCut bool
}

func newCable(t testing.TB, port int) *cable {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	c := &cable{listen: l, to: fmt.Sprintf("127.0.0.1:%d", port), conns: map[net.Conn]bool{}}
	c.wg.Go(c.serve)
	t.Cleanup(func() {
		_ = l.Close()
		c.held.Store(false)
		c.cut(true)
		c.wg.Wait()
	})
	return c
}

func (c *cable) configuration() string {
	return fmt.Sprintf("mqtt: {url: \"mqtt://%s\", commands: true}\n", c.listen.Addr())
}

func (c *cable) serve() {
	for {
		in, err := c.listen.Accept()
		if err != nil {
			return
		}
		out, err := net.Dial("tcp", c.to)
		c.mu.Lock()
		if err != nil || c.isCut {
			_ = in.Close()
			if err == nil {
				_ = out.Close()
			}
		} else {
			c.conns[in], c.conns[out] = true, true
			c.wg.Go(func() { c.carry(in, out) })
			c.wg.Go(func() { c.carry(out, in) })
		}
		c.mu.Unlock()
	}
}

func (c *cable) carry(from, to net.Conn) {
	defer from.Close()
	defer to.Close()
	piece := make([]byte, 64<<10)
	for {
		n, err := from.Read(piece)
		if err != nil {
			return
		}
		if refused, _ := c.refuse.Load().(string); refused != "" && bytes.Contains(piece[:n], []byte(refused)) {
			return
		}
		time.Sleep(time.Duration(c.delay.Load()))
		for c.held.Load() {
			time.Sleep(10 * time.Millisecond)
		}
		if _, err := to.Write(piece[:n]); err != nil {
			return
		}
	}
}

// cut cuts the cable, or mends it.
func (c *cable) cut(is bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.isCut = is
	if is {
		for conn := range c.conns {
			_ = conn.Close()
		}
		clear(c.conns)
	}
}

// chronicler reads events. It asks for QoS 0, so that the broker hands on each event
// before it acknowledges it, and a broker that is killed has nothing left to hand on.
type chronicler struct {
	client paho.Client
	ready  atomic.Int64 // connections on which it is subscribed

	mu   sync.Mutex
	seqs []uint64
}

func newChronicler(t testing.TB, broker string) *chronicler {
	t.Helper()
	c := &chronicler{}
	c.client = paho.NewClient(paho.NewClientOptions().AddBroker(broker).SetClientID("chronicler").
		SetProtocolVersion(4).SetAutoReconnect(true).SetMaxReconnectInterval(50 * time.Millisecond).SetConnectRetry(true).
		SetDefaultPublishHandler(func(_ paho.Client, m paho.Message) {
			var e struct{ Seq uint64 }
			_ = json.Unmarshal(m.Payload(), &e) // an event without a number shows as a gap
			c.mu.Lock()
			defer c.mu.Unlock()
			c.seqs = append(c.seqs, e.Seq)
		}).
		SetOnConnectHandler(func(client paho.Client) {
			if client.Subscribe("potlife/bench-1/event", 0, nil).WaitTimeout(patience) {
				c.ready.Add(1)
			}
		}))
	c.client.Connect().WaitTimeout(patience)
	t.Cleanup(func() { c.client.Disconnect(100) })
	c.isBack(t, 0)
	return c
}

// isBack waits until it has subscribed once more than before.
func (c *chronicler) isBack(t testing.TB, before int64) {
	t.Helper()
	eventually(t, "the reader of events to have subscribed", func() (bool, any) { n := c.ready.Load(); return n > before, n })
}

// hasAll waits for the event of the given number, and checks that none was lost or
// came before an earlier one; one may come twice.
func (c *chronicler) hasAll(t testing.TB, last uint64) {
	t.Helper()
	newest, looked, twice := uint64(0), 0, 0
	eventually(t, fmt.Sprintf("event %d", last), func() (bool, any) {
		c.mu.Lock()
		defer c.mu.Unlock()
		for _, seq := range c.seqs[looked:] {
			switch {
			case seq == newest+1:
				newest = seq
			case seq > newest+1 || seq == 0:
				t.Fatalf("event %d came after %d", seq, newest)
			default:
				twice++
			}
		}
		looked = len(c.seqs)
		return newest >= last, newest
	})
	t.Logf("%d events in order, %d of them again", newest, twice)
}

// says makes n events with so many clients at a time, and returns how long each
// request took, sorted, and the number of the newest event seen.
func (p *program) says(id string, n, clients int) (took []time.Duration, newest uint64) {
	p.t.Helper()
	var mu sync.Mutex
	var wg sync.WaitGroup
	for range clients {
		wg.Go(func() {
			for range n / clients {
				began := time.Now()
				v, wrong := p.post("batches/"+id+"/good", map[string]any{})
				if wrong != nil {
					p.t.Errorf("good: %+v", wrong)
					return
				}
				mu.Lock()
				took, newest = append(took, time.Since(began)), max(newest, v.Seq)
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	slices.Sort(took)
	return took, newest
}

func median(sorted []time.Duration) time.Duration { return sorted[len(sorted)/2] }

// tellsLatency logs what a request to the bench takes beside what it took when all was well. No bound is
// judged, since others use the machine too: that a request does not wait for its broker is seen by its
// answer while there is none.
func tellsLatency(t testing.TB, what string, well, now []time.Duration) {
	t.Helper()
	t.Logf("a request to the bench, median and 99th percentile: %v and %v with a good broker, %v and %v with %s",
		median(well), well[len(well)*99/100], median(now), now[len(now)*99/100], what)
}

// residentKB is what the program has in memory.
func (p *program) residentKB() (kb int) {
	p.t.Helper()
	status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", p.cmd.Process.Pid))
	if err != nil {
		p.t.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(status), "VmRSS:")
	if _, err := fmt.Sscan(rest, &kb); err != nil {
		p.t.Fatal(err)
	}
	return kb
}

// outage is a program that reaches its broker by a cable, with a reader of events that
// does not.
type outage struct {
	m    *mosquitto
	way  *cable
	read *chronicler
	p    *program
	id   string
	well []time.Duration // what requests take when all is well
}

func newOutage(t testing.TB) *outage {
	t.Helper()
	if testing.Short() {
		t.Skip("outages take their time")
	}
	o := &outage{m: newMosquitto(t)}
	o.way, o.read = newCable(t, o.m.port), newChronicler(t, o.m.url())
	o.p = start(t, newHardware(t).configuration(t, o.way.configuration()))
	o.m.wait("online", "potlife/bench-1/availability", 0, func(s string) bool { return s == "online" })
	o.id = o.p.loads()
	var last uint64
	o.well, last = o.p.says(o.id, 100, 1)
	o.read.hasAll(t, last)
	return o
}

// restarts brings the killed broker back, with nothing in its store, and the program's
// way to it once the reader is there.
func (o *outage) restarts(t testing.TB) {
	t.Helper()
	before := o.read.ready.Load()
	o.m.start()
	o.read.isBack(t, before)
	o.way.cut(false)
}

// TestOutageWith5000Events: a broker that is away while events pile up, and comes back
// with its store lost.
func TestOutageWith5000Events(t *testing.T) {
	t.Parallel()
	o := newOutage(t)
	memory := o.p.residentKB()
	o.way.cut(true)
	o.m.kill()
	_, last := o.p.says(o.id, 4900, 50)
	during, newest := o.p.says(o.id, 100, 1)
	last = max(last, newest)
	tellsLatency(t, "no broker and 5,000 events waiting", o.well, during)
	began := time.Now()
	o.restarts(t)
	o.read.hasAll(t, last)
	t.Logf("the last of 5,000 events was there %v after the broker was", time.Since(began).Round(time.Millisecond))
	grown := o.p.residentKB() - memory
	t.Logf("memory grew by %d kB", grown)
	if grown > 64<<10 {
		t.Errorf("memory grew by %d kB in the outage", grown)
	}
	// A fresh reader of the broker that had lost all finds what is retained.
	for _, topic := range []string{"availability", "daemon", "batch/" + o.id, "light/light-1", "air/bench", "scale/scale-1"} {
		l := newLampClient(t, o.m.url(), "potlife/bench-1/"+topic)
		l.sees(topic, 0, func(s shown) bool { return s.payload != "" })
		l.client.Disconnect(0)
	}
	o.p.stop()
}

// TestOutageEverySecond: a broker that is killed each second and comes back empty.
func TestOutageEverySecond(t *testing.T) {
	t.Parallel()
	o := newOutage(t)
	made, until := make(chan uint64, 1), make(chan struct{})
	var during []time.Duration
	go func() {
		newest := uint64(0)
		for {
			took, last := o.p.says(o.id, 1, 1)
			during, newest = append(during, took...), max(newest, last)
			select {
			case <-until:
				made <- newest
				return
			default:
			}
		}
	}()
	for range 6 {
		time.Sleep(time.Second)
		o.way.cut(true)
		o.m.kill()
		o.restarts(t)
	}
	close(until)
	last := <-made
	slices.Sort(during)
	tellsLatency(t, "a broker that comes and goes", o.well, during)
	o.read.hasAll(t, last)
	o.p.stop()
}

// TestOutageSlow: a broker a third of a second away, either way.
func TestOutageSlow(t *testing.T) {
	t.Parallel()
	o := newOutage(t)
	o.way.delay.Store(int64(300 * time.Millisecond))
	_, first := o.p.says(o.id, 300, 10)
	during, last := o.p.says(o.id, 100, 1)
	tellsLatency(t, "a slow broker", o.well, during)
	o.read.hasAll(t, max(first, last))
	o.p.stop()
}

// TestOutageOfOneTopic: a broker that does not let the program publish events. By MQTT
// 3.1.1 it acknowledges what it throws away; the program notices, says so, and holds
// the events back until they are let through. Nothing else is held up by it.
func TestOutageOfOneTopic(t *testing.T) {
	t.Parallel()
	o := newOutage(t)
	o.way.cut(true)
	o.m.kill()
	acl := filepath.Join(t.TempDir(), "acl")
	rules := "topic read potlife/#\n"
	for _, topic := range []string{"availability", "daemon", "air/#", "batch/#", "scale/#", "sensor/#", "light/#", "alarm/#", "done/#"} {
		rules += "topic write potlife/bench-1/" + topic + "\n"
	}
	conf, err := os.ReadFile(o.m.conf)
	if err != nil {
		t.Fatal(err)
	}
	// Run by root, mosquitto would become another user, who may not read the file.
	strict := string(conf) + "user root\nacl_file " + acl + "\n"
	for file, text := range map[string]string{acl: rules, o.m.conf: strict} {
		if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	o.restarts(t)
	l := newLampClient(t, o.m.url(), lampTopic)
	l.sees("green", 0, means(light.InOrder))
	state := newClient(t, o.m.url(), "states", "potlife/bench-1/batch/"+o.id)
	state.sees("the batch", 0, func(s shown) bool { return s.payload != "" })
	memory := o.p.residentKB()
	_, last := o.p.says(o.id, 900, 30)
	during, newest := o.p.says(o.id, 100, 1)
	last = max(last, newest)
	tellsLatency(t, "a broker that refuses events", o.well, during)
	from := l.mark()
	if _, wrong := o.p.post("batches/"+o.id+"/unload", map[string]any{}); wrong != nil {
		t.Fatal(wrong)
	}
	l.sees("white", from, means(light.Empty))
	state.sees("the batch off the press", 0, func(s shown) bool { return !strings.Contains(s.payload, `"press":"press-1"`) })
	alarmed := newClient(t, o.m.url(), "alarms", "potlife/bench-1/alarm/broker/bench-1")
	alarmed.sees("the alarm with the topic's name", 0, func(s shown) bool {
		return strings.Contains(s.payload, "potlife/bench-1/event") && strings.Contains(s.payload, "allow")
	})
	if grown := o.p.residentKB() - memory; grown > 64<<10 {
		t.Errorf("memory grew by %d kB", grown)
	}

	// The rights are mended: all of it arrives, and the cause of the alarm is gone.
	o.way.cut(true)
	o.m.kill()
	if err := os.WriteFile(o.m.conf, conf, 0o600); err != nil {
		t.Fatal(err)
	}
	o.restarts(t)
	o.read.hasAll(t, last)
	alarmed.sees("the alarm's return", 0, func(s shown) bool { return strings.Contains(s.payload, `"state":"returned"`) })
	o.p.stop()
}
