package mqtt

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"log/slog"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"potlifed/daemon/topics"
)

const (
	// probeWithin is how long a broker may take to accept a connection and a subscription.
	probeWithin = 20 * time.Second
	// probeBack is how long the probe's message may take to come back.
	probeBack = 5 * time.Second
)

// ErrNotDelivered is the error of [Probe] where the broker accepts a message below the bench's own
// topics and does not deliver it under its name.
var ErrNotDelivered = errors.New("the broker does not deliver")

// Probe connects once, to the first address of the broker that answers, publishes a message that is not retained on
// PREFIX/BENCH/probe, and waits until it comes back. It uses a client id of its own, so that a
// running daemon stays connected. The error says why the connection failed; it is ErrNotDelivered
// where the message came back under another name or not at all.
func Probe(ctx context.Context, s Settings) error {
	ctx, cancel := context.WithTimeout(ctx, probeWithin)
	defer cancel()
	topic := topics.New(s.Prefix, s.Bench).Probe()
	back := make(chan string, 1)
	payload := rand.Text()
	var refused []string
	c := &connection{
		settings: s, id: s.clientID("check"), log: slog.New(slog.DiscardHandler),
		prepare: func(o *paho.ClientOptions) { o.SetKeepAlive(subscriberKeepAlive) },
		subscribe: func(ctx context.Context, client paho.Client) (err error) {
			refused, err = subscribeTo(ctx, client, map[string]byte{topic: subscribeQoS})
			return err
		},
		receive: func(m paho.Message) {
			if string(m.Payload()) == payload {
				select {
				case back <- m.Topic():
				default:
				}
			}
		},
	}
	client, lost, err := c.connect(ctx)
	if err != nil {
		if errors.Is(ctx.Err(), context.DeadlineExceeded) {
			return fmt.Errorf("no answer within %v", probeWithin)
		}
		return err
	}
	defer client.Disconnect(100)
	if len(refused) > 0 {
		return fmt.Errorf("%w: it refuses to be read on %s", ErrNotDelivered, topic)
	}
	if !client.Publish(topic, 1, false, payload).WaitTimeout(writeTimeout) {
		return fmt.Errorf("%w: it did not acknowledge a message on %s within %v", ErrNotDelivered, topic, writeTimeout)
	}
	timer := time.NewTimer(probeBack)
	defer timer.Stop()
	select {
	case name := <-back:
		if name != topic {
			return fmt.Errorf("%w %s under its name: it comes back as %s", ErrNotDelivered, topic, name)
		}
		return nil
	case err := <-lost:
		return err
	case <-timer.C:
		return fmt.Errorf("%w %s, although it accepts messages there", ErrNotDelivered, topic)
	case <-ctx.Done():
		return ctx.Err()
	}
}
