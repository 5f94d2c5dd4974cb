package broker

import (
	"io"
	"log/slog"
	"slices"
	"testing"

	paho "github.com/eclipse/paho.mqtt.golang"

	"potlifed/daemon/mqtt/mqtttest"
	"potlifed/daemon/topics"
)

func TestMain(m *testing.M) { mqtttest.VerifyNoLeaks(m) }

const root = "potlife/bench-1/"

func quietLog() *slog.Logger { return slog.New(slog.NewTextHandler(io.Discard, nil)) }

// ownClient is a client of the daemon.
type ownClient struct {
	paho.Client
	t testing.TB
}

// connectOwn connects a client with the credentials of the daemon.
func connectOwn(t testing.TB, b *Broker) ownClient {
	t.Helper()
	own := b.OwnClients()
	c := paho.NewClient(paho.NewClientOptions().AddBroker(own.URL).SetTLSConfig(own.TLS).SetClientID(topics.ClientPrefix + "bench-1").
		SetUsername(own.Username).SetPassword(own.Password).SetProtocolVersion(4).SetAutoReconnect(false))
	mqtttest.Done(t, "connect as the daemon", c.Connect())
	t.Cleanup(func() { c.Disconnect(50) })
	return ownClient{c, t}
}

// publishAll publishes messages with QoS 1 and waits for their acknowledgements, a hundred at a
// time: a round trip for each would be slow on a busy machine.
func publishAll(t testing.TB, c paho.Client, messages []mqtttest.Message) {
	t.Helper()
	for some := range slices.Chunk(messages, 100) {
		tokens := make([]paho.Token, len(some))
		for i, m := range some {
			tokens[i] = c.Publish(m.Topic, 1, m.Retained, m.Payload)
		}
		for i, token := range tokens {
			mqtttest.Done(t, "publish "+some[i].Topic, token)
		}
	}
}

// retain publishes a retained message under PREFIX/BENCH/ and waits for its acknowledgement.
func (c ownClient) retain(topic, payload string) {
	c.t.Helper()
	mqtttest.Done(c.t, "publish "+topic, c.Publish(root+topic, 1, true, payload))
}
