package mqtt

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"potlifed/daemon/mqtt/mqtttest"
)

// A cluster of three nodes sets each filter above QoS 0 up in 0.16 s, one after another, and in
// seconds while a node is away (NATS 2.15). The publisher must not wait for that.
func TestSubscriptionsCostAClusterNothing(t *testing.T) {
	node := mqtttest.StartNode(t, mqtttest.Behaviour{PerFilter: time.Minute})
	r := newFixture()
	p, _ := runPublisher(t, r, testSettings(node.URL()))
	mqtttest.Until(t, "the publisher and its lights to connect", func() bool {
		return p.Connected() && node.Accepted() >= 3
	})
	mqtttest.Until(t, "all to be delivered", func() bool { return p.Status().Waiting == 0 && p.Status().Dropped == "" })
}

// A node that accepts connections and says nothing is left for the next address.
func TestSilentNodeIsLeft(t *testing.T) {
	silent := mqtttest.StartNode(t, mqtttest.Behaviour{Silent: true})
	good := mqtttest.StartNode(t, mqtttest.Behaviour{})
	s := testSettings(silent.URL())
	s.URLs = append(s.URLs, good.URL())
	c := connection{settings: s, id: s.clientID(), prepare: noOptions, answerWithin: 200 * time.Millisecond}
	if _, _, err := c.connect(t.Context()); !errors.Is(err, errNotConnectedInTime) {
		t.Fatalf("the first attempt ended with %v, want one that names the missing answer", err)
	}
	client, _, err := c.connect(t.Context())
	if err != nil {
		t.Fatalf("the second attempt: %v", err)
	}
	client.Disconnect(0)
	if silent.Accepted() != 1 || good.Accepted() != 1 {
		t.Errorf("%d connections to the silent node and %d to the good one, want one each", silent.Accepted(), good.Accepted())
	}
}

// A node that acknowledges no message is left for the next address; the only broker is not. What such a node
// delivers is not taken for published.
func TestNodeThatAcknowledgesNothingIsLeft(t *testing.T) {
	for name, does := range map[string]mqtttest.Behaviour{"mute": {Mute: true}, "parted": {Parted: true}} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			bad, good := mqtttest.StartNode(t, does), mqtttest.StartNode(t, mqtttest.Behaviour{})
			for _, urls := range [][]string{{bad.URL(), good.URL()}, {bad.URL()}} {
				r, s := newFixture(), testSettings("")
				s.URLs, s.Lights = urls, nil
				r.event("0612-1", nil)
				began := bad.Accepted()
				p, stop := runPublisher(t, r, s, func(p *Publisher) {
					p.patience, p.conn.unansweredMost = 20*time.Millisecond, 50*time.Millisecond
				})
				want := uint64(0)
				if len(urls) > 1 {
					mqtttest.Until(t, "everything to be published at the other node", func() bool {
						is := p.Status()
						return is.Connected && is.Waiting == 0 && is.Messages[Count{directionOut, resultOK}] > 0
					})
					want = 1
				} else {
					mqtttest.Until(t, "four rounds without an answer", func() bool { return p.Status().Messages[Count{directionOut, resultError}] > 4*8 })
				}
				stop()
				// On a busy machine the good node may answer too late as well, and the bad one is tried again.
				if n := bad.Accepted() - began; n < 1 || n > 1 && len(urls) == 1 {
					t.Errorf("%d addresses: %d connections to the bad node, want one", len(urls), n)
				}
				if seq, err := r.journal.Cursor(t.Context(), hallCursor); err != nil || seq != want {
					t.Errorf("%d addresses: cursor at %d, %v; want %d", len(urls), seq, err, want)
				}
			}
		})
	}
}

