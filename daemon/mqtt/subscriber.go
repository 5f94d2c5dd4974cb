package mqtt

import (
	"context"
	"log/slog"
	"strings"
	"sync"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// subscriberKeepAlive may be longer than a light's: no will depends on this connection.
const subscriberKeepAlive = 30 * time.Second

// Subscriber reads topics on a connection of its own, so that their messages cannot delay ours.
type Subscriber struct {
	settings Settings
	part     string // of the client id
	log      *slog.Logger
}

// NewSubscriber returns a subscriber at the settings' broker. part tells its connection from others
// of this computer.
func NewSubscriber(s Settings, part string, log *slog.Logger) *Subscriber {
	return &Subscriber{settings: s, part: part, log: log}
}

// refusedFilters is the error of a connection on which the broker refuses some subscriptions.
type refusedFilters []string

func (r refusedFilters) Error() string {
	return "the broker refuses to be read on " + strings.Join(r, " ")
}

// Subscribe subscribes to filters until ctx ends, and again with each new connection. receive gets
// each message, in order, from one goroutine; it must not block. contact gets nil with each
// connection to the broker, and otherwise why there is none, or which topics the broker refuses.
func (s *Subscriber) Subscribe(ctx context.Context, filters []string, receive func(topic string, payload []byte, retained bool), contact func(error)) {
	wanted := map[string]byte{}
	for _, filter := range filters {
		wanted[filter] = subscribeQoS
	}
	var mu sync.Mutex
	var refused refusedFilters // guarded by mu
	wake := make(chan struct{}, 1)
	conn := &connection{
		settings: s.settings, id: s.settings.clientID(s.part), wake: wake, log: s.log,
		prepare: func(o *paho.ClientOptions) { o.SetKeepAlive(subscriberKeepAlive) },
		subscribe: func(ctx context.Context, client paho.Client) error {
			names, err := subscribeTo(ctx, client, wanted)
			mu.Lock()
			defer mu.Unlock()
			refused = names
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
			mu.Lock()
			if epoch != 0 && len(refused) > 0 {
				err = refused
			}
			mu.Unlock()
			contact(err)
		case <-ctx.Done():
			<-ended
			return
		}
	}
}
