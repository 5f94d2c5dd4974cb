package view

import (
	"bytes"
	"encoding/json"
	"fmt"
	"time"

	"potlifed/daemon/actor"
)

// Event is an event as it goes out: the body's fields beside those that every event
// has.
type Event struct {
	Seq  uint64
	Kind string
	JSON json.RawMessage
}

// WireEvent writes an event of the given journal out. The fields of the body stand
// beside time, seq, journal, kind and by.
func WireEvent(journal string, seq uint64, at time.Time, kind string, by actor.Name, body []byte) (Event, error) {
	head, err := json.Marshal(struct {
		Time    time.Time  `json:"time"`
		Seq     uint64     `json:"seq"`
		Journal string     `json:"journal"`
		Kind    string     `json:"kind"`
		By      actor.Name `json:"by"`
	}{at, seq, journal, kind, by})
	if err != nil {
		return Event{}, fmt.Errorf("event %d: %w", seq, err)
	}
	body = bytes.TrimSpace(body)
	if len(body) < 2 || body[0] != '{' {
		return Event{}, fmt.Errorf("event %d: body is not an object", seq)
	}
	if !bytes.Equal(body, []byte("{}")) {
		head = append(head[:len(head)-1], ',')
		head = append(head, body[1:]...)
	}
	return Event{Seq: seq, Kind: kind, JSON: head}, nil
}