// Each attempt begins after the address that the last one reached; addresses that refuse are
// passed over in the same attempt, and a name stands for all of its addresses.
func TestEachAttemptBeginsWithTheNextAddress(t *testing.T) {
	a, b, gone := mqtttest.StartNode(t, mqtttest.Behaviour{}), mqtttest.StartNode(t, mqtttest.Behaviour{}), mqtttest.StartNode(t, mqtttest.Behaviour{})
	gone.Stop()
	where := newAddresses(Settings{URLs: []string{a.URL(), gone.URL(), b.URL()}})
	var got []string
	for range 4 {
		conn, err := where.dial(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		_ = conn.Close()
		got = append(got, "mqtt://"+where.reached())
	}
	if want := []string{a.URL(), b.URL(), a.URL(), b.URL()}; !slices.Equal(got, want) {
		t.Errorf("reached %v, want %v", got, want)
	}

	named := newAddresses(Settings{URLs: []string{"mqtt://plant.example:1883", "mqtt://unknown.example:1883"}})
	named.lookup = func(_ context.Context, host string) ([]string, error) {
		if host == "plant.example" {
			return []string{"192.0.2.1", "2001:db8::1"}, nil
		}
		return nil, errors.New("no such host")
	}
	places, err := named.resolve(t.Context())
	if len(places) != 2 || places[0].addr != "192.0.2.1:1883" || places[1].addr != "[2001:db8::1]:1883" || places[1].url.Hostname() != "plant.example" {
		t.Errorf("resolved to %+v", places)
	}
	if err == nil || !strings.Contains(err.Error(), "no such host") {
		t.Errorf("error %v, want that of the name that is not known", err)
	}
	if _, err := newAddresses(Settings{URLs: []string{gone.URL()}}).dial(t.Context()); err == nil {
		t.Error("a node that is gone was reached")
	}
}

// Each new cause of an outage is logged once, and later one of them every five minutes.
func TestEachCauseOfAnOutageIsLoggedOnce(t *testing.T) {
	var o outage
	now := time.Now()
	reset := func(port int) error {
		return fmt.Errorf("read tcp 127.0.0.1:%d->127.0.0.1:1883: connection reset", port)
	}
	for i, step := range []struct {
		err  error
		at   time.Duration
		want bool
	}{
		{reset(40000), 0, true}, {reset(40001), time.Second, false},
		{errNotSubscribed, 2 * time.Second, true}, {errNotSubscribed, 3 * time.Second, false}, {reset(40002), 4 * time.Second, false},
		{reset(40003), 2*time.Second + logEvery, true}, {errNotSubscribed, 3*time.Second + logEvery, false},
	} {
		if got := o.failed(step.err, now.Add(step.at)); got != step.want {
			t.Errorf("step %d, %v: logged %v, want %v", i, step.err, got, step.want)
		}
	}
	for i := range 1000 {
		o.failed(fmt.Errorf("cause %d", i), now.Add(logEvery))
	}
	if len(o.causes) > maxCauses {
		t.Errorf("%d causes are remembered, want at most %d", len(o.causes), maxCauses)
	}
}

// Benches whose broker is restarted come back spread over some seconds, and those of a broker on
// their own computer at once.
func TestBenchesComeBackSpread(t *testing.T) {
	var least, most time.Duration
	for i := range 200 {
		d := spread(ReconnectSpread)
		if i == 0 || d < least {
			least = d
		}
		most = max(most, d)
	}
	if least > ReconnectSpread/10 || most < ReconnectSpread*9/10 || most > ReconnectSpread {
		t.Errorf("200 benches come back within %v to %v, want from about 0 to %v", least, most, ReconnectSpread)
	}
	for url, want := range map[string]time.Duration{
		"mqtt://127.0.0.1:1883": 0, "mqtt://localhost:1883": 0, "mqtts://[::1]:8883": 0,
		"mqtt://192.0.2.1:1883": ReconnectSpread, "mqtt://broker.plant.example:1883": ReconnectSpread,
	} {
		if got := spreadFor([]string{url}); got != want {
			t.Errorf("%s: spread over %v, want %v", url, got, want)
		}
	}
}

// A broker that delivers topics under other names, as RabbitMQ does with dots, is named as such
// by check, by /readyz and by the alarm.
func TestRenamedTopicsAreNamed(t *testing.T) {
	node := mqtttest.StartNode(t, mqtttest.Behaviour{Rename: func(topic string) string { return strings.ReplaceAll(topic, ".", "/") }})
	s := testSettings(node.URL())
	if err := Probe(t.Context(), s); err != nil {
		t.Errorf("without dots: %v", err)
	}
	s.Prefix = "plant/hall.1"
	err := Probe(t.Context(), s)
	if !errors.Is(err, ErrNotDelivered) || !strings.Contains(err.Error(), "comes back as plant/hall/1/bench-1/probe") {
		t.Errorf("with a dot: %v, want the other name", err)
	}
	p, _ := runPublisher(t, newFixture(), s, func(p *Publisher) { p.outbox.patience = 200 * time.Millisecond })
	mqtttest.Until(t, "the other name to be told", func() bool {
		return strings.Contains(p.Status().Dropped, "plant/hall/1/bench-1/")
	})
}

// A lost connection tells in the log which address it had.
func TestLogNamesTheAddress(t *testing.T) {
	node := mqtttest.StartNode(t, mqtttest.Behaviour{})
	s := testSettings(node.URL())
	s.Lights = nil
	var written syncBuffer
	r := newFixture()
	p := New(s, r.bench, r.journal, r.clock, slog.New(slog.NewTextHandler(&written, nil)), nil)
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- p.Run(ctx) }()
	mqtttest.Until(t, "a connection", p.Connected)
	node.Stop()
	mqtttest.Until(t, "the line", func() bool {
		return strings.Contains(written.String(), "connection to the broker lost") && strings.Contains(written.String(), "address="+strings.TrimPrefix(node.URL(), "mqtt://"))
	})
	cancel()
	if err := <-done; err != nil {
		t.Error(err)
	}
}

// syncBuffer is a log that another goroutine reads.
type syncBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (b *syncBuffer) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.b.Write(p)
}

func (b *syncBuffer) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.b.String()
}
