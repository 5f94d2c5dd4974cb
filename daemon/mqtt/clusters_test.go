package mqtt

import (
	"encoding/json"
	"fmt"
	"os"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"potlifed/daemon/mqtt/mqtttest"
	"potlifed/daemon/topics"
	"potlifed/daemon/view"
)

// clusters are those that the publisher is tested on, by name: three nodes each.
var clusters = map[string]func(testing.TB) *mqtttest.Cluster{
	"nats":     mqtttest.StartNATS,
	"rabbitmq": mqtttest.StartRabbitMQ,
}

// clusterRuns is how often each fault is tried: POTLIFED_CLUSTERS. Without it the test is skipped, and with "brief" all
// but the loss of a node is, which is then tried once: a cluster takes a while to start. How long a bench is away is judged
// on a machine that does nothing else, and is not in brief.
func clusterRuns(t testing.TB) (runs int, brief bool) {
	text := os.Getenv("POTLIFED_CLUSTERS")
	switch text {
	case "":
		t.Skip("POTLIFED_CLUSTERS is not set")
	case "brief":
		return 1, true
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 {
		t.Fatalf("POTLIFED_CLUSTERS=%q, want a number of runs, or brief", text)
	}
	return n, false
}

// seriesRuns is clusterRuns of a test that is not in brief.
func seriesRuns(t testing.TB) int {
	n, brief := clusterRuns(t)
	if brief {
		t.Skip("not with POTLIFED_CLUSTERS=brief")
	}
	return n
}

const (
	// The bounds are those that a plant was promised.
	clusterUp                       = 15 * time.Second
	killedEventsMost, killedLights  = 15 * time.Second, 10 * time.Second
	stoppedEventsMost, stoppedLight = 35 * time.Second, 25 * time.Second
	clusterEventEvery               = 200 * time.Millisecond
)

// Ten benches come onto a cluster that has just been started.
func TestTenBenchesOnACluster(t *testing.T) {
	for name, start := range clusters {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			seriesRuns(t)
			c := start(t)
			began := time.Now()
			var all []*Publisher
			for i := range 10 {
				r := newFixture()
				s := testSettings("")
				s.URLs, s.Bench = c.URLs(), fmt.Sprintf("bench-%d", i+1)
				p, _ := runPublisher(t, r, s)
				all = append(all, p)
			}
			for _, p := range all {
				untilWithin(t, clusterUp-time.Since(began), "all benches to be up", func() bool { return isUp(p) })
			}
			t.Logf("%s: ten benches with 30 connections were up in %.1f s", name, time.Since(began).Seconds())
		})
	}
}

// isUp reports whether a bench and its lights are connected and have published all that they have:
// eight messages at least.
func isUp(p *Publisher) bool {
	is := p.Status()
	return is.Connected && is.Waiting == 0 && len(is.LightsAway) == 0 && is.Messages[Count{directionOut, resultOK}] >= 8
}

// A bench whose node is killed, hangs, or is parted from the others, goes on at another node and loses nothing.
func TestLossOfANode(t *testing.T) {
	for name, start := range clusters {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			runs, brief := clusterRuns(t)
			c := start(t)
			faults := []string{"killed", "stopped"}
			if c.CanPart() {
				faults = append(faults, "parted")
			}
			for _, fault := range faults {
				for run := range runs {
					loseNode(t, c, fmt.Sprintf("%s %s, run %d", name, fault, run+1), fault, brief)
				}
			}
		})
	}
}

// Two nodes of three go and come back: events wait, and none is lost.
func TestClusterWithoutAMajority(t *testing.T) {
	for name, start := range clusters {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			runs := seriesRuns(t)
			c := start(t)
			for run := range runs {
				withoutMajority(t, c, fmt.Sprintf("%s two killed, run %d", name, run+1))
			}
		})
	}
}

const (
	majorityAway = 45 * time.Second
	majorityBack = time.Minute // until all has come after the nodes are back
)

