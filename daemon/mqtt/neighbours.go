package mqtt

import (
	"context"
	"log/slog"
	"strings"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"potlifed/daemon/topics"
)

// neighbourKeepAlive may be longer than a light's: no will depends on this connection.
const neighbourKeepAlive = 30 * time.Second

// Neighbours receives what other benches publish. Its methods must not block.
type Neighbours interface {
	// Contact receives whether the connection to the broker is open.
	Contact(up bool)
	// Alive receives that a bench has published its sign of life just now.
	Alive(bench string)
	// Available receives whether a bench is online. With retained, the broker had stored
	// the message, at any time before; likewise below.
	Available(bench string, online, retained bool)
	// Batch and Light receive payloads as they were published; an empty one ends the state.
	Batch(bench, id string, payload []byte, retained bool)
	Light(bench, id string, payload []byte, retained bool)
}

// NeighbourReader reads the topics of other benches on a connection of its own, so that
// their messages cannot delay ours.
type NeighbourReader struct {
	conn *connection
	wake chan struct{}
	to   Neighbours
}

// NewNeighbourReader returns a reader of the given benches under the settings' prefix.
func NewNeighbourReader(s Settings, benches []string, to Neighbours, log *slog.Logger) *NeighbourReader {
	r := &NeighbourReader{wake: make(chan struct{}, 1), to: to}
	filters := map[string]byte{}
	for _, bench := range benches {
		t := topics.New(s.Prefix, bench)
		for _, filter := range []string{t.Availability(), t.Daemon(), t.Batch("+"), t.Light("+", topics.FormJSON)} {
			filters[filter] = subscribeQoS
		}
	}
	r.conn = &connection{
		settings: s, id: s.clientID("neighbours"), wake: r.wake, log: log,
		prepare: func(o *paho.ClientOptions) { o.SetKeepAlive(neighbourKeepAlive) },
		subscribe: func(ctx context.Context, client paho.Client) error {
			refused, err := subscribeTo(ctx, client, filters)
			if len(refused) > 0 {
				log.Warn("broker refused subscriptions to other benches", "topics", strings.Join(refused, " "))
			}
			return err
		},
		receive: func(m paho.Message) { r.receive(s.Prefix, m.Topic(), m.Payload(), m.Retained()) },
	}
	return r
}

// Run reads until the context ends.
func (r *NeighbourReader) Run(ctx context.Context) {
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		r.conn.run(ctx)
	}()
	for {
		select {
		case <-r.wake:
			epoch, _ := r.conn.current()
			r.to.Contact(epoch != 0)
		case <-ctx.Done():
			<-ended
			return
		}
	}
}

// receive passes a message on by the kind of its topic.
func (r *NeighbourReader) receive(prefix, topic string, payload []byte, retained bool) {
	rest, ok := strings.CutPrefix(topic, prefix+"/")
	if !ok {
		return
	}
	bench, rest, _ := strings.Cut(rest, "/")
	kind, id, named := strings.Cut(rest, "/")
	switch {
	case rest == topics.KindAvailability:
		r.to.Available(bench, string(payload) == topics.Online, retained)
	case rest == topics.KindDaemon && !retained:
		r.to.Alive(bench)
	case kind == topics.KindBatch && named:
		r.to.Batch(bench, id, payload, retained)
	case kind == topics.KindLight && named:
		r.to.Light(bench, id, payload, retained)
	}
}
