package mqtt

import (
	"context"
	"errors"
	"fmt"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// probeWithin is how long a broker may take to answer a probe.
const probeWithin = 10 * time.Second

// Probe connects to the broker and disconnects. It uses a client id of its own, so that a
// running daemon stays connected. The error says why the connection failed.
func Probe(ctx context.Context, s Settings) error {
	ctx, cancel := context.WithTimeout(ctx, probeWithin)
	defer cancel()
	o := paho.NewClientOptions().AddBroker(s.URL).SetClientID(s.clientID("check")).
		SetUsername(s.Username).SetPassword(s.Password).SetTLSConfig(s.TLS).
		SetCleanSession(true).SetAutoReconnect(false).SetConnectTimeout(probeWithin).SetWriteTimeout(writeTimeout)
	client := paho.NewClient(o)
	token := client.Connect()
	select {
	case <-token.Done():
	case <-ctx.Done():
		client.Disconnect(0)
		return fmt.Errorf("no answer within %v", probeWithin)
	}
	if err := token.Error(); err != nil {
		return err
	}
	if !client.IsConnectionOpen() {
		return errors.New("the broker closed the connection at once")
	}
	client.Disconnect(100)
	return nil
}
