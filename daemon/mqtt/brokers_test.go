package mqtt

import (
	"context"
	"testing"

	"potlifed/daemon/broker"
	"potlifed/daemon/mqtt/mqtttest"
	"potlifed/daemon/topics"
)

// testBroker is a broker that can be stopped and started again on its port, with an empty
// store.
type testBroker interface {
	Addr() string
	Stop()
	Start()
	settings() Settings
}

// brokers are the brokers that the publisher is tested against.
var brokers = map[string]func(t testing.TB) testBroker{
	"built-in":  newBuiltIn,
	"mosquitto": newMosquitto,
}

// everyBroker runs a test against each broker.
func everyBroker(t *testing.T, f func(t *testing.T, b testBroker)) {
	for name, start := range brokers {
		t.Run(name, func(t *testing.T) { f(t, start(t)) })
	}
}

// builtIn is a built-in broker whose daemon has one password over every restart, as one run
// of the daemon does.
type builtIn struct {
	*broker.Broker
	t  testing.TB
	of broker.Settings
}

func newBuiltIn(t testing.TB) testBroker { return newBuiltInFor(t, broker.Light{ID: "light-1"}) }

// newBuiltInFor starts one that knows these lights.
func newBuiltInFor(t testing.TB, lights ...broker.Light) *builtIn {
	t.Helper()
	return startBuiltIn(t, broker.Settings{Listen: "127.0.0.1:0", Commands: true, Lights: lights})
}

// startBuiltIn starts one for bench-1 with further settings.
func startBuiltIn(t testing.TB, s broker.Settings) *builtIn {
	t.Helper()
	s.Topics, s.Password = topics.New("potlife", "bench-1"), "secret of the test"
	b := &builtIn{t: t, of: s}
	b.Start()
	b.of.Listen = b.Addr()
	t.Cleanup(b.Stop)
	return b
}

// settings returns those of the daemon's own client.
func (b *builtIn) settings() Settings {
	own := b.OwnClients()
	s := testSettings(own.URL)
	s.TLS, s.Username, s.Password = own.TLS, own.Username, own.Password
	s.OnCommand = func(take func(Given)) { b.OnCommand(func(c broker.Command) { take(Given(c)) }) }
	return s
}

func (b *builtIn) Start() {
	b.t.Helper()
	mqtttest.Until(b.t, "the built-in broker to start", func() bool {
		started, err := broker.Start(context.Background(), b.of, quietLog())
		b.Broker = started
		return err == nil
	})
}

func (b *builtIn) Stop() {
	if err := b.Close(); err != nil {
		b.t.Errorf("close the broker: %v", err)
	}
}

// refusals returns how often a client was refused anything.
func (b *builtIn) refusals() (n uint64) {
	for _, count := range b.Refusals() {
		n += count
	}
	return n
}

type mosquittoBroker struct{ *mqtttest.Mosquitto }

func newMosquitto(t testing.TB) testBroker { return mosquittoBroker{mqtttest.StartMosquitto(t)} }

func (m mosquittoBroker) settings() Settings { return testSettings("mqtt://" + m.Addr()) }