// withoutMajority runs a bench at the first node and a collector at the third while the first two are away.
func withoutMajority(t *testing.T, c *mqtttest.Cluster, what string) {
	t.Helper()
	c.Settle(t)
	r, s := newFixture(), testSettings("")
	s.URLs, s.Bench = c.URLs(), fmt.Sprintf("bench-%d", time.Now().UnixNano()%1e9)
	got := collect(t, c.URLs()[2], topics.New(s.Prefix, s.Bench), 0)
	p, stop := runPublisher(t, r, s)
	untilWithin(t, clusterUp, "the bench to be up", func() bool { return isUp(p) })
	produce := producer(r)
	untilWithin(t, 10*time.Second, "events to come", func() bool { return got.events() >= 10 })
	away := time.Now()
	c.Kill(0)
	c.Kill(1)
	time.Sleep(majorityAway)
	before := got.newest()
	c.Start(0)
	c.Start(1)
	back := time.Now()
	time.Sleep(2 * time.Second)
	produce()
	newest := r.bench.Snapshot().Seq
	untilWithin(t, majorityBack, "all events to come", func() bool { return got.newest() >= newest })
	lost, disordered, repeated := got.judge(newest)
	events, lights := got.pauses(away)
	t.Logf("%s for %v: %d of %d events came before the end, all within %.1f s of it; events away for %.1f s, lights for %.1f s; %d lost, %d out of order, %d repeated",
		what, majorityAway, before, newest, time.Since(back).Seconds(), events.Seconds(), lights.Seconds(), lost, disordered, repeated)
	if disordered > 0 || lost > 0 {
		t.Errorf("%s: want none lost, none out of order", what)
	}
	stop()
}

// producer makes events until the returned function is called.
func producer(r *fixture) (stop func()) {
	ended := make(chan struct{})
	var producing sync.WaitGroup
	producing.Go(func() {
		tick := time.NewTicker(clusterEventEvery)
		defer tick.Stop()
		for {
			select {
			case <-tick.C:
				r.event("0612-1", func(s *view.Snapshot) { s.Lights[0].Seq++ })
			case <-ended:
				return
			}
		}
	})
	return func() {
		close(ended)
		producing.Wait()
	}
}

// loseNode runs a bench at the first node and a collector at the second, takes the first away, and
// brings it back. With brief, how long that takes is not judged.
func loseNode(t *testing.T, c *mqtttest.Cluster, what, fault string, brief bool) {
	t.Helper()
	c.Settle(t)
	up, most := clusterUp, [2]time.Duration{killedEventsMost, killedLights}
	if fault != "killed" {
		most = [2]time.Duration{stoppedEventsMost, stoppedLight}
	}
	if brief {
		up, most = mqtttest.Patience, [2]time.Duration{mqtttest.Patience, mqtttest.Patience}
	}
	r, s := newFixture(), testSettings("")
	s.URLs, s.Bench = c.URLs(), fmt.Sprintf("bench-%d", time.Now().UnixNano()%1e9)
	under := topics.New(s.Prefix, s.Bench)
	got := collect(t, c.URLs()[1], under, 0)
	kept := got
	if fault == "parted" {
		kept = collect(t, c.URLs()[0], under, 1) // at the node that is parted: it gets what it missed
	}
	p, stop := runPublisher(t, r, s)
	untilWithin(t, up, "the bench to be up", func() bool { return isUp(p) })
	produce := producer(r)
	untilWithin(t, up, "events to come", func() bool { return got.events() >= 10 })

	away, end := time.Now(), takeAway(c, fault)
	r.bench.change(func(s *view.Snapshot) { s.Lights[0].Reason = "a batch was loaded" })
	untilWithin(t, most[0]+most[1], "events and light to come again", func() bool {
		lastEvent, lastLight := got.last()
		return lastEvent.After(away.Add(time.Second)) && lastLight.After(away.Add(100*time.Millisecond)) && p.Status().Waiting <= 1
	})
	events, lights := got.pauses(away)
	end()
	produce()
	newest := r.bench.Snapshot().Seq
	untilWithin(t, most[0], "all events to come", func() bool { return got.newest() >= newest })
	untilWithin(t, most[0], "all events to come to the session that is kept", func() bool { lost, _, _ := kept.judge(newest); return lost == 0 })
	lost, disordered, repeated := got.judge(newest)
	t.Logf("%s: events away for %.1f s, lights for %.1f s; of %d events %d lost, %d out of order, %d repeated",
		what, events.Seconds(), lights.Seconds(), newest, lost, disordered, repeated)
	if events > most[0] || lights > most[1] || lost > 0 || disordered > 0 {
		t.Errorf("%s: want events within %v, lights within %v, none lost, none out of order", what, most[0], most[1])
	}
	stop()
}

