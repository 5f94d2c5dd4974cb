package mqtt

import (
	"context"
	"fmt"
	"log/slog"
	"strings"
	"sync"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// AirReader reads the topics on which sensors publish, on a connection of its own, so that their
// messages cannot delay ours.
type AirReader struct {
	settings Settings
	part     string // of the client id
	log      *slog.Logger
}

// NewAirReader returns a reader at the settings' broker. part tells its connection from others of
// this computer.
func NewAirReader(s Settings, part string, log *slog.Logger) *AirReader {
	return &AirReader{settings: s, part: part, log: log}
}

// Subscribe subscribes to topics until ctx ends, and again with each new connection. receive gets
// each message, in order, from one goroutine; it must not block. contact gets nil with each
// connection to the broker, and otherwise why there is none, or which topic the broker refuses.
func (r *AirReader) Subscribe(ctx context.Context, topics []string, receive func(topic string, payload []byte, retained bool), contact func(error)) {
	filters := map[string]byte{}
	for _, topic := range topics {
		filters[topic] = subscribeQoS
	}
	var mu sync.Mutex
	var refused error // guarded by mu
	wake := make(chan struct{}, 1)
	conn := &connection{
		settings: r.settings, id: r.settings.clientID(r.part), wake: wake, log: r.log,
		prepare: func(o *paho.ClientOptions) { o.SetKeepAlive(neighbourKeepAlive) },
		subscribe: func(ctx context.Context, client paho.Client) error {
			names, err := subscribeTo(ctx, client, filters)
			mu.Lock()
			defer mu.Unlock()
			if refused = nil; len(names) > 0 {
				refused = fmt.Errorf("the broker refuses to be read on %s", strings.Join(names, " "))
			}
			return err
		},
		receive: func(m paho.Message) { receive(m.Topic(), m.Payload(), m.Retained()) },
	}
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		conn.run(ctx)
	}()
	for {
		select {
		case <-wake:
			epoch, err := conn.current()
			if epoch != 0 {
				mu.Lock()
				err = refused
				mu.Unlock()
			}
			contact(err)
		case <-ctx.Done():
			<-ended
			return
		}
	}
}
