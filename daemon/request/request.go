// Package request holds the changes that people and programs can request from the bench,
// with their fields and limits, the reply, and the refusal. HTTP and MQTT read the same
// structures.
package request

import (
	"encoding/json"

	"potlifed/daemon/actor"
)

// Change is a change of the bench's state that a person or a program requests.
type Change interface {
	// Verb returns the last word of the change's HTTP path, which is also its MQTT
	// command.
	Verb() string
}

// Request is a change with the name of who requests it.
type Request struct {
	Change Change
	By     actor.Name
	Key    string // idempotency key; the same key gets the same answer for a day; may be empty
	Hash   string // hash of the change, to be set with Key
}

// Reply answers a request. Body is the changed thing as JSON.
type Reply struct {
	Body   json.RawMessage
	OnDisk bool
}