// takeAway takes the first node of a cluster away, until the returned function is called.
func takeAway(c *mqtttest.Cluster, fault string) (end func()) {
	switch fault {
	case "killed":
		c.Kill(0)
		return func() { c.Start(0) }
	case "stopped":
		c.Suspend(0)
		return func() { c.Resume(0) }
	default:
		c.Part(0, true)
		return func() { c.Part(0, false) }
	}
}

// collector reads the events and the light of a bench at another node.
type collector struct {
	mu       sync.Mutex
	seqs     []uint64
	eventsAt []time.Time
	lightsAt []time.Time
}

// collect subscribes at a QoS, with a session that the broker keeps where it is above 0.
func collect(t testing.TB, url string, under topics.Topics, qos byte) *collector {
	t.Helper()
	c := &collector{}
	id := fmt.Sprintf("collector-%d-%s", qos, strings.ReplaceAll(under.Root(), "/", "-"))
	o := paho.NewClientOptions().AddBroker(url).SetClientID(id).SetCleanSession(qos == 0).SetOrderMatters(true).
		SetConnectRetry(true).SetConnectRetryInterval(500 * time.Millisecond)
	o.SetOnConnectHandler(func(client paho.Client) {
		client.Subscribe(under.Event(), qos, func(_ paho.Client, m paho.Message) {
			var e struct {
				Seq uint64 `json:"seq"`
			}
			if json.Unmarshal(m.Payload(), &e) == nil {
				c.mu.Lock()
				c.seqs, c.eventsAt = append(c.seqs, e.Seq), append(c.eventsAt, time.Now())
				c.mu.Unlock()
			}
		})
		client.Subscribe(under.Light("light-1", topics.FormJSON), 0, func(_ paho.Client, m paho.Message) {
			if !m.Retained() && strings.Contains(string(m.Payload()), `"meaning":"in-order"`) {
				c.mu.Lock()
				c.lightsAt = append(c.lightsAt, time.Now())
				c.mu.Unlock()
			}
		})
	})
	client := paho.NewClient(o)
	mqtttest.Done(t, "the collector to connect", client.Connect())
	t.Cleanup(func() { client.Disconnect(0) })
	return c
}

func (c *collector) events() int {
	c.mu.Lock()
	defer c.mu.Unlock()
	return len(c.seqs)
}

func (c *collector) newest() (seq uint64) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, s := range c.seqs {
		seq = max(seq, s)
	}
	return seq
}

// last returns when the newest event and the newest message of the light came.
func (c *collector) last() (event, light time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if n := len(c.eventsAt); n > 0 {
		event = c.eventsAt[n-1]
	}
	if n := len(c.lightsAt); n > 0 {
		light = c.lightsAt[n-1]
	}
	return event, light
}

// pauses returns the longest pause of the events, and how long after the given time the light's first
// message came.
func (c *collector) pauses(from time.Time) (events, light time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for i := 1; i < len(c.eventsAt); i++ {
		events = max(events, c.eventsAt[i].Sub(c.eventsAt[i-1]))
	}
	for _, at := range c.lightsAt {
		if at.After(from) {
			return events, at.Sub(from)
		}
	}
	return events, 0
}

// judge returns how many of the events up to newest did not come, came for the first time after a
// later one, and came again.
func (c *collector) judge(newest uint64) (lost, disordered, repeated int) {
	c.mu.Lock()
	defer c.mu.Unlock()
	seen, highest := map[uint64]bool{}, uint64(0)
	for _, seq := range c.seqs {
		switch {
		case seen[seq]:
			repeated++
		case seq < highest:
			disordered++
		}
		seen[seq], highest = true, max(highest, seq)
	}
	return int(newest) - len(seen), disordered, repeated
}

func untilWithin(t *testing.T, within time.Duration, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(within); !ok(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("waited %v for %s", within, what)
		}
	}
}
