package mqtt

import (
	"context"
	"errors"
	"log/slog"
	"strings"

	"potlifed/daemon/topics"
)

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

// NeighbourReader reads the topics of other benches.
type NeighbourReader struct {
	subscriber *Subscriber
	filters    []string
	prefix     string
	to         Neighbours
	log        *slog.Logger
}

// NewNeighbourReader returns a reader of the given benches under the settings' prefix.
func NewNeighbourReader(s Settings, benches []string, to Neighbours, log *slog.Logger) *NeighbourReader {
	r := &NeighbourReader{subscriber: NewSubscriber(s, "neighbours", log), prefix: s.Prefix, to: to, log: log}
	for _, bench := range benches {
		t := topics.New(s.Prefix, bench)
		r.filters = append(r.filters, t.Availability(), t.Daemon(), t.Batch("+"), t.Light("+", topics.FormJSON))
	}
	return r
}

// Run reads until the context ends.
func (r *NeighbourReader) Run(ctx context.Context) {
	r.subscriber.Subscribe(ctx, r.filters, r.receive, r.contact)
}

// contact passes on whether there is a connection. One on which the broker refuses some topics is
// one: the others are read.
func (r *NeighbourReader) contact(err error) {
	if refused, ok := errors.AsType[refusedFilters](err); ok {
		r.log.Warn("broker refused subscriptions to other benches", "topics", strings.Join(refused, " "))
		err = nil
	}
	r.to.Contact(err == nil)
}

// receive passes a message on by the kind of its topic.
func (r *NeighbourReader) receive(topic string, payload []byte, retained bool) {
	rest, ok := strings.CutPrefix(topic, r.prefix+"/")
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
