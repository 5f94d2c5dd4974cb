package mqtt

import (
	"context"
	"log/slog"
	"strings"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
)

// neighbourKeepAlive may be longer than a light's: nobody hangs on this connection.
const neighbourKeepAlive = 30 * time.Second

// Neighbours takes what other benches say. Its methods must not block.
type Neighbours interface {
	// Contact says whether the broker can be reached.
	Contact(up bool)
	// Alive is a sign of life of a bench, heard live.
	Alive(bench string)
	// Available is whether a bench is there. Kept is what the broker had retained: it may
	// be from any time before; likewise below.
	Available(bench string, online, kept bool)
	// Batch and Light are payloads as they came; an empty one ends the thing.
	Batch(bench, id string, payload []byte, kept bool)
	Light(bench, id string, payload []byte, kept bool)
}

// NeighbourReader reads other benches' topics on a connection of its own, so that what
// they send does not stand in the way of our own messages.
type NeighbourReader struct {
	conn *connection
	wake chan struct{}
	to   Neighbours
}

// NewNeighbourReader makes a reader of the given benches under the settings' prefix.
func NewNeighbourReader(s Settings, benches []string, to Neighbours, log *slog.Logger) *NeighbourReader {
	r := &NeighbourReader{wake: make(chan struct{}, 1), to: to}
	filters := map[string]byte{}
	for _, bench := range benches {
		t := NewTopics(s.Prefix, bench)
		for _, filter := range []string{t.Availability(), t.Daemon(), t.Batch("+"), t.Light("+", FormJSON)} {
			filters[filter] = 1
		}
	}
	r.conn = &connection{
		settings: s, id: s.clientID("neighbours"), wake: r.wake, log: log,
		prepare: func(o *paho.ClientOptions) { o.SetKeepAlive(neighbourKeepAlive) },
		greet: func(client paho.Client) error {
			refused, err := subscribe(client, filters)
			if len(refused) > 0 {
				log.Warn("the broker does not let other benches be read", "topics", strings.Join(refused, " "))
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

// receive hands a message on by what its topic is about.
func (r *NeighbourReader) receive(prefix, topic string, payload []byte, kept bool) {
	rest, ok := strings.CutPrefix(topic, prefix+"/")
	if !ok {
		return
	}
	bench, rest, _ := strings.Cut(rest, "/")
	word, id, named := strings.Cut(rest, "/")
	switch {
	case rest == wordAvailability:
		r.to.Available(bench, string(payload) == payloadOnline, kept)
	case rest == wordDaemon && !kept:
		r.to.Alive(bench)
	case word == wordBatch && named:
		r.to.Batch(bench, id, payload, kept)
	case word == wordLight && named:
		r.to.Light(bench, id, payload, kept)
	}
}
