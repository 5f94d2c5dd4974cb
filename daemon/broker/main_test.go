package broker

import (
	"io"
	"log/slog"
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

// retain publishes a retained message under PREFIX/BENCH/ and waits for its acknowledgement.
func (c ownClient) retain(topic, payload string) {
	c.t.Helper()
	mqtttest.Done(c.t, "publish "+topic, c.Publish(root+topic, 1, true, payload))
}
